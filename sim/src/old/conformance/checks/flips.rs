//! Flipped bits: found by the check byte, by the block's own check value, or of no consequence.

use alloc::format;

use crake::old::alert::{Causes, Kind, Watch, Watches};
use crake::old::part::Source;
use crake::old::{Came, Channel, ShuntMonitor};

use super::limits::{cause, names};
use super::sums::{grown, modulo};
use super::wire::log_of;
use crate::old::conformance::Subject;
use crate::old::conformance::probe::Spoil;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Scene, middle};
use crate::old::conformance::trial::Seen;

type Checked = Result<(), Stop>;

/// Every bit of every read of a latch and of a service flipped on its way, the check byte left as it was.
pub(super) fn check_byte<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    if !scene.stated.check_byte {
        return Err(Stop::NotApplicable("datasheet: no check byte".into()));
    }
    flipped_causes(scene, notes)?;
    flipped_latch(scene, notes, false)
}

/// The same with a check byte that fits: a block that was spoiled before it was sent.
pub(super) fn block_check<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    if !scene.stated.block_check {
        return Err(Stop::NotApplicable(
            "datasheet: the block has no check value of its own".into(),
        ));
    }
    flipped_latch(scene, notes, true)
}

fn flipped_latch<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    sealed: bool,
) -> Checked {
    let mut trial = scene.running()?;
    trial.apply_distinct();
    trial.settled()?;
    let mut before = trial.settled()?;
    let log = log_of(&mut trial, |trial| trial.latch().map(drop))?;
    for (number, transfer) in log.into_iter().enumerate() {
        // Sealed, the check byte itself is worked out anew: a flip of it would vanish.
        for byte in 0..transfer.read - usize::from(sealed && transfer.read > 0) {
            for bit in (0..8).filter(|bit| !sealed || matches!(bit, 0 | 7)) {
                notes.tried();
                trial
                    .tap
                    .spoil(number, Spoil::Flipped { byte, bit, sealed });
                trial.periods(1);
                let answer = trial.latch();
                trial.tap.begin();
                let place = format!(
                    "bit {bit} of byte {byte} read from register 0x{:02X} flipped{}",
                    transfer.pointer,
                    if sealed {
                        ", with a check byte that fits"
                    } else {
                        ""
                    }
                );
                let after = match answer {
                    // Read once more, perhaps: then it has to be right.
                    Ok(seen) => seen,
                    Err(error) if matches!(error.came, Came::Fault(_)) => trial.latch()?,
                    Err(error) => {
                        notes.find(format!("{place}: told as {error}"))?;
                        trial.latch()?
                    }
                };
                if let Some(wrong) = wrong(scene, &before, &after) {
                    notes.find(format!("{place}, and taken for good: {wrong}"))?;
                    trial = scene.running()?;
                    trial.apply_distinct();
                    trial.settled()?;
                    before = trial.settled()?;
                } else {
                    before = after;
                }
            }
        }
    }
    Ok(())
}

/// What of a frame cannot be, given the one before it and steady inputs.
pub(super) fn wrong<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    before: &Seen<N>,
    after: &Seen<N>,
) -> Option<&'static str> {
    let mut notes = Notes::default();
    let codes = scene.channels().try_for_each(|channel| {
        scene.judge(
            &mut notes,
            channel,
            scene.first(channel),
            scene.own(channel),
            &after.codes[channel.index()],
        )
    });
    if codes.is_err() || notes.has_found() {
        return Some("the codes are wrong");
    }
    if after
        .codes
        .iter()
        .zip(&before.codes)
        .any(|(after, before)| after != before)
    {
        return Some("the power or a flag is wrong");
    }
    let head = (
        after.head.mode,
        after.head.averaging,
        after.head.complete,
        after.ranges,
        after.condition,
        after.head.serial,
    );
    if head
        != (
            before.head.mode,
            before.head.averaging,
            before.head.complete,
            before.ranges,
            before.condition,
            before.head.serial,
        )
    {
        return Some("what the frame says of the set-up is wrong");
    }
    if scene.spec.sums == Source::Part && scene.spec.accumulators.rounds_bits > 0 {
        let rounds = modulo(
            i64::from(after.head.rounds.wrapping_sub(before.head.rounds)),
            33,
        );
        let most = (after.stamp.after_us - before.stamp.before_us) * 1_000
            / scene.period_ns(scene.fast().mode)
            + 2;
        if !(0..=most as i64).contains(&rounds) {
            return Some("the count of rounds is wrong");
        }
        let grown = grown(scene, &mut notes, before, after, "");
        if grown.is_err() || notes.has_found() {
            return Some("the running sums are wrong");
        }
    }
    None
}

/// A cause that is not there must not be told because a bit was flipped, nor one that is there be missed.
fn flipped_causes<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let kind = Kind::OverCurrent;
    let code = middle(kind, scene.sense_full(), scene.bus_full());
    let watch = scene.watch(Channel::C0, kind, code);
    if !scene.by_part(&watch) {
        return Ok(());
    }
    let mut trial = scene.running()?;
    trial.rest(kind, code);
    trial.settle();
    trial.arm(&Watches::limits(&[watch]))?;
    let log = log_of(&mut trial, |trial| trial.service(Causes::LIMITS).map(drop))?;
    let few = log
        .into_iter()
        .enumerate()
        .filter(|(_, transfer)| (1..=16).contains(&transfer.read));
    for (number, transfer) in few {
        for (byte, bit) in (0..transfer.read).flat_map(|byte| (0..8).map(move |bit| (byte, bit))) {
            notes.tried();
            let mut found = Causes::empty();
            trial.tap.spoil(
                number,
                Spoil::Flipped {
                    byte,
                    bit,
                    sealed: false,
                },
            );
            let answer = trial
                .monitor
                .service(Causes::LIMITS, &mut found)
                .map(|frame| Seen::<N>::of(&frame));
            trial.tap.begin();
            if !found.is_empty() || answer.is_ok() {
                notes.find(format!(
                    "bit {bit} of byte {byte} read from register 0x{:02X} flipped, and taken for good: {} told: the check byte is not looked at",
                    transfer.pointer,
                    names(found)
                ))?;
            }
        }
    }
    flipped_arming(scene, notes, &watch)
}

/// One bit of every read of arming flipped: arming fails, or has read again.
fn flipped_arming<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    watch: &Watch,
) -> Checked {
    let watches = [*watch];
    let watches = Watches::limits(&watches);
    let mut trial = scene.running()?;
    trial.apply_distinct();
    trial.settle();
    let mut number = 0;
    loop {
        for last in [false, true] {
            trial.tap.begin();
            trial.arm(&watches)?;
            let Some(transfer) = trial.tap.log().get(number).copied() else {
                return Ok(());
            };
            if transfer.read == 0 {
                continue;
            }
            notes.tried();
            let byte = if last { transfer.read - 1 } else { 0 };
            trial.tap.spoil(
                number,
                Spoil::Flipped {
                    byte,
                    bit: 3,
                    sealed: false,
                },
            );
            let answer = trial.arm(&watches);
            let log = trial.tap.log();
            trial.tap.begin();
            let read_again = log
                .iter()
                .skip(number + 1)
                .any(|other| other.pointer == transfer.pointer);
            if let Ok(found) = answer
                && (!read_again || !found.is_empty())
            {
                notes.find(format!(
                    "bit 3 of byte {byte} read from register 0x{:02X} in arming flipped, and taken for good: the check byte is not looked at",
                    transfer.pointer
                ))?;
            }
        }
        number += 1;
    }
}

/// Every bit of what a service reads set otherwise, with a check byte that fits, as a part may that has more to tell than the map knows: nothing is told that was not asked for.
pub(super) fn unknown_bits<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let kind = Kind::OverCurrent;
    let code = middle(kind, scene.sense_full(), scene.bus_full());
    let watch = scene.watch(Channel::C0, kind, code);
    if scene.spec.alerts.kinds.is_empty() {
        return Err(Stop::NotApplicable(
            "Spec: the part has no causes of its own".into(),
        ));
    }
    let asked = cause(Channel::C0, kind);
    let mut trial = scene.running()?;
    trial.rest(kind, code);
    trial.settle();
    trial.arm(&Watches::limits(&[watch]))?;
    let log = log_of(&mut trial, |trial| trial.service(asked).map(drop))?;
    let few = log
        .into_iter()
        .enumerate()
        .filter(|(_, transfer)| (1..=9).contains(&transfer.read));
    let sealed = scene.stated.check_byte;
    for (number, transfer) in few {
        let data = transfer.read - usize::from(sealed);
        for (byte, bit) in (0..data).flat_map(|byte| (0..8).map(move |bit| (byte, bit))) {
            notes.tried();
            let mut found = Causes::empty();
            trial
                .tap
                .spoil(number, Spoil::Flipped { byte, bit, sealed });
            let _ = trial.monitor.service(asked, &mut found);
            trial.tap.begin();
            if !asked.contains(found) {
                notes.find(format!(
                    "{} asked for; with bit {bit} of byte {byte} of register 0x{:02X} set otherwise {} is told",
                    names(asked),
                    transfer.pointer,
                    names(found)
                ))?;
            }
        }
    }
    Ok(())
}
