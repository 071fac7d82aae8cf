//! Paces, idle, single-shots, bursts; waits that are long enough, and what a call can cost at the most.

use alloc::{format, rc::Rc, vec, vec::Vec};
use core::cell::RefCell;

use crake::alert::{Causes, Kind, Watch, Watches};
use crake::exchange::Effort;
use crake::part::{Pace, Part, Source};
use crake::{Channel, Mode, Setup, ShuntMonitor, Task};

use super::sums::grown;
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Notes, Stop};
use crate::conformance::scene::{FIRST, Point, Scene, beyond, middle};
use crate::conformance::trial::{Answer, Seen, Trial};
use crate::conformance::{Desk, Subject};

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
    for k in if scene.takes(&single) {
        0..=most
    } else {
        1..=0
    } {
        notes.tried();
        let shot = single.averaging(k);
        let mut trial = scene.trial();
        trial.apply_distinct();
        trial.init(&shot)?;
        let before = trial.settled()?;
        for channel in scene.channels() {
            let point = scene.distinct(FIRST, channel);
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
            let point = scene.distinct(FIRST, channel);
            let reversed = Point {
                sense: -point.sense,
                bus: point.bus / 2,
            };
            scene.judge(
                notes,
                channel,
                FIRST,
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
        let max = scene.sense_max(FIRST);
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

fn in_time<const N: usize>(answer: Answer<Seen<N>>, what: &str) -> Checked {
    match answer {
        Ok(_) => Ok(()),
        Err(error) => Err(Stop::Finding(format!(
            "with the slowest oscillator, {what}: {error}: is the wait before it long enough?"
        ))),
    }
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
            .filter(|at| (before..=after).contains(*at))
            .count();
        if inside != 1 && !scene.stated.polls {
            notes.find(format!("stamped {before} to {after} µs, and {inside} transfers began within: around more or less than the one that asks for the latch"))?;
        }
    }
    Ok(())
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
                let code = middle(kind, scene.sense_max(FIRST), scene.bus_max(FIRST));
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
            beyond(Kind::OverCurrent, scene.sense_max(FIRST) / 2, 1),
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
    let parts: [(&str, fn(&Effort) -> u32); 4] = [
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
