//! When results are ready, and what a call may cost.

use alloc::{format, string::String, vec::Vec};

use crake::Channel;
use crake::bus::Fault;
use crake::config::Limits;
use crake::part::Codes;

use super::call::calls;
use super::faults::ended;
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, Stop, not_applicable};
use crate::conformance::rig::{Answer, Seen};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{How, ONCE, PLAIN, text};

/// Every call comes to an end whatever the part answers.
pub(super) fn ends(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for call in calls(scene) {
        let sealed = scene.stated.check_byte;
        for (answer, spoil) in [
            ("does not answer", Spoil::Cut(0)),
            ("answers zeros alone", Spoil::Stuck { byte: 0x00, sealed }),
            ("answers ones alone", Spoil::Stuck { byte: 0xFF, sealed }),
        ] {
            let mut trial = scene.trial(PLAIN);
            let begun = trial.init(&scene.fast());
            ended(&begun, "on a part in order")?;
            if begun.is_err() {
                return not_applicable("the part is not initialised");
            }
            call.prepare(&mut trial)?;
            notes.tried();
            trial.tap.spoil_all(0..usize::MAX, spoil);
            ended(&call.make(&mut trial), &format!("on a part that {answer}"))?;
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
    let single = || scene.single().into_iter();
    let setups = single().map(|setup| setup.means(k)).chain(single());
    for setup in [scene.fast()].into_iter().chain(setups) {
        let mut trial = scene.trial(slow);
        trial.reset();
        trial.apply_all(fresh(scene, 0));
        in_time(trial.init(&setup), "init right after a reset")?;
        let first = in_time(trial.rig.sample(), "the first sample")?.codes;
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
            in_time(trial.settled(), what)?;
            settled.push(in_time(trial.settled(), what)?.codes);
        }
        // Where time does not mend it, it is no matter of a wait.
        if settled[0] == settled[1] {
            continue;
        }
        notes.tried();
        let empty = scene.channels().find(|channel| {
            let [first, later] = [&first, &settled[0]].map(|codes| codes[channel.index()]);
            let is = |of: fn(&Codes) -> i64| first.is_some_and(|codes| of(&codes) == 0);
            let shown = later.unwrap_or_default();
            is(|codes| codes.sense.into()) && shown.sense != 0
                || is(|codes| codes.rail.into()) && shown.rail != 0
        });
        if let Some(channel) = empty {
            notes.find(format!(
                "right after init, with the slowest oscillator, {channel} shows 0, and later what \
                 is applied: the first result is read before there is one, the wait is too short"
            ))?;
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
        let hint = match error.fault() {
            Fault::Torn => "one change between two readings is no fault: is it read once more?",
            Fault::CheckByte => "is each register read with as many bytes as it has?",
            _ => "read before the part was done, the wait is too short",
        };
        Stop::Finding(format!(
            "with the slowest oscillator and one attempt, {what}: {}: {hint}",
            text(&error)
        ))
    })
}

/// Points that differ from each other by far.
pub(super) fn fresh(scene: &Scene<'_>, step: i64) -> Point {
    scene.share(step * 5 % 16 + 1, 18)
}

pub(super) fn shown(seen: &Seen, channel: Channel) -> String {
    match seen.codes[channel.index()] {
        Some(codes) => format!("sense code {} and rail code {}", codes.sense, codes.rail),
        None => "no reading".into(),
    }
}

/// No call costs more than its worst case, also where every attempt but the last fails.
pub(super) fn longest_time(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let slow = How {
        oscillator_ppm: -(scene.stated.oscillator_ppm as i32),
        ..PLAIN
    };
    for (read_max, attempts) in [(u8::MAX, 1), (16, 3)] {
        for call in calls(scene) {
            for fails in [false, true] {
                let mut trial = scene.running(How {
                    read_max,
                    attempts,
                    ..slow
                })?;
                call.prepare(&mut trial)?;
                notes.tried();
                trial.tap.begin();
                if fails {
                    // A bit of every read is another's, so that nothing ever fits.
                    let (byte, bit, sealed) = (0, 5, false);
                    let spoil = Spoil::Flipped { byte, bit, sealed };
                    trial.tap.spoil_all(0..usize::MAX, spoil);
                }
                let began_ns = trial.fixture.now_ns();
                let answer = call.make(&mut trial);
                ended(&answer, "where every read is another's")?;
                if !fails {
                    answer?;
                }
                let took_us = (trial.fixture.now_ns() - began_ns).div_ceil(1_000);
                let list = trial.all_limits();
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
