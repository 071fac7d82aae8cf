//! Running sums, from frame to frame and over a change of set-up.

use alloc::format;

use crake::old::part::Source;
use crake::old::{Mode, Setup};

use crate::old::conformance::Subject;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::Scene;
use crate::old::conformance::trial::Seen;

type Checked = Result<(), Stop>;

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
        let mode = Mode::Paced(crake::old::part::Pace(place as u8));
        let setup: Setup<N> = Setup {
            mode,
            ..scene.fast()
        };
        if !scene.takes(&setup) {
            continue;
        }
        notes.tried();
        let boundary = trial.configure(&setup)?;
        if boundary.condition != crake::old::Condition::Boundary {
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
        let point = scene.own(channel);
        let (power, off) = scene.power(channel, point);
        let [old, new] = [before, after].map(|seen| seen.counters[channel.index()]);
        let each = [
            (
                "charge",
                new.charge.wrapping_sub(old.charge),
                point.sense,
                scene.tolerance(channel, point).sense,
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
