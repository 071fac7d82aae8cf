//! When results are ready, how old they are, when they were taken, and what a call may cost.

use alloc::{format, string::String, vec::Vec};

use crake::Channel;
use crake::config::Limits;
use crake::part::Codes;

use super::call::CALLS;
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, Stop, not_applicable};
use crate::conformance::rig::{Answer, Seen, Setup};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{How, ONCE, PLAIN, is_endless, text};

/// Every call comes to an end whatever the part answers.
pub(super) fn ends(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for call in CALLS.into_iter().filter(|call| call.applies(scene)) {
        let sealed = scene.stated.check_byte;
        for (answer, spoil) in [
            ("does not answer", Spoil::Cut(0)),
            ("answers zeros alone", Spoil::Stuck { byte: 0x00, sealed }),
            ("answers ones alone", Spoil::Stuck { byte: 0xFF, sealed }),
        ] {
            let mut trial = scene.running(PLAIN)?;
            call.prepare(&mut trial)?;
            notes.tried();
            trial.tap.spoil_all(0..usize::MAX, spoil);
            if let Err(error) = call.make(&mut trial)
                && is_endless(&error)
            {
                return Err(Stop::Finding(format!(
                    "on a part that {answer}, {}",
                    text(&error)
                )));
            }
        }
    }
    Ok(())
}

/// With the slowest oscillator, at any moment of a scan: a sample is not that of before. Its inputs
/// were applied as long before it as results may be old; where it is triggered, right before.
pub(super) fn waits(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let slow = How {
        oscillator_ppm: -(scene.stated.oscillator_ppm as i32),
        ..ONCE
    };
    let k = scene.info.averaging_log2_max.min(1);
    let single = scene.single().map(|setup| {
        [
            Setup {
                averaging_log2: k,
                ..setup.clone()
            },
            setup,
        ]
    });
    let fast = [scene.fast()];
    for setup in fast.into_iter().chain(single.into_iter().flatten()) {
        let mut trial = scene.trial(slow);
        trial.reset();
        in_time(trial.init(&setup), "init right after a reset")?;
        trial.settle();
        let period_ns = scene.period_ns(&setup);
        let what = if setup.rate.is_some() {
            "a sample"
        } else {
            "a single-shot"
        };
        // What both inputs settle to, decoded rightly or not.
        let points = [0, 1].map(|step| fresh(scene, step));
        let mut settled = Vec::new();
        for point in points {
            trial.apply_all(point);
            trial.settled()?;
            settled.push(in_time(trial.settled(), what)?.codes);
        }
        // Where time does not mend it, it is no matter of a wait.
        if settled[0] == settled[1] {
            continue;
        }
        for step in 0..64 {
            notes.tried();
            // Has no common measure with the period.
            trial.fixture.run_for_ns(period_ns * step * 7 / 64 / 5);
            let now = step as usize % 2;
            trial.apply_all(points[now]);
            trial.fixture.run_for_ns(scene.fresh_ns(&setup));
            let seen = in_time(trial.rig.sample(), what)?;
            let old = scene.channels().find(|channel| {
                let [codes, new, other] = [&seen.codes, &settled[now], &settled[1 - now]]
                    .map(|codes| codes[channel.index()].unwrap_or_default());
                let is = |of: fn(&Codes) -> i64| of(&codes) == of(&other) && of(&new) != of(&other);
                seen.codes[channel.index()].is_none()
                    || is(|codes| codes.sense.into())
                    || is(|codes| codes.rail.into())
            });
            if let Some(channel) = old {
                let age_us = scene.fresh_ns(&setup) / 1_000;
                notes.find(format!(
                    "with the slowest oscillator, {what}: other inputs were applied {age_us} µs \
                     before it was asked for, and {channel} shows {} as before: results are read \
                     before they are done, the wait is too short (or the scan rate too slow)",
                    shown(&seen, channel)
                ))?;
            }
        }
    }
    Ok(())
}

fn in_time<T>(answer: Answer<T>, what: &str) -> Result<T, Stop> {
    answer.map_err(|error| {
        Stop::Finding(format!(
            "with the slowest oscillator and one attempt, {what}: {}: read before the part was \
             done, the wait is too short",
            text(&error)
        ))
    })
}

/// Points that differ from each other by far.
pub(super) fn fresh(scene: &Scene<'_>, step: i64) -> Point {
    let full = scene.full();
    let place = step * 5 % 16 + 1;
    Point {
        sense: full.sense * place / 18,
        rail: full.rail * place / 18,
    }
}

pub(super) fn shown(seen: &Seen, channel: Channel) -> String {
    match seen.codes[channel.index()] {
        Some(codes) => format!("sense code {} and rail code {}", codes.sense, codes.rail),
        None => "no reading".into(),
    }
}

/// Each scan rate makes as many scans as its period says, and results as new as that.
pub(super) fn scan_rates(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let periods = scene.info.scan_periods_us;
    if periods.is_empty() {
        return not_applicable("PartInfo: no scan rates");
    }
    for (rate, period_us) in periods.iter().enumerate() {
        notes.tried();
        let setup = Setup {
            rate: Some(rate),
            ..scene.fast()
        };
        let mut trial = scene.trial(PLAIN);
        trial.apply_own();
        trial.init(&setup)?;
        let before = trial.settled()?;
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
        let mut trial = scene.trial(PLAIN);
        trial.apply_own();
        trial.init(&Setup {
            averaging_log2: k,
            ..single.clone()
        })?;
        let before = trial.settled()?;
        let point = fresh(scene, 5);
        trial.apply_all(point);
        trial.settle();
        let after = trial.rig.sample()?;
        for channel in scene.channels() {
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
    let Some(rate) = scene.fast().rate else {
        return not_applicable("PartInfo: no scan rates; single-shot has its own check");
    };
    for k in 0..=scene.info.averaging_log2_max {
        notes.tried();
        let setup = Setup {
            rate: Some(rate),
            averaging_log2: k,
            ..scene.fast()
        };
        let mut trial = scene.running(PLAIN)?;
        let point = fresh(scene, 7);
        trial.apply_all(point);
        trial.configure(&setup)?;
        let early = trial.rig.sample()?;
        let asked = format!("means of 2^{k} scans asked for");
        for channel in scene.channels() {
            let codes = early.codes[channel.index()];
            if codes.is_some() && !scene.shows(channel, codes, point) {
                let shown = shown(&early, channel);
                notes.find(format!(
                    "{asked}: {channel} shows {shown} of before the first mean: taken as complete \
                     too early"
                ))?;
            }
        }
        // One mean, and the scan in which the last one may have begun.
        let mean_ns = (scene.period_ns(&setup) << k) + 2 * scene.period_ns(&setup);
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
                "{asked}: {channel} has {shown} after as long as a mean takes: longer means than \
                 asked for?"
            ))?;
        }
    }
    Ok(())
}

/// No call costs more than its worst case, also where every attempt but the last fails.
pub(super) fn longest_time(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let slow = How {
        oscillator_ppm: -(scene.stated.oscillator_ppm as i32),
        ..PLAIN
    };
    for (read_max, attempts) in [(u8::MAX, 1), (16, 3)] {
        for call in CALLS.into_iter().filter(|call| call.applies(scene)) {
            for fails in [false, true] {
                let mut trial = scene.trial(How {
                    read_max,
                    attempts,
                    ..slow
                });
                trial.apply_own();
                trial.init(&scene.fast())?;
                trial.settle();
                call.prepare(&mut trial)?;
                notes.tried();
                trial.tap.begin();
                if fails {
                    // Every bit of every read is another's, so that nothing ever fits.
                    trial.tap.spoil_all(
                        0..usize::MAX,
                        Spoil::Flipped {
                            byte: 0,
                            bit: 5,
                            sealed: false,
                        },
                    );
                }
                let began_ns = trial.fixture.now_ns();
                let answer = call.make(&mut trial);
                if !fails {
                    answer?;
                } else if let Err(error) = answer
                    && is_endless(&error)
                {
                    return Err(error.into());
                }
                let took_us = (trial.fixture.now_ns() - began_ns).div_ceil(1_000);
                let list = call.limits(scene);
                let setup = trial.setup.clone();
                let most = trial.rig.worst_case_us(call, &Limits::new(&list), &setup);
                if most.is_none_or(|most| took_us > most) {
                    notes.find(format!(
                        "{call:?}, reads of at most {read_max} bytes, {attempts} attempts: it took \
                         {took_us} µs; its worst case is said to be {most:?} µs"
                    ))?;
                }
            }
        }
    }
    Ok(())
}
