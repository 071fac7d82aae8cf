//! Of which moments the values of a sample are, and the codes of a capture.

use alloc::{format, rc::Rc, vec};
use core::cell::Cell;

use super::timing::{fresh, shown};
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
            let (fixture, at, channels) = (trial.fixture.clone(), at_ns.clone(), scene.count);
            let (sense_nv, rail_nv) = scene.nanovolts((0, 0), later);
            let mut moment = 0..;
            trial.tap.between(move |_| {
                if moment.next() == Some(number) {
                    at.set(Some(fixture.now_ns()));
                    (0..channels).for_each(|channel| fixture.apply(channel, sense_nv, rail_nv));
                }
            });
            let seen = trial.rig.sample()?;
            let Some(at_ns) = at_ns.get() else { break };
            notes.tried();
            let after_ns = seen.stamp.after_us * 1_000;
            let late = scene.channels().find(|channel| {
                let codes = seen.codes[channel.index()];
                codes.is_some_and(|codes| (i64::from(codes.sense) - before.sense).abs() > 1)
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
    Ok(())
}

/// All values of a sample are of one latch while inputs change, or no further apart than the skew.
pub(super) fn coherence(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    const STEPS: i64 = 64;
    let at = move |step: i64, full: Point| Point {
        sense: full.sense / (STEPS + 1) * (step % STEPS + 1),
        rail: full.rail / (STEPS + 1) * (step % STEPS + 1),
    };
    let live = scene.info.skew_us > 0;
    for read_max in [u8::MAX, 32, 9] {
        let mut trial = scene.trial(How { read_max, ..PLAIN });
        let full = scene.full();
        trial.apply_all(at(0, full));
        trial.init(&scene.fast())?;
        trial.settle();
        let volts: vec::Vec<(i64, i64)> = (0..STEPS)
            .map(|step| scene.nanovolts((0, 0), at(step, full)))
            .collect();
        let step = Rc::new(Cell::new(0_usize));
        for _ in 0..4 {
            notes.tried();
            let (fixture, count, step) = (trial.fixture.clone(), scene.count, step.clone());
            let (volts, pause_ns) = (volts.clone(), 3 * scene.period_ns(&scene.fast()));
            trial.tap.between(move |transfer| {
                if transfer.is_none() {
                    return;
                }
                step.set(step.get() + 1);
                let (sense_nv, rail_nv) = volts[step.get() % STEPS as usize];
                (0..count).for_each(|channel| fixture.apply(channel, sense_nv, rail_nv));
                // Without a latch a pause would be a skew of the kit's own making.
                fixture.run_for_ns(if live { 0 } else { pause_ns });
            });
            let seen = trial.rig.sample()?;
            trial.tap.begin();
            let near = |code: i64, full: i64| {
                let unit = full / (STEPS + 1);
                (code % unit <= 1 || code % unit >= unit - 1).then(|| (code + 1) / unit)
            };
            let steps = scene.channels().flat_map(|channel| {
                let codes = seen.codes[channel.index()].unwrap_or_default();
                [
                    near(codes.sense.into(), full.sense),
                    near(codes.rail.into(), full.rail),
                ]
            });
            let steps: vec::Vec<Option<i64>> = steps.collect();
            // Within a scan one step may end and the next begin.
            let known: vec::Vec<i64> = steps.iter().flatten().copied().collect();
            let spread = known.iter().max().unwrap_or(&0) - known.iter().min().unwrap_or(&0);
            if known.len() < steps.len() || !live && spread > 1 && spread < STEPS - 1 {
                notes.find(format!(
                    "inputs went on by a step before every transfer; the values of one sample are \
                     of steps {steps:?}: read from live registers instead of one latch?"
                ))?;
            }
        }
    }
    Ok(())
}

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
        trial.apply_all(Point { sense: 11, rail: 1 });
        trial.apply(
            channel,
            Point {
                sense: first,
                rail: 1,
            },
        );
        trial.rig.start_capture(channel)?;
        trial
            .fixture
            .run_for_ns(u64::from(scene.info.conversion_ns) * len as u64 / 2);
        trial.apply(
            channel,
            Point {
                sense: second,
                rail: 1,
            },
        );
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
