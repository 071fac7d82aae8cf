//! Paces, idle, single-shots, bursts, and the stamp of a frame.

use alloc::{format, rc::Rc, vec, vec::Vec};
use core::cell::RefCell;

use crake::old::part::{Pace, Source};
use crake::old::{Mode, Setup, ShuntMonitor};

use super::coherence::is_live;
use super::sums::grown;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene};
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// Each pace makes as many rounds as its period says.
pub(super) fn paces<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for place in 0..scene.spec.paces.len() {
        let mode = Mode::Paced(Pace(place as u8));
        let setup = Setup {
            mode,
            ..scene.fast()
        };
        if !scene.takes(&setup) {
            continue;
        }
        notes.tried();
        let mut trial = scene.trial();
        trial.init(&setup)?;
        trial.apply_distinct();
        let before = trial.settled()?;
        if before.head.mode != mode {
            notes.find(format!(
                "{mode:?} asked for; the frame says {:?}",
                before.head.mode
            ))?;
        }
        trial.periods(4);
        let after = trial.latch()?;
        grown(scene, notes, &before, &after, "")?;
        if scene.spec.sums == Source::Driver || scene.spec.accumulators.rounds_bits == 0 {
            continue;
        }
        let rounds = u64::from(after.head.rounds.wrapping_sub(before.head.rounds));
        let period_us = u64::from(scene.spec.paces[place].period_us);
        let least = after.stamp.before_us.saturating_sub(before.stamp.after_us) / period_us;
        let most = (after.stamp.after_us - before.stamp.before_us) / period_us;
        if rounds + 1 < least || rounds > most + 2 {
            notes.find(format!(
                "{mode:?}, a round every {period_us} µs by the Spec: {rounds} rounds where there should be {least} to {most}: another pace than asked for?"
            ))?;
        }
    }
    Ok(())
}

/// Idle converts nothing; a single-shot converts 2^k rounds and no more.
pub(super) fn idle_and_single_shot<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let idle = Setup {
        mode: Mode::Idle,
        ..scene.fast()
    };
    let single = Setup {
        mode: Mode::SingleShot,
        ..scene.fast()
    };
    let counts = scene.spec.sums == Source::Part && scene.spec.accumulators.rounds_bits > 0;
    if scene.takes(&idle) {
        notes.tried();
        let mut trial = scene.running()?;
        trial.apply_distinct();
        trial.settled()?;
        trial.configure(&idle)?;
        trial.periods(3);
        let before = trial.latch()?;
        trial.periods(100);
        let after = trial.latch()?;
        if before.head.mode != Mode::Idle {
            notes.find(format!(
                "idle asked for; the frame says {:?}",
                before.head.mode
            ))?;
        }
        if counts && after.head.rounds != before.head.rounds {
            notes.find(format!(
                "idle, and {} rounds in 100 periods of the fastest pace: still converting",
                after.head.rounds.wrapping_sub(before.head.rounds)
            ))?;
        }
    }
    let most = scene.spec.averaging_max.min(3);
    let averagings = (0..=most).filter(|_| scene.takes(&single));
    for k in averagings {
        notes.tried();
        let shot = single.averaging(k);
        let mut trial = scene.trial();
        trial.apply_distinct();
        trial.init(&shot)?;
        let before = trial.settled()?;
        for channel in scene.channels() {
            let point = scene.own(channel);
            let reversed = Point {
                sense: -point.sense,
                bus: point.bus / 2,
            };
            trial.apply(channel, reversed);
        }
        let boundary = trial.configure(&shot)?;
        let after = trial.settled()?;
        if !before.head.complete || !after.head.complete {
            notes.find(format!(
                "single-shot of 2^{k} rounds: not complete by what the frame says, long after"
            ))?;
        }
        let rounds = after.head.rounds.wrapping_sub(before.head.rounds);
        if counts && (rounds != 1 << k || boundary.head.rounds != before.head.rounds) {
            notes.find(format!("single-shot of 2^{k} rounds: {rounds} rounds were made: another mode, or another averaging than asked for?"))?;
        }
        for channel in scene.channels() {
            let point = scene.own(channel);
            let reversed = Point {
                sense: -point.sense,
                bus: point.bus / 2,
            };
            scene.judge(
                notes,
                channel,
                scene.first(channel),
                reversed,
                &after.codes[channel.index()],
            )?;
        }
    }
    Ok(())
}

/// A burst's codes in their order: the input changes in its middle.
pub(super) fn burst<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let len = usize::from(scene.stated.burst);
    if len == 0 {
        return Err(Stop::NotApplicable("datasheet: no bursts".into()));
    }
    for channel in scene.channels() {
        notes.tried();
        let mut trial = scene.running()?;
        let max = scene.sense_full();
        let (first, second) = (max / 3, -max / 4);
        trial.apply_all(Point { sense: 11, bus: 1 });
        trial.apply(
            channel,
            Point {
                sense: first,
                bus: 1,
            },
        );
        trial.configure(&Setup {
            mode: Mode::Burst(channel),
            ..scene.fast()
        })?;
        let half_ns = u64::from(scene.spec.conversion_ns) * len as u64 / 2;
        trial.desk.run_for_ns(half_ns);
        trial.apply(
            channel,
            Point {
                sense: second,
                bus: 1,
            },
        );
        let mut codes = vec![0; len + 1];
        let count = trial.monitor.fetch(&mut codes)?;
        if count != len {
            notes.find(format!(
                "burst on {channel}: {count} codes fetched, expected {len}"
            ))?;
        }
        let codes = &codes[..count.min(len)];
        let turned = codes
            .iter()
            .take_while(|code| (i64::from(**code) - first).abs() <= 1)
            .count();
        let rest = codes.iter().skip(turned);
        let wrong = rest
            .enumerate()
            .find(|(_, code)| (i64::from(**code) - second).abs() > 1);
        if let Some((place, code)) = wrong {
            let place = place + turned;
            notes.find(format!("burst on {channel}: code {code} at place {place}, after an input of code {first} that went to {second} once: out of order, or decoded wrongly?"))?;
        } else if turned == 0 || turned == count {
            notes.find(format!("burst on {channel}: an input of code {first} went to {second} in its middle, and the codes show no change"))?;
        }
        let mut few = [0; 5];
        let count = trial.monitor.fetch(&mut few)?;
        if count != few.len() || few.iter().any(|code| (i64::from(*code) - first).abs() > 1) {
            notes.find(format!("burst on {channel}: the first {} codes fetched as {few:?} ({count} of them), expected {first}", few.len()))?;
        }
    }
    Ok(())
}

/// The stamp lies around the transfer that asks for the latch, and no further apart than that transfer takes.
pub(super) fn stamps<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let mut trial = scene.running()?;
    let began: Rc<RefCell<Vec<u64>>> = Rc::default();
    for _ in 0..3 {
        notes.tried();
        trial.settle();
        began.borrow_mut().clear();
        let (desk, times) = (trial.desk.clone(), began.clone());
        trial
            .tap
            .between(move |_| times.borrow_mut().push(desk.now_ns() / 1_000));
        let call_us = trial.desk.now_ns() / 1_000;
        let seen = trial.latch()?;
        let over_us = trial.desk.now_ns() / 1_000;
        trial.tap.begin();
        let (before, after) = (seen.stamp.before_us, seen.stamp.after_us);
        if before < call_us || after > over_us || after < before {
            notes.find(format!("stamped {before} to {after} µs by a latch that was called at {call_us} and done at {over_us} µs: the step that asks for the latch is not the one that is stamped"))?;
            continue;
        }
        // Transfers that begin within the stamp: exactly one.
        let inside = began
            .borrow()
            .iter()
            .filter(|at| (before..after).contains(*at))
            .count();
        // What is read one by one is stamped from the first reading to the last.
        let right = inside == 1 || scene.stated.polls || is_live(scene) && inside > 1;
        if !right {
            notes.find(format!("stamped {before} to {after} µs, and {inside} transfers began within: around more or less than the one that asks for the latch"))?;
        }
    }
    Ok(())
}
