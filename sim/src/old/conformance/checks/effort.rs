//! Waits that are long enough, and what a call can cost at the most.

use alloc::{format, vec, vec::Vec};

use crake::old::alert::{Causes, Kind, Watch, Watches};
use crake::old::exchange::Effort;
use crake::old::part::Part;
use crake::old::{Channel, Mode, Setup, ShuntMonitor, Task};

use super::coherence::is_live;
use crate::old::conformance::probe::{Spoil, Transfer};
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Scene, middle};
use crate::old::conformance::trial::{Answer, Seen, Trial};
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// With the slowest oscillator, at any moment of a round: nothing is too early, nothing has to be read twice.
pub(super) fn waits<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let slow = -(scene.stated.oscillator_ppm as i32);
    for setup in [
        scene.fast(),
        scene.fast().averaging(scene.spec.averaging_max.min(1)),
    ] {
        let mut trial = scene.trial_at(slow, 255);
        trial.tap.begin();
        in_time(trial.init(&setup), "setting up, with a reset in it")?;
        let first = trial.tap.log().len();
        // The same from a part that runs.
        trial.tap.begin();
        in_time(trial.init(&setup), "setting up a part that runs")?;
        more_than(scene, notes, "setting up", trial.tap.log().len(), first)?;
        let period_ns = scene.period_ns(setup.mode);
        trial.settle();
        let mut least = usize::MAX;
        for step in 0..48 {
            notes.tried();
            // A step that has no common measure with the period.
            trial
                .desk
                .run_for_ns(period_ns + period_ns * step * 7 / 48 / 5);
            trial.tap.begin();
            in_time(trial.latch(), "a latch")?;
            let transfers = trial.tap.log().len();
            more_than(scene, notes, "a latch", transfers, least.min(transfers))?;
            least = least.min(transfers);
            read_once(scene, notes, &trial.tap.log())?;
        }
        // From one set-up to another, at any moment as well.
        for step in 0..16 {
            notes.tried();
            trial.desk.run_for_ns(period_ns + period_ns * step / 16);
            in_time(trial.configure(&setup), "a change of set-up")?;
        }
    }
    Ok(())
}

/// A latch that reads a register a second time was not ready at the first.
fn read_once<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    log: &[Transfer],
) -> Checked {
    let mut reads: Vec<u8> = log
        .iter()
        .filter(|transfer| transfer.read > 0)
        .map(|transfer| transfer.pointer)
        .collect();
    let count = reads.len();
    reads.sort_unstable();
    reads.dedup();
    if reads.len() == count || scene.stated.polls || is_live(scene) {
        return Ok(());
    }
    notes.find(format!(
        "with the slowest oscillator a latch makes {count} reads of {} registers: read before the part was ready, so the wait is too short",
        reads.len()
    ))
}

fn in_time<const N: usize>(answer: Answer<Seen<N>>, what: &str) -> Checked {
    match answer {
        Ok(_) => Ok(()),
        Err(error) => Err(Stop::Finding(format!(
            "with the slowest oscillator, {what}: {error}: is the wait before it long enough?"
        ))),
    }
}

fn more_than<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    what: &str,
    transfers: usize,
    least: usize,
) -> Checked {
    if transfers <= least || scene.stated.polls {
        return Ok(());
    }
    notes.find(format!("with the slowest oscillator {what} takes {transfers} transfers at some moment, else {least}: read before the part was ready, so the wait is too short"))
}

/// No call takes more than the map's effort says, in transfers, bytes, waits and time.
pub(super) fn longest_time<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for read_max in [255, 16] {
        let slow = -(scene.stated.oscillator_ppm as i32);
        let watches = scene
            .channels()
            .flat_map(|channel| Kind::ALL.map(|kind| (channel, kind)));
        let watches: Vec<Watch> = watches
            .map(|(channel, kind)| {
                let code = middle(kind, scene.sense_full(), scene.bus_full());
                // Over and under must leave room between them.
                let code = if kind.is_over() { code } else { code / 2 };
                scene.watch(channel, kind, code)
            })
            .collect();
        let watches = Watches::limits(&watches);
        let mut trial = scene.trial_at(slow, read_max);
        timed(scene, notes, &mut trial, Task::Init, read_max, |trial| {
            trial.init(&scene.fast()).map(drop)
        })?;
        trial.settle();
        timed(scene, notes, &mut trial, Task::Latch, read_max, |trial| {
            trial.latch().map(drop)
        })?;
        timed(
            scene,
            notes,
            &mut trial,
            Task::Configure,
            read_max,
            |trial| trial.configure(&scene.fast()).map(drop),
        )?;
        for _ in 0..2 {
            timed(scene, notes, &mut trial, Task::Arm, read_max, |trial| {
                trial.arm(&watches).map(drop)
            })?;
        }
        // Everything beyond its limit, and set again as soon as it is cleared.
        trial.apply_all(scene.point(
            Kind::OverCurrent,
            scene.beyond(Kind::OverCurrent, scene.sense_full() / 2, 1),
        ));
        trial.settle();
        timed(scene, notes, &mut trial, Task::Service, read_max, |trial| {
            trial.service(Causes::LIMITS).map(drop)
        })?;
        let joint = trial.monitor.joint();
        let (tap, monitor) = scene.driver(&trial.desk, read_max);
        (trial.tap, trial.monitor) = (tap, monitor);
        timed(scene, notes, &mut trial, Task::Attach, read_max, |trial| {
            trial.attach(&joint).map(drop)
        })?;
        if scene.stated.burst > 0 {
            trial.configure(&Setup {
                mode: Mode::Burst(Channel::C0),
                ..scene.fast()
            })?;
            let mut codes = vec![0; scene.stated.burst.into()];
            timed(scene, notes, &mut trial, Task::Fetch, read_max, |trial| {
                trial.monitor.fetch(&mut codes).map(drop)
            })?;
        }
        hopeless(scene, notes, read_max)?;
    }
    Ok(())
}

/// A block that never comes through whole: the call gives up within its effort.
fn hopeless<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    read_max: u8,
) -> Checked {
    let mut trial = scene.trial_at(0, read_max);
    trial.init(&scene.fast())?;
    notes.tried();
    let sealed = scene.stated.check_byte && scene.stated.block_check;
    trial.tap.spoil_from(
        1,
        Spoil::Flipped {
            byte: 0,
            bit: 5,
            sealed,
        },
    );
    let began = trial.desk.now_ns();
    let _ = trial.latch();
    within(scene, notes, &trial, Task::Latch, read_max, began)
}

fn timed<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    trial: &mut Trial<'_, S, N>,
    task: Task,
    read_max: u8,
    act: impl FnOnce(&mut Trial<'_, S, N>) -> Answer<()>,
) -> Checked {
    notes.tried();
    trial.tap.begin();
    let began = trial.desk.now_ns();
    act(trial)?;
    within(scene, notes, trial, task, read_max, began)
}

fn within<S: Subject<N>, const N: usize>(
    _: &Scene<'_, S, N>,
    notes: &mut Notes,
    trial: &Trial<'_, S, N>,
    task: Task,
    read_max: u8,
    began_ns: u64,
) -> Checked {
    let took_us = (trial.desk.now_ns() - began_ns).div_ceil(1_000);
    let (cost, effort) = (trial.tap.cost(), S::Part::effort(task, read_max));
    type Of = fn(&Effort) -> u32;
    let parts: [(&str, Of); 4] = [
        ("transfers", |effort| effort.transfers),
        ("repeated STARTs", |effort| effort.restarts),
        ("bytes", |effort| effort.bytes),
        ("µs of waiting", |effort| effort.wait_us),
    ];
    for (what, of) in parts {
        let (took, most) = (of(&cost), of(&effort));
        if took > most {
            notes.find(format!("{task:?} with reads of at most {read_max} bytes took {took} {what}; its effort says {most} at the most"))?;
        }
    }
    let longest_us = effort.longest_us(0, trial.desk.bus_hz());
    if took_us > longest_us {
        notes.find(format!("{task:?} with reads of at most {read_max} bytes took {took_us} µs; its effort says {longest_us} µs at the most"))?;
    }
    Ok(())
}
