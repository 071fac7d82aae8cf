//! Faults of the bus: errors that name what was asked, nothing lost, nothing wrong taken for good.

use alloc::format;

use crake::old::alert::{Causes, Kind, Watches};
use crake::old::part::{Part, Source};
use crake::old::{Came, Channel, Fault, ShuntMonitor, Task};
use embedded_hal::i2c::ErrorKind;

use super::flips::wrong;
use super::limits::{cause, names};
use super::sums::grown;
use crate::old::conformance::probe::{Spoil, Transfer};
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene, middle};
use crate::old::conformance::trial::{Answer, Seen, Trial};
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// Every byte of every transfer of a latch and of a service not acknowledged, one at a time.
pub(super) fn error_mapping<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let mut trial = scene.running()?;
    trial.apply_distinct();
    trial.settled()?;
    let mut before = trial.settled()?;
    for (number, transfer) in log_of(&mut trial, |trial| trial.latch().map(drop))?
        .into_iter()
        .enumerate()
    {
        for at in 0..bytes(&transfer) {
            notes.tried();
            trial.tap.spoil(number, Spoil::Refused(at));
            let answer = trial.latch();
            mapped(
                S::Part::ASKS,
                notes,
                &answer,
                Task::Latch,
                &transfer,
                number,
                at,
            )?;
            trial.tap.begin();
            let after = trial.settled()?;
            if !after.unbroken && scene.spec.sums == Source::Part {
                notes.find(format!("byte {at} of transfer {number} of a latch refused: the next frame is not vouched for (unbroken)"))?;
            }
            grown(
                scene,
                notes,
                &before,
                &after,
                " with a latch in between that failed",
            )?;
            before = after;
        }
    }
    refused_service(scene, notes)?;
    refused_set_up(scene, notes)
}

/// The calls that change the set-up, refused at every transfer: told with its register, and the same call made again comes through.
fn refused_set_up<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let kind = Kind::OverCurrent;
    let code = middle(kind, scene.sense_full(), scene.bus_full());
    let watches = [scene.watch(Channel::C0, kind, code)];
    let watches = Watches::limits(&watches);
    let fast = scene.fast();
    let call = |trial: &mut Trial<'_, S, N>, task| match task {
        Task::Init => trial.init(&fast).map(drop),
        Task::Configure => trial.configure(&fast).map(drop),
        Task::Attach => {
            let joint = trial.monitor.joint();
            trial.attach(&joint).map(drop)
        }
        _ => trial.arm(&watches).map(drop),
    };
    for task in [Task::Init, Task::Configure, Task::Attach, Task::Arm] {
        let mut trial = scene.running()?;
        trial.apply_distinct();
        let mut number = 0;
        'transfers: loop {
            // Address, pointer, and a byte far behind them.
            for at in [0, 1, 4] {
                trial.settled()?;
                let before = trial.settled()?;
                trial.tap.spoil(number, Spoil::Refused(at));
                let answer = call(&mut trial, task);
                // Planned no more.
                let log = trial.tap.log();
                trial.tap.begin();
                let Some(transfer) = log.get(number).copied() else {
                    break 'transfers;
                };
                // A reset that was told as failed may have taken place.
                trial.desk.run_for_ns(scene.reset_ns());
                if at >= bytes(&transfer) {
                    call(&mut trial, task)?;
                    continue;
                }
                notes.tried();
                mapped(S::Part::ASKS, notes, &answer, task, &transfer, number, at)?;
                // It claims no more than is known: vouched for, the sums are those of the set-up before.
                if matches!(task, Task::Configure | Task::Arm) {
                    let next = match trial.latch() {
                        Ok(next) => next,
                        Err(error) => {
                            notes.find(format!(
                                "{task:?} failed at byte {at} of transfer {number} (register 0x{:02X}); the next latch: {error}",
                                transfer.pointer
                            ))?;
                            call(&mut trial, task)?;
                            continue;
                        }
                    };
                    if next.unbroken {
                        grown(
                            scene,
                            notes,
                            &before,
                            &next,
                            &format!(" with {task:?} in between that failed at transfer {number}"),
                        )?;
                    }
                }
                if let Err(error) = call(&mut trial, task) {
                    return notes.find(format!(
                        "{task:?} failed at transfer {number}, byte {at}, and made again: {error}"
                    ));
                }
            }
            number += 1;
        }
    }
    Ok(())
}

/// A service that fails at any byte has told what it saw, or the next one tells it.
fn refused_service<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let kind = Kind::OverCurrent;
    let code = middle(kind, scene.sense_full(), scene.bus_full());
    let wanted = cause(Channel::C0, kind);
    let mut trial = scene.running()?;
    trial.rest(kind, code);
    trial.settle();
    trial.arm(&Watches::limits(&[scene.watch(Channel::C0, kind, code)]))?;
    let came_up = |trial: &mut Trial<'_, S, N>| -> Answer<()> {
        trial.apply(Channel::C0, scene.point(kind, scene.beyond(kind, code, 1)));
        trial.judged()?;
        trial.rest(kind, code);
        trial.judged()
    };
    came_up(&mut trial)?;
    let log = log_of(&mut trial, |trial| trial.service(Causes::LIMITS).map(drop))?;
    for (number, transfer) in log.into_iter().enumerate() {
        // The block's many bytes are all the same to a service.
        for at in (0..bytes(&transfer)).filter(|at| *at < 8) {
            notes.tried();
            came_up(&mut trial)?;
            let mut found = Causes::empty();
            trial.tap.spoil(number, Spoil::Refused(at));
            let answer = trial
                .monitor
                .service(Causes::LIMITS, &mut found)
                .map(|frame| Seen::<N>::of(&frame));
            mapped(
                S::Part::ASKS,
                notes,
                &answer,
                Task::Service,
                &transfer,
                number,
                at,
            )?;
            trial.tap.begin();
            let later = trial.service(Causes::LIMITS)?;
            if found | later != wanted {
                notes.find(format!(
                    "byte {at} of transfer {number} of a service refused: {} told by it and {} by the next, expected {}",
                    names(found),
                    names(later),
                    names(wanted)
                ))?;
            }
        }
    }
    Ok(())
}

/// Bytes of a transfer, addresses counted.
fn bytes(transfer: &Transfer) -> usize {
    let again = usize::from(transfer.read > 0);
    1 + transfer.written + again + transfer.read
}

pub(super) fn log_of<S: Subject<N>, const N: usize>(
    trial: &mut Trial<'_, S, N>,
    act: impl FnOnce(&mut Trial<'_, S, N>) -> Answer<()>,
) -> Result<alloc::vec::Vec<Transfer>, Stop> {
    trial.tap.begin();
    act(trial)?;
    Ok(trial.tap.log())
}

/// A service is made of looks and a latch, and names the one that failed.
fn is_of(told: Task, called: Task) -> bool {
    told == called || called == Task::Service && matches!(told, Task::Look | Task::Latch)
}

fn mapped<T>(
    asks: bool,
    notes: &mut Notes,
    answer: &Answer<T>,
    task: Task,
    transfer: &Transfer,
    number: usize,
    at: usize,
) -> Checked {
    let pointer = transfer.pointer;
    let place =
        format!("byte {at} of transfer {number} (register 0x{pointer:02X}) refused, no repeats");
    match answer {
        // What is asked for by trying has an answer either way, and some answers end the call.
        Ok(_) if asks && matches!(task, Task::Init | Task::Attach) => Ok(()),
        Err(error) if asks && matches!(error.came, Came::Fault(Fault::NotSupported { .. })) => {
            Ok(())
        }
        Ok(_) => notes.find(format!("{place}: the call succeeded")),
        Err(error) if !matches!(error.came, Came::Bus(_)) => {
            notes.find(format!("{place}: told as {error}"))
        }
        Err(error) if error.register != pointer || !is_of(error.task, task) => notes.find(format!(
            "{place}: the error names another register or task: {error}"
        )),
        Err(error)
            if !matches!(
                error.bus_kind(),
                Some(ErrorKind::NoAcknowledge(_) | ErrorKind::Bus)
            ) =>
        {
            notes.find(format!("{place}: the bus's own error was lost: {error}"))
        }
        Err(_) => Ok(()),
    }
}

/// Whatever the controller reads at once, the frame is the same.
pub(super) fn read_in_pieces<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for read_max in [
        1, 2, 3, 5, 7, 8, 9, 13, 16, 24, 31, 32, 64, 100, 110, 111, 112, 113, 254, 255,
    ] {
        notes.tried();
        let mut trial = scene.trial_at(0, read_max);
        trial.apply_distinct();
        let read = trial.init(&scene.fast()).and_then(|_| {
            trial.settled()?;
            let before = trial.settled()?;
            trial.periods(3);
            trial.tap.begin();
            Ok((before, trial.latch()?))
        });
        let (before, after) = match read {
            Ok(read) => read,
            Err(error) => {
                notes.find(format!("read in pieces of at most {read_max} bytes: {error}: pieces put at another place than they were read from?"))?;
                continue;
            }
        };
        if let Some(wrong) = wrong(scene, &before, &after) {
            notes.find(format!("read in pieces of at most {read_max} bytes: {wrong}: pieces put at another place than they were read from?"))?;
        }
        let most = usize::from(read_max.max(9));
        if let Some(transfer) = trial.tap.log().iter().find(|transfer| transfer.read > most) {
            notes.find(format!(
                "a controller that reads at most {read_max} bytes was asked for {} at once",
                transfer.read
            ))?;
        }
        for channel in scene.channels() {
            let point = scene.own(channel);
            scene.judge(
                notes,
                channel,
                scene.first(channel),
                point,
                &after.codes[channel.index()],
            )?;
        }
    }
    Ok(())
}

/// A write of a latch that is lost on its way: the frame before must not come as a new one.
pub(super) fn lost_latch<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let mut trial = scene.running()?;
    trial.apply_distinct();
    let log = {
        trial.settle();
        log_of(&mut trial, |trial| trial.latch().map(drop))?
    };
    for (number, transfer) in log
        .iter()
        .enumerate()
        .filter(|(_, transfer)| transfer.read == 0)
    {
        for turn in 0..3 {
            notes.tried();
            let fresh = Point {
                sense: 1_000 * (turn + 1) % scene.sense_full().max(1),
                bus: 500 * (turn + 1) % scene.bus_full().max(1),
            };
            trial.apply_all(fresh);
            trial.settle();
            trial.tap.spoil(number, Spoil::Lost);
            let answer = trial.latch();
            trial.tap.begin();
            let place = format!(
                "the write to register 0x{:02X} that asks for a latch was lost on its way",
                transfer.pointer
            );
            match answer {
                Ok(seen) if (i64::from(seen.codes[0].sense) - fresh.sense).abs() > 1 => {
                    notes.find(format!("{place}, and sense code {} of before was taken for a new one, expected {} or an error: is the tag compared?", seen.codes[0].sense, fresh.sense))?;
                }
                Ok(_) => {}
                Err(error) if matches!(error.came, Came::Fault(_)) => {}
                Err(error) => notes.find(format!("{place}: told as {error}"))?,
            }
            let next = trial.settled()?;
            for channel in scene.channels() {
                scene.judge(
                    notes,
                    channel,
                    scene.first(channel),
                    fresh,
                    &next.codes[channel.index()],
                )?;
            }
        }
    }
    Ok(())
}
