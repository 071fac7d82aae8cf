//! Another part, resets, restarts, writes of others, and every fault of the bus.

use alloc::{format, string::String};

use crake::bus::Fault;

use super::call::calls;
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, Stop, not_applicable};
use crate::conformance::rig::{Answer, Asked, Face};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{How, ONCE, Trial, is_endless, text};

pub(super) fn came<T>(answer: &Answer<T>) -> String {
    match answer {
        Ok(_) => "it came through".into(),
        Err(error) => format!("it says: {}", text(error)),
    }
}

pub(super) fn is<T>(answer: &Answer<T>, faults: &[Fault]) -> bool {
    matches!(answer, Err(error) if faults.contains(&error.fault()))
}

/// Every bit of every read flipped on its way, the check byte left as it was.
pub(super) fn check_byte(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.check_byte {
        return not_applicable("datasheet: no check byte");
    }
    for call in calls(scene) {
        flipped(scene, notes, call, false)?;
    }
    Ok(())
}

/// A call that hangs is named at once.
pub(super) fn ended<T>(answer: &Answer<T>, when: &str) -> Checked {
    match answer {
        Err(error) if is_endless(error) => Err(Stop::Finding(format!("{when}: {}", text(error)))),
        _ => Ok(()),
    }
}

/// The same with a check byte that fits: a block that was spoiled before it was sent.
pub(super) fn block_check(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.block_check {
        return not_applicable("datasheet: the block has no check value of its own");
    }
    flipped(scene, notes, Asked::Sample, true)
}

/// Whether the register of a transfer was asked again later: what polls may fail once.
fn read_again(trial: &Trial<'_>, number: usize) -> bool {
    let log = trial.tap.log();
    let (before, after) = log.split_at(log.len().min(number + 1));
    let last = before.last().map(|transfer| transfer.register);
    after
        .iter()
        .any(|transfer| Some(transfer.register) == last && transfer.read > 0)
}

fn flipped(scene: &Scene<'_>, notes: &mut Notes, call: Asked, sealed: bool) -> Checked {
    let mut trial = scene.running(ONCE)?;
    trial.settled()?;
    call.prepare(&mut trial)?;
    let log = trial.log_of(|trial| Ok(call.make(trial)?))?;
    for (number, transfer) in log.into_iter().enumerate() {
        // A read of one byte has none: what it asks is whether there are any.
        if transfer.read == 1 {
            continue;
        }
        // Sealed, the check byte itself is worked out anew: a flip of it would vanish.
        let bytes = transfer.read - usize::from(sealed && transfer.read > 0);
        // Reads are alike but for the block, of which each byte counts.
        let bits = if transfer.read > 8 && !sealed {
            3..4
        } else {
            0..8
        };
        for (byte, bit) in (0..bytes).flat_map(|byte| bits.clone().map(move |bit| (byte, bit))) {
            if call != Asked::Sample && (byte + 1 < bytes && byte > 0 || bit > 1) {
                continue;
            }
            if call != Asked::Sample {
                trial = scene.running(ONCE)?;
                call.prepare(&mut trial)?;
            }
            notes.tried();
            trial
                .tap
                .spoil(number, Spoil::Flipped { byte, bit, sealed });
            let answer = call.make(&mut trial);
            ended(&answer, "with a bit flipped")?;
            if trial.tap.log().len() <= number {
                continue;
            }
            let faults = [Fault::CheckByte, Fault::BlockCheck];
            if !(is(&answer, &faults) || answer.is_ok() && read_again(&trial, number)) {
                let (came, register) = (came(&answer), transfer.register);
                let how = if sealed {
                    ", with a check byte that fits"
                } else {
                    ""
                };
                notes.find(format!(
                    "bit {bit} of byte {byte} read from register 0x{register:02X} flipped{how}; \
                     {call:?}: {came}: is the check value compared?"
                ))?;
            }
            if call == Asked::Sample
                && let Some(wrong) = trial.next_wrong()?
            {
                notes.find(format!(
                    "after a flipped bit the next sample is wrong: {wrong}"
                ))?;
            }
        }
    }
    Ok(())
}

/// Every call refused at every transfer, before it arrived and after, and its future dropped there:
/// told with its register, and the same call, or `init`, brings all back; nothing stale is fresh.
pub(super) fn bus_errors(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let cuts =
        [Spoil::Cut(0), Spoil::Cut(1), Spoil::Cut(usize::MAX)].map(|cut| (Face::Blocking, cut));
    let drops = [false, true].map(|arrived| (Face::Async, Spoil::Dropped { arrived }));
    for call in calls(scene) {
        for (face, spoil) in cuts.into_iter().chain(drops) {
            for number in 0.. {
                let mut trial = scene.running(How { face, ..ONCE })?;
                trial.apply_all(Point { sense: 5, rail: 5 });
                trial.settled()?;
                call.prepare(&mut trial)?;
                trial.apply_own();
                trial.settle();
                trial.tap.spoil(number, spoil);
                let answer = call.make(&mut trial);
                let log = trial.tap.log();
                ended(&answer, "with a transfer that failed")?;
                let again = read_again(&trial, number);
                trial.tap.begin();
                let Some(transfer) = log.get(number) else {
                    break;
                };
                notes.tried();
                let register = transfer.register;
                let place =
                    format!("{call:?}, transfer {number} (register 0x{register:02X}), {spoil:?}");
                let told = match (&answer, face) {
                    (Err(error), Face::Blocking) => {
                        error.fault() == Fault::Bus && error.register == register
                    }
                    (Ok(()), Face::Blocking) => again,
                    (answer, _) => answer.is_err(),
                };
                if !told {
                    let came = came(&answer);
                    notes.find(format!("{place}: expected the bus's error with it; {came}"))?;
                }
                afterwards(scene, notes, &mut trial, call, &place)?;
            }
        }
    }
    Ok(())
}

fn afterwards(
    scene: &Scene<'_>,
    notes: &mut Notes,
    trial: &mut Trial<'_>,
    call: Asked,
    place: &str,
) -> Checked {
    // A reset that was told as failed may have taken place.
    trial.fixture.run_for_ns(scene.reset_ns());
    let reads = matches!(call, Asked::Sample | Asked::ReadAlerts | Asked::SetLimits);
    match trial.next_wrong() {
        Ok(Some(wrong)) => notes.find(format!("{place}; the next sample: {wrong}"))?,
        Err(error) if reads => {
            let text = text(&error);
            notes.find(format!(
                "{place}: reading may go on, and the next sample: {text}"
            ))?;
        }
        _ => {}
    }
    trial.init(&scene.fast())?;
    if let Some(wrong) = trial.next_wrong()? {
        notes.find(format!("{place}; initialised again: {wrong}"))?;
    }
    Ok(())
}

/// Both faces make the same transfers and tell the same.
pub(super) fn both_faces(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for call in calls(scene) {
        notes.tried();
        let [blocking, asynch] = [Face::Blocking, Face::Async].map(|face| {
            let mut trial = scene.running(How { face, ..ONCE })?;
            call.prepare(&mut trial)?;
            let log = trial.log_of(|trial| Ok(call.make(trial)?))?;
            let next = if call.is_capture() {
                None
            } else {
                Some(format!("{:?}", trial.settled()?))
            };
            Ok::<_, Stop>((log, next))
        });
        let (blocking, asynch) = (blocking?, asynch?);
        if blocking != asynch {
            notes.find(format!(
                "{call:?}: {blocking:?} over a blocking bus, {asynch:?} over async"
            ))?;
        }
    }
    Ok(())
}
