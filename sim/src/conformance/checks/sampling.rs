//! Of which moments the values of a sample are, and the codes of a capture.

use alloc::{format, rc::Rc, vec, vec::Vec};
use core::cell::{Cell, RefCell};

use super::timing::{fresh, shown};
use crate::conformance::Fixture;
use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{How, PLAIN};

/// What is applied after the stamp's end, at any moment of a sample, is not in it.
pub(super) fn stamps(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for setup in [Some(scene.fast()), scene.single()].into_iter().flatten() {
        let (before, later) = (fresh(scene, 0), fresh(scene, 1));
        for number in 0.. {
            let mut trial = scene.trial(PLAIN);
            trial.apply_all(before);
            trial.init(&setup)?;
            trial.settle();
            let at_ns: Rc<Cell<Option<u64>>> = Rc::default();
            let (fixture, at) = (trial.fixture.clone(), at_ns.clone());
            let volts = scene.volts(later);
            let mut moment = 0..;
            trial.tap.between(move |_| {
                if moment.next() == Some(number) {
                    at.set(Some(fixture.now_ns()));
                    apply(&*fixture, &volts);
                }
            });
            let seen = trial.rig.sample()?;
            let Some(at_ns) = at_ns.get() else { break };
            notes.tried();
            let after_ns = seen.stamp.after_us * 1_000;
            let late = scene.channels().find(|channel| {
                let codes = seen.codes[channel.index()];
                codes.is_some() && !scene.shows(*channel, codes, before)
            });
            if let Some(channel) = late.filter(|_| at_ns > after_ns + 1_000) {
                notes.find(format!(
                    "inputs changed {} µs after the stamp's end, and {channel} shows {}: it is \
                     converted later than the stamp says",
                    (at_ns - after_ns) / 1_000,
                    shown(&seen, channel)
                ))?;
            }
        }
    }
    match scene.info.skew_us {
        0 => Ok(()),
        _ => ages(scene, notes),
    }
}

/// What is shown of before the stamp's beginning: nothing, on a part that latches nothing. At the
/// slowest oscillator inputs change right before that beginning, at every moment of a scan.
fn ages(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let slow = How {
        oscillator_ppm: -(scene.stated.oscillator_ppm as i32),
        ..PLAIN
    };
    let points = [0, 1].map(|step| fresh(scene, step));
    let most = scene.info.averaging_log2_max.min(2);
    for k in (0..=most).step_by(most.max(1).into()) {
        let setup = scene.fast().means(k);
        let mut trial = scene.trial(slow);
        trial.apply_all(points[0]);
        trial.init(&setup)?;
        trial.settle();
        let began_us = trial.fixture.now_ns() / 1_000;
        let seen = trial.rig.sample()?;
        let age_us = began_us.saturating_sub(seen.stamp.before_us);
        for step in 0..AGES {
            notes.tried();
            let [before, later] = [step, step + 1].map(|step| points[step as usize % 2]);
            trial.apply_all(before);
            trial.settle();
            let part_ns = scene.slowest_ns(scene.period_ns(&setup)) * step / AGES;
            trial.fixture.run_for_ns(part_ns);
            trial.apply_all(later);
            let at_us = trial.fixture.now_ns() / 1_000;
            trial.fixture.run_for_ns((age_us + 3) * 1_000);
            let seen = trial.rig.sample()?;
            let old = scene.channels().find(|channel| {
                let codes = seen.codes[channel.index()];
                codes.is_some() && !scene.shows(*channel, codes, later)
            });
            if let Some(channel) = old.filter(|_| at_us + 1 < seen.stamp.before_us) {
                notes.find(format!(
                    "with the slowest oscillator inputs changed {} µs before the stamp's \
                     beginning, and {channel} shows {}, which has to do with what was before: \
                     results may be older than the map says (`age_us_max`)",
                    seen.stamp.before_us - at_us,
                    shown(&seen, channel)
                ))?;
            }
        }
    }
    Ok(())
}

/// Moments of a scan.
const AGES: u64 = 96;

/// All like values of a sample are of one latch while inputs change, or no further apart than the
/// skew.
pub(super) fn coherence(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let unit = scene.share(1, STEPS as i64 + 1);
    let at = move |step: usize| Point {
        sense: unit.sense * (step % STEPS + 1) as i64,
        rail: unit.rail * (step % STEPS + 1) as i64,
    };
    let live = scene.info.skew_us > 0;
    let pause_ns = 3 * scene.period_ns(&scene.fast());
    for read_max in [u8::MAX, 32, 9] {
        let mut trial = scene.trial(How { read_max, ..PLAIN });
        trial.apply_all(at(0));
        let began: Rc<RefCell<Vec<u64>>> = Rc::new(RefCell::new(vec![0]));
        trial.init(&scene.fast())?;
        trial.settle();
        let volts: Vec<_> = (0..STEPS).map(|step| scene.volts(at(step))).collect();
        for turn in 0..24 {
            notes.tried();
            let fixture = trial.fixture.clone();
            let (steps, volts) = (began.clone(), volts.clone());
            let step = move || {
                let step = steps.borrow().len();
                steps.borrow_mut().push(fixture.now_ns());
                apply(&*fixture, &volts[step % STEPS]);
                // Without a latch a pause would be a skew of the kit's own making.
                fixture.run_for_ns(if live { 0 } else { pause_ns });
            };
            trial.fixture.run_for_ns(pause_ns * turn / 37);
            for _ in 0..30 {
                trial.fixture.run_for_ns(pause_ns / 30);
                if live {
                    step();
                }
            }
            trial.tap.between(move |transfer| {
                if transfer.is_some() || live {
                    step();
                }
            });
            let seen = trial.rig.sample()?;
            trial.tap.begin();
            let began = began.borrow();
            let codes = || {
                scene
                    .channels()
                    .map(|channel| seen.codes[channel.index()].unwrap_or_default())
            };
            let sense: Vec<_> = codes().map(|it| (it.sense.into(), unit.sense)).collect();
            let rail = codes().map(|it| (it.rail.into(), unit.rail)).collect();
            for (input, codes) in [("sense", sense), ("rail", rail)] {
                // The latest step that fits; one that began after the next ended is too late.
                let steps = codes.iter().map(|(code, unit): &(i64, i64)| {
                    let place = ((code + unit / 2) / unit - 1) as usize;
                    (0..began.len()).rev().find(|step| step % STEPS == place)
                });
                let steps: Vec<Option<usize>> = steps.collect();
                let known = || steps.iter().flatten();
                let from = known().map(|step| began[*step]).max().unwrap_or_default();
                let until = known().map(|step| began.get(step + 1).copied().unwrap_or(u64::MAX));
                let apart_ns = from.saturating_sub(until.min().unwrap_or_default());
                if apart_ns > u64::from(scene.info.skew_us) * 1_000 {
                    notes.find(format!(
                        "inputs went on by a step again and again; {input} of the channels shows \
                         steps {steps:?}, {} µs apart, and the PartInfo allows {} µs: read from \
                         live registers, or torn?",
                        apart_ns / 1_000,
                        scene.info.skew_us
                    ))?;
                }
            }
        }
    }
    Ok(())
}

/// Puts voltages on each channel.
pub(super) fn apply(fixture: &dyn Fixture, volts: &[(i64, i64)]) {
    for (channel, (sense_nv, rail_nv)) in (0..).zip(volts) {
        fixture.apply(channel, *sense_nv, *rail_nv);
    }
}

/// Steps until they come round again.
const STEPS: usize = 64;

/// A capture's codes in their order: the input changes in its middle.
pub(super) fn fast_capture(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let len = usize::from(scene.info.capture_max);
    if len == 0 {
        return not_applicable("PartInfo: no fast capture");
    }
    for channel in scene.channels() {
        notes.tried();
        let (first, second) = (scene.full().sense / 3, -scene.full().sense / 4);
        let mut trial = scene.running(PLAIN)?;
        let at = |sense| Point { sense, rail: 1 };
        trial.apply_all(at(11));
        trial.apply(channel, at(first));
        trial.rig.start_capture(channel)?;
        trial
            .fixture
            .run_for_ns(u64::from(scene.info.conversion_ns) * len as u64 / 2);
        trial.apply(channel, at(second));
        let mut codes = vec![0; len + 1];
        let count = trial.rig.fetch_capture(0, &mut codes)?;
        if count != len {
            notes.find(format!("{count} codes fetched, expected {len}"))?;
        }
        let is = |code: i32, wanted: i64| (i64::from(code) - wanted).abs() <= 1;
        let codes = &codes[..count.min(len)];
        let turn = codes.iter().take_while(|code| is(**code, first)).count();
        let wrong = codes[turn..].iter().position(|code| !is(*code, second));
        if turn == 0 || turn == count || wrong.is_some() {
            let place = turn + wrong.unwrap_or_default();
            let code = codes.get(place).copied().unwrap_or_default();
            notes.find(format!(
                "capture of {channel}: code {code} at place {place}, of an input at code {first} \
                 that went to {second} once, in the middle: out of order, or decoded wrongly?"
            ))?;
            continue;
        }
        let mut few = [0; 5];
        trial.rig.fetch_capture(turn as u16 - 1, &mut few)?;
        if few != codes[turn - 1..turn + 4] {
            notes.find(format!(
                "codes from number {} on are {few:?} when fetched alone",
                turn - 1
            ))?;
        }
    }
    Ok(())
}
