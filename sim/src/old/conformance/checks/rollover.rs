//! Sums over their ends, and the warning before it.

use alloc::format;

use crake::old::Channel;
use crake::old::alert::{Causes, Outputs, Watches};
use crake::old::part::{Counters, Source};

use super::limits::names;
use super::sums::modulo;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene};
use crate::old::conformance::trial::Seen;
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// Which sum is led over its end.
#[derive(Clone, Copy)]
enum Sum {
    Charge,
    Energy,
}

pub(super) fn rollover_charge<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    rollover(
        scene,
        notes,
        Sum::Charge,
        scene.spec.accumulators.charge_bits,
    )
}

pub(super) fn rollover_energy<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    rollover(
        scene,
        notes,
        Sum::Energy,
        scene.spec.accumulators.energy_bits,
    )
}

/// Sums are set right before their end, and rounds take them over it, upwards on even channels and downwards on odd ones.
fn rollover<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    sum: Sum,
    bits: u8,
) -> Checked {
    kept_by_part(scene, bits)?;
    let mut trial = scene.running()?;
    trial.apply_distinct();
    // The end of the sum itself, and of every half of it that a map could take for its width.
    for width in [bits, bits - 1, 32, 31, 16]
        .into_iter()
        .filter(|width| *width <= bits)
    {
        let start = trial.settled()?;
        for channel in scene.channels() {
            let end = (1_i64 << (width - 1)) - 1;
            let down = scene.own(channel).sense < 0;
            let counter = if down { -end } else { end };
            let (charge, energy) = match sum {
                Sum::Charge => (counter, 0),
                Sum::Energy => (0, counter),
            };
            if !trial.desk.preload(channel.number(), charge, energy) {
                return Err(Stop::NotApplicable(
                    "the fixture cannot set running sums".into(),
                ));
            }
        }
        let near = trial.latch()?;
        trial.periods(40);
        let past = trial.latch()?;
        for channel in scene.channels() {
            notes.tried();
            let point = scene.own(channel);
            let of = |counters: Counters| match sum {
                Sum::Charge => counters.charge,
                Sum::Energy => counters.energy,
            };
            let (name, code) = match sum {
                Sum::Charge => ("charge", point.sense),
                Sum::Energy => ("energy", point.sense * point.bus),
            };
            let end = (1_i64 << (width - 1)) - 1;
            let set = if point.sense < 0 { -end } else { end };
            let rounds = |from: &Seen<N>, to: &Seen<N>| {
                modulo(
                    i64::from(to.head.rounds) - i64::from(from.head.rounds),
                    scene.spec.accumulators.rounds_bits,
                )
            };
            // Rounds since the sum was set: some of those since the frame before.
            let since = modulo(of(near.counters[channel.index()]).wrapping_sub(set), bits);
            let most = code.wrapping_mul(rounds(&start, &near));
            if since.unsigned_abs() > most.unsigned_abs() || (since < 0) != (code < 0) && since != 0
            {
                notes.find(format!(
                    "{channel}: {name} set to {set}, {} read a few rounds of code {code} later: decoded with another width than {bits} bits?",
                    of(near.counters[channel.index()])
                ))?;
                continue;
            }
            let count = rounds(&near, &past);
            let expected = modulo(
                of(near.counters[channel.index()]).wrapping_add(code.wrapping_mul(count)),
                bits,
            );
            let read = modulo(of(past.counters[channel.index()]), bits);
            if read != expected {
                notes.find(format!(
                    "{channel}: {name} of {bits} bits led over the end of {width} bits by {count} rounds of code {code}: {read} read, expected {expected}: decoded with another width?"
                ))?;
            }
        }
    }
    Ok(())
}

pub(super) fn rollover_rounds<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let bits = scene.spec.accumulators.rounds_bits;
    kept_by_part(scene, bits)?;
    let mut trial = scene.running()?;
    trial.apply_distinct();
    for width in [bits, bits - 1, 24, 16, 8]
        .into_iter()
        .filter(|width| *width <= bits)
    {
        notes.tried();
        let before = trial.settled()?;
        let set = (1_u64 << width) - 8;
        if !trial.desk.preload_rounds(set as u32) {
            return Err(Stop::NotApplicable(
                "the fixture cannot set the count of rounds".into(),
            ));
        }
        let near = trial.latch()?;
        let elapsed = (near.stamp.after_us - before.stamp.before_us) * 1_000;
        let most = elapsed / scene.period_ns(scene.fast().mode) + 2;
        let since = u64::from(near.head.rounds).wrapping_sub(set) & ((1 << bits) - 1);
        if since > most {
            notes.find(format!(
                "rounds set to {set}, {} read at most {most} rounds later: cut off at another width than {bits} bits?",
                near.head.rounds
            ))?;
            continue;
        }
        trial.periods(20);
        let past = trial.latch()?;
        let count =
            u64::from(past.head.rounds).wrapping_sub(near.head.rounds.into()) & ((1 << bits) - 1);
        // What the sums say of the same rounds.
        let point = scene.own(Channel::C0);
        let grown = past.counters[0]
            .charge
            .wrapping_sub(near.counters[0].charge);
        let by_charge = modulo(grown, scene.spec.accumulators.charge_bits) / point.sense.max(1);
        if scene.spec.accumulators.charge_bits > 0 && count as i64 != by_charge {
            notes.find(format!(
                "rounds went from {} to {} over the end of {width} bits: {count}, and {by_charge} by the charge of the same rounds: a count that was cut off, or of another width?",
                near.head.rounds, past.head.rounds
            ))?;
        }
    }
    Ok(())
}

fn kept_by_part<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>, bits: u8) -> Checked {
    if scene.spec.sums == Source::Driver {
        return Err(Stop::NotApplicable(
            "Spec: the driver keeps the sums".into(),
        ));
    }
    if bits < 2 {
        return Err(Stop::NotApplicable("Spec: the part has no such sum".into()));
    }
    Ok(())
}

/// A sum that reaches the part's mark is told on the output that was asked for; one that does not is not.
pub(super) fn rollover_ahead<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let eighths = i64::from(scene.stated.rollover_ahead_eighths);
    if eighths == 0 {
        return Err(Stop::NotApplicable(
            "datasheet: the part does not tell of a rollover ahead".into(),
        ));
    }
    let widths = scene.spec.accumulators;
    let output = scene.outputs().next().unwrap_or(Outputs::A);
    let watches = Watches::limits(&[]).rollover_ahead(output);
    for (name, bits) in [
        ("charge", widths.charge_bits),
        ("energy", widths.energy_bits),
    ] {
        for channel in scene.channels() {
            notes.tried();
            let mut trial = scene.running()?;
            trial.apply_all(Point {
                sense: 100,
                bus: 100,
            });
            trial.settle();
            trial.arm(&watches)?;
            // A few rounds before a mark of so many eighths.
            let set = |eighths: i64| {
                let sum = eighths * (1 << (bits - 4)) - 1;
                match name {
                    "charge" => trial.desk.preload(channel.number(), sum, 0),
                    _ => trial.desk.preload(channel.number(), 0, sum),
                }
            };
            if !set(eighths - 1) {
                return Err(Stop::NotApplicable(
                    "the fixture cannot set running sums".into(),
                ));
            }
            trial.settle();
            if trial.desk.is_low(output) == Some(true) {
                notes.find(format!(
                    "{channel}: {name} at {} eighths, and the output is low",
                    eighths - 1
                ))?;
            }
            set(eighths);
            trial.settle();
            if trial.desk.is_low(output) == Some(false) {
                notes.find(format!("{channel}: {name} at {eighths} eighths, and the output stays high: was the cause asked for let through?"))?;
            }
            let told = trial.service(watches.interest())?;
            if told != Causes::ROLLOVER_AHEAD {
                notes.find(format!(
                    "{channel}: {name} at {eighths} eighths, {} told, expected rollover ahead",
                    names(told)
                ))?;
            }
        }
    }
    Ok(())
}
