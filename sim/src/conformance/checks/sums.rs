//! Coherence of a frame, running sums and their rollover.

use alloc::{format, rc::Rc, vec::Vec};
use core::cell::RefCell;

use crake::part::{Counters, Source};
use crake::{Channel, Mode, Setup};

use crate::conformance::report::{Notes, Stop};
use crate::conformance::scene::{FIRST, Point, Scene};
use crate::conformance::trial::Seen;
use crate::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// Steps of the inputs, and when each began.
type Steps = Rc<RefCell<Vec<u64>>>;

/// Inputs go on by a step before every transfer of a latch: what a frame shows must belong to one step.
pub(super) fn coherence<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for read_max in [255, 32, 9] {
        let mut trial = scene.trial_at(0, read_max);
        trial.init(&scene.fast())?;
        let began: Steps = Rc::default();
        for _ in 0..4 {
            notes.tried();
            let (desk, steps) = (trial.desk.clone(), began.clone());
            let volts: Vec<(i64, i64)> = (0..STEPS)
                .map(|step| scene.nanovolts(FIRST, step_point(scene, step)))
                .collect();
            let period_ns = scene.period_ns(scene.fast().mode);
            trial.tap.between(move |_| {
                let step = steps.borrow().len() % STEPS;
                steps.borrow_mut().push(desk.now_ns());
                for channel in Channel::first(N as u8) {
                    desk.apply(channel.number(), volts[step].0, volts[step].1);
                }
                desk.run_for_ns(3 * period_ns);
            });
            let seen = trial.latch()?;
            trial.tap.begin();
            one_moment(scene, notes, &seen, &began.borrow())?;
        }
    }
    Ok(())
}

const STEPS: usize = 64;

fn step_point<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>, step: usize) -> Point {
    let step = step as i64 + 1;
    Point {
        sense: scene.sense_max(FIRST) / (STEPS as i64 + 1) * step,
        bus: scene.bus_max(FIRST) / (STEPS as i64 + 1) * step,
    }
}

/// Every value of the frame was true at some moment; those moments lie no further apart than the part's skew.
fn one_moment<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    seen: &Seen<N>,
    began: &[u64],
) -> Checked {
    let skew_ns = u64::from(scene.spec.skew_us) * 1_000;
    // (from, until) of the step that a value shows, what it is of, and the step.
    let mut shown: Vec<(u64, u64, alloc::string::String, usize)> = Vec::new();
    for channel in scene.channels() {
        let codes = seen.codes[channel.index()];
        let values = [
            ("sense", i64::from(codes.sense)),
            ("bus", i64::from(codes.bus)),
        ];
        for (what, code) in values {
            let of = |step: usize| {
                let point = step_point(scene, step % STEPS);
                if what == "sense" {
                    point.sense
                } else {
                    point.bus
                }
            };
            // The latest step that fits: steps come round again only after more transfers than a latch has.
            let step = (0..began.len())
                .rev()
                .find(|step| (of(*step) - code).abs() <= 1);
            let Some(step) = step else {
                notes.find(format!(
                    "{channel}: {what} code {code} read, and it was applied at no time"
                ))?;
                continue;
            };
            let until = began.get(step + 1).copied().unwrap_or(u64::MAX);
            shown.push((began[step], until, format!("{what} of {channel}"), step));
        }
        let (power, tolerance) = (
            codes.power,
            i64::from(codes.sense).abs() + i64::from(codes.bus) + 1,
        );
        let product = i64::from(codes.sense) * i64::from(codes.bus);
        if (power - product).abs() > tolerance {
            notes.find(format!(
                "{channel}: power code {power} beside sense code {} and bus code {}, whose product is {product}: of different rounds?",
                codes.sense, codes.bus
            ))?;
        }
    }
    let latest = shown.iter().max_by_key(|(from, ..)| *from);
    let earliest = shown.iter().min_by_key(|(_, until, ..)| *until);
    if let (Some((from, _, late, late_step)), Some((_, until, early, early_step))) =
        (latest, earliest)
        && from.saturating_sub(*until) > skew_ns
    {
        notes.find(format!(
            "inputs went on by a step before every transfer: {early} shows step {early_step}, {late} shows step {late_step}, {} µs later; the Spec allows {} µs: read from live registers instead of one latch?",
            (from - until) / 1_000,
            scene.spec.skew_us
        ))?;
    }
    Ok(())
}

/// Between two frames each sum grows by rounds times code.
pub(super) fn running_sums<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    if scene.spec.sums == Source::Part
        && scene.spec.accumulators.charge_bits == 0
        && scene.spec.accumulators.energy_bits == 0
    {
        return Err(Stop::NotApplicable("Spec: no running sums".into()));
    }
    let mut trial = scene.running()?;
    trial.apply_distinct();
    let mut before = trial.settled()?;
    // The sums of this frame may have begun under other inputs; those of the next have not.
    for periods in [1, 7, 100] {
        trial.periods(periods);
        let after = trial.latch()?;
        grown(scene, notes, &before, &after, "")?;
        before = after;
    }
    Ok(())
}

/// The change of set-up divides the sums: up to its frame under the old set-up, from it on under the new.
pub(super) fn change_of_set_up<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let mut trial = scene.running()?;
    trial.apply_distinct();
    let mut before = trial.settled()?;
    for place in (0..scene.spec.paces.len()).rev() {
        let mode = Mode::Paced(crake::part::Pace(place as u8));
        let setup: Setup<N> = Setup {
            mode,
            ..scene.fast()
        };
        if !scene.takes(&setup) {
            continue;
        }
        notes.tried();
        let boundary = trial.configure(&setup)?;
        if boundary.condition != crake::Condition::Boundary {
            notes.find(format!(
                "a change of set-up gave a frame that is {:?}, expected Boundary",
                boundary.condition
            ))?;
        }
        if boundary.head.mode != before.head.mode {
            notes.find(format!(
                "the frame at which {mode:?} took over says {:?}, expected the mode before it, {:?}",
                boundary.head.mode, before.head.mode
            ))?;
        }
        grown(
            scene,
            notes,
            &before,
            &boundary,
            " up to a change of set-up",
        )?;
        trial.periods(3);
        before = trial.settled()?;
        if before.head.mode != mode {
            notes.find(format!(
                "{mode:?} was asked for; the frame says {:?}",
                before.head.mode
            ))?;
        }
        grown(
            scene,
            notes,
            &boundary,
            &before,
            " from a change of set-up on",
        )?;
    }
    Ok(())
}

/// Sums of both frames differ by rounds times code, modulo their widths.
pub(super) fn grown<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    before: &Seen<N>,
    after: &Seen<N>,
    moment: &str,
) -> Checked {
    let widths = scene.spec.accumulators;
    let rounds = modulo(
        i64::from(after.head.rounds) - i64::from(before.head.rounds),
        widths.rounds_bits,
    );
    for channel in scene.channels() {
        notes.tried();
        let point = scene.distinct(FIRST, channel);
        let (power, off) = scene.power(point);
        let [old, new] = [before, after].map(|seen| seen.counters[channel.index()]);
        let each = [
            (
                "charge",
                new.charge.wrapping_sub(old.charge),
                point.sense,
                1,
                widths.charge_bits,
            ),
            (
                "energy",
                new.energy.wrapping_sub(old.energy),
                power,
                off,
                widths.energy_bits,
            ),
        ];
        for (name, grown, code, off, bits) in each {
            if bits == 0 {
                continue;
            }
            // A fixture that applies exactly what is asked is off by nothing; codes may be by one.
            let expected = code.wrapping_mul(rounds);
            let error = modulo(grown.wrapping_sub(expected), bits);
            let tolerance = off.saturating_mul(rounds.saturating_add(1));
            if error.unsigned_abs() > tolerance.unsigned_abs() {
                notes.find(format!(
                    "{channel}: {name} grew by {} over {rounds} rounds of code {code}{moment}, expected {expected}",
                    modulo(grown, bits)
                ))?;
            }
        }
    }
    Ok(())
}

/// A number as a signed one of so many bits, as counters that wrap are compared.
pub(super) const fn modulo(value: i64, bits: u8) -> i64 {
    let spare = 64 - bits as u32;
    if bits == 0 {
        0
    } else {
        value << spare >> spare
    }
}

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
            let down = scene.distinct(FIRST, channel).sense < 0;
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
            let point = scene.distinct(FIRST, channel);
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
                    "{channel}: {name} set to {set}, {} read a few rounds of code {code} later",
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
                "rounds set to {set}, {} read at most {most} rounds later",
                near.head.rounds
            ))?;
            continue;
        }
        trial.periods(20);
        let past = trial.latch()?;
        let count =
            u64::from(past.head.rounds).wrapping_sub(near.head.rounds.into()) & ((1 << bits) - 1);
        // What the sums say of the same rounds.
        let point = scene.distinct(FIRST, Channel::C0);
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
