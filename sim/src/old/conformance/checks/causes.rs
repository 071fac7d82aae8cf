//! Causes: which output they reach, whether they stay, what a service clears.

use alloc::format;

use crake::old::alert::{Causes, Kind, Outputs, Watch, Watches};
use crake::old::{Channel, ShuntMonitor};

use super::limits::{cause, names};
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene, middle};
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// Each kind to each output alone, to both, and to none.
pub(super) fn masks<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let there = scene.spec.alerts.outputs;
    if there.is_empty() {
        return Err(Stop::NotApplicable("Spec: no alert output".into()));
    }
    let choices = [
        Outputs::A,
        Outputs::B,
        Outputs::A | Outputs::B,
        Outputs::empty(),
    ];
    for kind in Kind::ALL {
        for channel in [Channel::C0, Channel::new(N as u8 - 1)] {
            for wanted in choices {
                let code = middle(kind, scene.sense_full(), scene.bus_full());
                let watch = scene.watch(channel, kind, code).to(wanted);
                if !scene.by_part(&watch) {
                    continue;
                }
                notes.tried();
                // On a part with one output, whatever is to reach any reaches that one.
                let reached = match (wanted.is_empty(), there == Outputs::A | Outputs::B) {
                    (true, _) => Outputs::empty(),
                    (false, true) => wanted,
                    (false, false) => there,
                };
                one_mask(scene, notes, &watch, code, reached)?;
            }
        }
    }
    if scene.spec.alerts.kinds.is_empty() {
        return Err(Stop::NotApplicable(
            "Spec: the driver judges every limit, and no output tells of that".into(),
        ));
    }
    Ok(())
}

fn one_mask<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    watch: &Watch,
    code: i64,
    reached: Outputs,
) -> Checked {
    let kind = watch.limit().kind();
    let mut trial = scene.running()?;
    trial.rest(kind, code);
    trial.settle();
    trial.arm(&Watches::limits(&[*watch]))?;
    trial.settle();
    let text = |outputs: Outputs| match (outputs.contains(Outputs::A), outputs.contains(Outputs::B))
    {
        (true, true) => "A and B",
        (true, false) => "A",
        (false, true) => "B",
        (false, false) => "none",
    };
    let low = |desk: &S::Desk| {
        scene.outputs().try_fold(Outputs::empty(), |low, output| {
            desk.is_low(output)
                .map(|is| if is { low | output } else { low })
        })
    };
    let name = format!(
        "{kind} of {}, to output {}",
        watch.channel(),
        text(watch.outputs())
    );
    let Some(before) = low(&trial.desk) else {
        return Err(Stop::NotApplicable(
            "the fixture does not show the outputs".into(),
        ));
    };
    if !before.is_empty() {
        notes.find(format!(
            "{name}: {} low with everything within its limits",
            text(before)
        ))?;
    }
    trial.apply(
        watch.channel(),
        scene.point(kind, scene.beyond(kind, code, 1)),
    );
    trial.judged()?;
    let during = low(&trial.desk).unwrap_or_default();
    if during != reached {
        notes.find(format!(
            "{name}: beyond its limit output {} is low, expected {}{}",
            text(during),
            text(reached),
            if during.is_empty() {
                ""
            } else {
                ": masks swapped?"
            }
        ))?;
    }
    trial.rest(kind, code);
    trial.judged()?;
    trial.service(Causes::LIMITS)?;
    let after = low(&trial.desk).unwrap_or_default();
    if !after.is_empty() {
        notes.find(format!(
            "{name}: back within its limit, told and cleared, and output {} is still low",
            text(after)
        ))?;
    }
    Ok(())
}

/// A held cause is told after its condition is over; a following one only while it lasts.
pub(super) fn held_and_following<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for kind in Kind::ALL {
        for held in [true, false] {
            notes.tried();
            let code = middle(kind, scene.sense_full(), scene.bus_full());
            let watch = Watch::new(Channel::C0, scene.limit(Channel::C0, kind, code)).silent();
            let watch = if held { watch.held() } else { watch };
            let mut trial = scene.running()?;
            trial.rest(kind, code);
            trial.settle();
            trial.arm(&Watches::limits(&[watch]))?;
            trial.settle();
            let past = scene.point(kind, scene.beyond(kind, code, 1));
            let wanted = cause(Channel::C0, kind);
            let how = if held { "held" } else { "following" };
            trial.apply(Channel::C0, past);
            trial.judged()?;
            if !held {
                let lasting = trial.service(Causes::LIMITS)?;
                if lasting != wanted {
                    notes.find(format!(
                        "{kind}, following: {} told while the condition lasts, expected the cause",
                        names(lasting)
                    ))?;
                }
                // Cleared, and set again by the next conversion that finds it.
                trial.judged()?;
            }
            trial.rest(kind, code);
            trial.judged()?;
            let over = trial.service(Causes::LIMITS)?;
            let expected = if held { wanted } else { Causes::empty() };
            if over != expected {
                notes.find(format!(
                    "{kind}, {how}: {} told after the condition was over, expected {}: hold not put in force?",
                    names(over),
                    names(expected)
                ))?;
            }
        }
    }
    Ok(())
}

/// A cause that comes up at any moment of a service is told by it or by the next.
pub(super) fn clear_only_what_was_seen<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    told_once(scene, notes)?;
    if !scene.stated.free_running {
        notes.remark(
            "the part converts only when a frame is asked for: nothing comes up during a service"
                .into(),
        );
        return Ok(());
    }
    let Some((first, second)) = pair(scene) else {
        notes.remark(
            "the part compares fewer than two limits itself, so that nothing can come up unseen"
                .into(),
        );
        return Ok(());
    };
    let mut moment = 0;
    loop {
        let mut trial = scene.running()?;
        trial.apply_all(rest(scene));
        trial.settle();
        trial.arm(&Watches::limits(&[first.watch, second.watch]))?;
        trial.settle();
        trial.apply(first.watch.channel(), first.past);
        trial.settle();
        trial.apply_all(rest(scene));
        trial.settle();
        // In the middle of the service the second one comes and goes.
        let (desk, settling_ns) = (trial.desk.clone(), scene.settling_ns(&scene.fast()));
        let channel = second.watch.channel().number();
        let past = scene.nanovolts(scene.first(second.watch.channel()), second.past);
        let back = scene.nanovolts(scene.first(second.watch.channel()), rest(scene));
        trial.tap.between(move |number| {
            if number == moment {
                desk.apply(channel, past.0, past.1);
                desk.run_for_ns(settling_ns);
                desk.apply(channel, back.0, back.1);
                desk.run_for_ns(settling_ns);
            }
        });
        let told = trial.service(Causes::LIMITS)?;
        let transfers = trial.tap.log().len();
        trial.tap.begin();
        if moment >= transfers {
            return Ok(());
        }
        notes.tried();
        let later = trial.service(Causes::LIMITS)?;
        for wanted in [first, second].map(Limited::cause) {
            if !(told | later).contains(wanted) {
                notes.find(format!(
                    "{} came up before transfer {moment} of a service of {}, and is never told: more is cleared than was seen",
                    names(second.cause()),
                    names(first.cause())
                ))?;
            }
        }
        let twice = trial.service(Causes::LIMITS)?;
        if !twice.is_empty() {
            notes.find(format!(
                "{} told again, long over and told before: less is cleared than was seen",
                names(twice)
            ))?;
        }
        moment += 1;
    }
}

/// What is told is cleared; what was not asked for is neither told nor cleared.
fn told_once<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>, notes: &mut Notes) -> Checked {
    let [first, second] =
        [Kind::OverCurrent, Kind::OverVoltage].map(|kind| Limited::new(scene, Channel::C0, kind));
    notes.tried();
    let mut trial = scene.running()?;
    trial.apply_all(rest(scene));
    trial.settle();
    trial.arm(&Watches::limits(&[first.watch, second.watch]))?;
    for limited in [first, second] {
        trial.apply(limited.watch.channel(), limited.past);
        trial.judged()?;
        trial.apply_all(rest(scene));
        trial.judged()?;
    }
    let told = trial.service(first.cause())?;
    if told != first.cause() {
        notes.find(format!(
            "{} asked for while both had come up, {} told",
            names(first.cause()),
            names(told)
        ))?;
    }
    let again = trial.service(first.cause())?;
    if !again.is_empty() {
        notes.find(format!(
            "{} told again, over and told before: less is cleared than was seen",
            names(again)
        ))?;
    }
    let other = trial.service(Causes::LIMITS)?;
    if other != second.cause() {
        notes.find(format!(
            "{} came up and was not asked for until now: {} told: cleared together with others?",
            names(second.cause()),
            names(other)
        ))?;
    }
    let mut found = Causes::empty();
    trial.apply(Channel::C0, first.past);
    trial.judged()?;
    trial.apply_all(rest(scene));
    trial.judged()?;
    trial
        .monitor
        .arm(&scene.fast(), &Watches::limits(&[second.watch]), &mut found)?;
    if found != first.cause() {
        notes.find(format!(
            "{} stood when other watches were armed: {} told, expected the cause",
            names(first.cause()),
            names(found)
        ))?;
    }
    Ok(())
}

/// A limit and a point beyond it, from which the others stay away.
#[derive(Clone, Copy)]
struct Limited {
    watch: Watch,
    past: Point,
}

impl Limited {
    fn new<S: Subject<N>, const N: usize>(
        scene: &Scene<'_, S, N>,
        channel: Channel,
        kind: Kind,
    ) -> Self {
        let code = middle(kind, scene.sense_full(), scene.bus_full());
        let rest = rest(scene);
        let past = match kind {
            Kind::OverVoltage | Kind::UnderVoltage => Point {
                bus: scene.beyond(kind, code, 1),
                ..rest
            },
            _ => Point {
                sense: scene.beyond(kind, code, 1),
                ..rest
            },
        };
        let watch = scene.watch(channel, kind, code);
        Self { watch, past }
    }

    fn cause(self) -> Causes {
        cause(self.watch.channel(), self.watch.limit().kind())
    }
}

/// Within every over-limit in the middle of its scale.
fn rest<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>) -> Point {
    Point {
        sense: scene.sense_full() / 8,
        bus: scene.bus_full() / 8,
    }
}

/// Two limits that the part compares itself, on different channels where it has them.
fn pair<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>) -> Option<(Limited, Limited)> {
    let mut there = [Kind::OverCurrent, Kind::OverVoltage]
        .into_iter()
        .flat_map(|kind| scene.channels().rev().map(move |channel| (channel, kind)))
        .map(|(channel, kind)| Limited::new(scene, channel, kind))
        .filter(|limited| scene.by_part(&limited.watch));
    Some((there.next()?, there.next_back()?))
}
