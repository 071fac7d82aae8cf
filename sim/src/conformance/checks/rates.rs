//! Which conversions are made: at a scan rate or when asked, how often, and how many to a mean.

use alloc::format;

use super::events::{pair, within};
use super::sampling::apply;
use super::timing::{fresh, shown};
use crate::conformance::limits::names;
use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::rig::{Seen, Setup};
use crate::conformance::scene::Scene;
use crate::conformance::trial::PLAIN;

/// Of a part that has both: at a scan rate it converts by itself, and what a sample shows is older
/// than the sample; in single-shot it converts when it is asked.
pub(super) fn modes(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let (Some(single), Some(_)) = (scene.single(), scene.fast().rate) else {
        return not_applicable("one mode");
    };
    let [(limit, wanted, past), _] = pair(scene);
    if scene.by_part(&limit) {
        notes.tried();
        let mut trial = scene.trial(PLAIN);
        trial.apply_all(within(scene));
        trial.init(&single)?;
        trial.limits(&[limit])?;
        trial.apply(limit.channel(), past);
        let period_ns = scene.period_ns(&scene.fast());
        trial.fixture.run_for_ns(10 * period_ns);
        trial.apply_all(within(scene));
        if trial.look()?.contains(wanted) {
            notes.find(format!(
                "single-shot asked for: {} came and went between two samples, and is told: the \
                 part converts at a scan rate instead?",
                names(wanted)
            ))?;
        }
    } else {
        notes.leave_out("conversions that nobody asked for: the part compares nothing");
    }
    for rate in 0..scene.info.scan_periods_us.len() {
        let setup = scene.fast().at(Some(rate));
        notes.tried();
        let (mut trial, period_ns) = (scene.trial(PLAIN), scene.period_ns(&setup));
        trial.init(&setup)?;
        let is_new = (0..8).all(|step| {
            trial.fixture.run_for_ns(period_ns * 3 / 8);
            trial.apply_all(fresh(scene, step));
            let asked_ns = trial.fixture.now_ns();
            let seen = trial.rig.sample();
            // Where a sample takes long, it may well be new.
            let took_ns = trial.fixture.now_ns() - asked_ns;
            let shows = |seen: Seen| {
                let is_new = |(channel, codes)| scene.shows(channel, codes, fresh(scene, step));
                scene.channels().zip(seen.codes).all(is_new)
            };
            2 * took_ns < period_ns && seen.is_ok_and(shows)
        });
        if is_new {
            notes.find(format!(
                "a scan every {} µs asked for: each sample is of inputs that changed right before \
                 it: a single-shot runs instead?",
                period_ns / 1_000
            ))?;
        }
    }
    Ok(())
}

/// Each scan rate makes as many scans as its period says, and results as new as that.
pub(super) fn scan_rates(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let periods = scene.info.scan_periods_us;
    if periods.is_empty() {
        return not_applicable("PartInfo: no scan rates");
    }
    for (rate, period_us) in periods.iter().enumerate() {
        notes.tried();
        let setup = scene.fast().at(Some(rate));
        let mut trial = scene.running_in(PLAIN, &setup)?;
        let before = trial.rig.sample()?;
        let point = fresh(scene, 3);
        trial.apply_all(point);
        trial
            .fixture
            .run_for_ns(scene.fresh_ns(&setup) + 3 * scene.period_ns(&setup));
        let after = trial.rig.sample()?;
        let asked = format!("a scan every {period_us} µs asked for");
        let hint = "another scan rate than asked for";
        if let Some(channel) = scene
            .channels()
            .find(|channel| !scene.shows(*channel, after.codes[channel.index()], point))
        {
            let shown = shown(&after, channel);
            notes.find(format!("{asked}: {channel} still shows {shown}: {hint}"))?;
        }
        if !scene.counts_scans() {
            continue;
        }
        let scans = u64::from(after.scans.wrapping_sub(before.scans));
        let period_us = u64::from(*period_us);
        let least = after.stamp.before_us.saturating_sub(before.stamp.after_us) / period_us;
        let most = (after.stamp.after_us - before.stamp.before_us) / period_us;
        if scans + 1 < least || scans > most + 2 {
            notes.find(format!(
                "{asked}: {scans} scans, expected {least} to {most}: {hint}"
            ))?;
        }
    }
    Ok(())
}

/// A single-shot makes 2^k scans and no more; each sample makes another.
pub(super) fn single_shot(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let Some(single) = scene.single() else {
        return not_applicable("datasheet: no single-shot");
    };
    for k in 0..=scene.info.averaging_log2_max.min(3) {
        notes.tried();
        let mut trial = scene.running_in(PLAIN, &single.clone().means(k))?;
        let before = trial.rig.sample()?;
        let point = fresh(scene, 5);
        trial.apply_all(point);
        trial.settle();
        let after = trial.rig.sample()?;
        for channel in scene.channels() {
            if scene.shows(channel, after.codes[channel.index()], scene.own(channel)) {
                return notes.find(format!(
                    "{channel}: a single-shot shows {} of the one before: is each one triggered?",
                    shown(&after, channel)
                ));
            }
            scene.judge(notes, &after, channel, scene.first(channel), point)?;
        }
        let scans = after.scans.wrapping_sub(before.scans);
        if scene.counts_scans() && scans != 1 << k {
            notes.find(format!(
                "a single-shot of 2^{k} scans made {scans}: another averaging than asked for"
            ))?;
        }
    }
    Ok(())
}

/// Results are those of whole means, and there are none before the first.
pub(super) fn averaging(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if scene.info.averaging_log2_max == 0 {
        return not_applicable("PartInfo: no averaging");
    }
    for k in 0..=scene.info.averaging_log2_max {
        for setup in [Some(scene.fast()), scene.single()].into_iter().flatten() {
            match setup.rate {
                Some(_) => means(scene, notes, &setup.means(k))?,
                None if k > 0 => mean_of_one_shot(scene, notes, &setup.means(k))?,
                None => continue,
            }
            notes.tried();
        }
    }
    Ok(())
}

/// Means at a scan rate: none of before the first, none that is longer, and none that is shorter.
fn means(scene: &Scene<'_>, notes: &mut Notes, setup: &Setup) -> Checked {
    let (k, period_ns) = (setup.averaging_log2, scene.period_ns(setup));
    let mut trial = scene.running(PLAIN)?;
    let point = fresh(scene, 7);
    trial.apply_all(point);
    trial.configure(setup)?;
    let early = trial.rig.sample()?;
    let asked = format!("means of 2^{k} scans asked for");
    for channel in scene.channels() {
        let codes = early.codes[channel.index()];
        if codes.is_some() && !scene.shows(channel, codes, point) {
            let shown = shown(&early, channel);
            notes.find(format!(
                "{asked}: {channel} shows {shown} of before the first mean: taken as complete too \
                 early"
            ))?;
        }
    }
    // One mean, and the scan in which the last one may have begun.
    let mean_ns = (period_ns << k) + 2 * period_ns;
    trial
        .fixture
        .run_for_ns(mean_ns + u64::from(scene.info.wake_us) * 1_000);
    let seen = trial.rig.sample()?;
    if let Some(channel) = scene
        .channels()
        .find(|channel| !scene.shows(*channel, seen.codes[channel.index()], point))
    {
        let shown = shown(&seen, channel);
        notes.find(format!(
            "{asked}: {channel} has {shown} after as long as a mean takes: longer means than asked \
             for?"
        ))?;
    }
    // In less time than a mean takes, at any moment of one, no result is of new inputs alone.
    let less_ns = (period_ns << k) - (period_ns << k >> 3).max(period_ns);
    for turn in 0..4 {
        trial.settle();
        trial.fixture.run_for_ns((period_ns << k) * turn / 8);
        let asked_ns = trial.fixture.now_ns();
        let late_ns = trial.rig.sample()?.stamp.after_us * 1_000 - asked_ns + 1_000;
        let Some(wait_ns) = less_ns.checked_sub(late_ns) else {
            return Ok(());
        };
        let point = fresh(scene, turn as i64);
        trial.apply_all(point);
        trial.fixture.run_for_ns(wait_ns);
        let seen = trial.rig.sample()?;
        let mut channels = scene.channels();
        if channels.any(|channel| scene.shows(channel, seen.codes[channel.index()], point)) {
            notes.find(format!(
                "{asked}: other inputs are all that a result is of after {} of {} µs: shorter \
                 means than asked for",
                less_ns / 1_000,
                (period_ns << k) / 1_000
            ))?;
        }
    }
    Ok(())
}

/// A single-shot whose inputs change in the last quarter of it shows that they did.
fn mean_of_one_shot(scene: &Scene<'_>, notes: &mut Notes, setup: &Setup) -> Checked {
    let (before, later) = (fresh(scene, 0), fresh(scene, 1));
    let mut trial = scene.trial(PLAIN);
    trial.apply_all(before);
    trial.init(setup)?;
    trial.settled()?;
    let took_ns = (scene.scan_ns(setup) << setup.averaging_log2) * 3 / 4;
    let (fixture, volts) = (trial.fixture.clone(), scene.volts(later));
    let at_ns = fixture.now_ns() + u64::from(scene.info.wake_us) * 1_000 + took_ns;
    trial.tap.between(move |_| {
        if fixture.now_ns() >= at_ns {
            apply(&*fixture, &volts);
        }
    });
    let seen = trial.rig.sample()?;
    let mut channels = scene.channels();
    if channels.all(|channel| scene.shows(channel, seen.codes[channel.index()], before)) {
        notes.find(format!(
            "a single-shot of 2^{} scans asked for: inputs changed in its last quarter, and do not \
             show: shorter means than asked for",
            setup.averaging_log2
        ))?;
    }
    Ok(())
}
