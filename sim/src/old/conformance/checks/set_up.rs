//! Identity, reset, joining, set-ups of others, and what is refused.

use alloc::{format, string::String};

use crake::old::alert::{Causes, Kind, Watches};
use crake::old::part::{BusRange, Joint, Pace, SenseRange, Source};
use crake::old::{Came, Channel, Condition, Fault, Mode, NoReading, Ranges, Setup, ShuntMonitor};

use super::limits::{cause, names};
use super::sums::grown;
use crate::old::conformance::probe::Spoil;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Scene, middle};
use crate::old::conformance::trial::{Answer, Seen};
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

fn text<const N: usize>(answer: &Answer<Seen<N>>) -> String {
    match answer {
        Ok(seen) => format!("a frame came ({:?})", seen.condition),
        Err(error) => format!("the error was: {error}"),
    }
}

fn fault<const N: usize>(answer: &Answer<Seen<N>>) -> Option<Fault> {
    match answer {
        Err(error) => match error.came {
            Came::Fault(fault) => Some(fault),
            Came::Bus(_) => None,
        },
        Ok(_) => None,
    }
}

/// Another part answers: the first register read has one bit that is not the part's.
pub(super) fn identity<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    if !scene.stated.identity {
        return Err(Stop::NotApplicable(
            "datasheet: nothing tells what the part is".into(),
        ));
    }
    let mut trial = scene.running()?;
    let joint = trial.monitor.joint();
    for joining in [false, true] {
        for bit in 0..8 {
            notes.tried();
            let (tap, mut monitor) = scene.driver(&trial.desk, 255);
            let sealed = scene.stated.check_byte;
            tap.spoil(
                0,
                Spoil::Flipped {
                    byte: 0,
                    bit,
                    sealed,
                },
            );
            let answer = if joining {
                monitor.attach(&joint).map(|frame| Seen::<N>::of(&frame))
            } else {
                monitor
                    .init(&scene.fast())
                    .map(|frame| Seen::<N>::of(&frame))
            };
            let wrote = tap.log().iter().any(|transfer| transfer.read == 0);
            if !matches!(fault(&answer), Some(Fault::Identity { .. })) {
                notes.find(format!(
                    "bit {bit} of the identity is another part's, expected Fault::Identity; {}: is the identity compared?",
                    text(&answer)
                ))?;
            } else if wrote {
                notes.find(format!("bit {bit} of the identity is another part's, and registers were written nevertheless"))?;
            }
        }
    }
    let seen = trial.settled()?;
    if !seen.unbroken {
        notes.find("refusing another part disturbed this one".into())?;
    }
    Ok(())
}

/// A reset between frames and at every transfer of one.
pub(super) fn reset_detection<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for read_max in [255, 16] {
        reset_while_reading(scene, notes, read_max)?;
    }
    Ok(())
}

fn reset_while_reading<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    read_max: u8,
) -> Checked {
    let answers_ns = scene.reset_ns();
    let mut trial = scene.trial_at(0, read_max);
    trial.init(&scene.fast())?;
    trial.tap.begin();
    trial.settled()?;
    let transfers = trial.tap.log().len();
    // Parts count their conversions, some in a few bits: a count of zero must not hide a reset.
    for (latches, moment) in (0..8).flat_map(|latches| (0..=transfers).map(move |at| (latches, at)))
    {
        notes.tried();
        let mut trial = scene.trial_at(0, read_max);
        trial.init(&scene.fast())?;
        trial.apply_distinct();
        for _ in 0..=latches {
            trial.settled()?;
        }
        if moment == transfers {
            trial.desk.reset();
            trial.desk.run_for_ns(answers_ns);
        } else {
            let desk = trial.desk.clone();
            trial.tap.between(move |number| {
                if number == moment {
                    desk.reset();
                    desk.run_for_ns(answers_ns);
                }
            });
        }
        let when = if moment == transfers {
            String::from("before a latch")
        } else {
            format!("before transfer {moment} of a latch")
        };
        let mut answer = trial.latch();
        trial.tap.begin();
        // The frame may have been copied before the reset; then it is whole, and the next one tells.
        if let Ok(seen) = &answer
            && seen.condition == Condition::Steady
            && moment > 0
            && moment < transfers
        {
            let mut apart = Notes::default();
            for channel in scene.channels() {
                let point = scene.own(channel);
                let codes = &seen.codes[channel.index()];
                if scene
                    .judge(&mut apart, channel, scene.first(channel), point, codes)
                    .is_err()
                {
                    break;
                }
            }
            if let Some(wrong) = apart.first() {
                notes.find(format!(
                    "the part was reset {when}, and its frame is taken for good: {wrong}: values of before and after are mixed: is what tells of a reset read last?"
                ))?;
            }
            answer = trial.settled();
        }
        if answer.is_err() {
            answer = trial.settled();
        }
        match &answer {
            Ok(seen) if seen.condition == Condition::Reset => {
                if seen.readings[0] != Err(NoReading::NotRunning) {
                    notes.find(format!("the part was reset {when}, and there is a reading: {:?}", seen.readings[0]))?;
                }
            }
            Err(error) if matches!(error.came, Came::Fault(Fault::ResetSeen)) => {}
            other => notes.find(format!("the part was reset {when}, expected Condition::Reset; {}: is the reset flag looked at?", text(other)))?,
        }
        trial.init(&scene.fast())?;
        let again = trial.settled()?;
        if again.condition != Condition::Steady || !again.head.complete {
            notes.find(format!(
                "set up again after a reset {when}, and the frame is {:?}",
                again.condition
            ))?;
        }
    }
    Ok(())
}

/// A restarted firmware joins: sums go on, limits stand, causes are still told.
pub(super) fn attach<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    notes.tried();
    // What the driver keeps in a part's place did not outlive the firmware.
    let by_part = scene.spec.sums == Source::Part;
    let kind = Kind::OverCurrent;
    let code = middle(kind, scene.sense_full(), scene.bus_full());
    let watch = scene.watch(Channel::C0, kind, code);
    let mut trial = scene.running()?;
    trial.apply_all(crate::old::conformance::scene::Point {
        sense: code,
        bus: 1,
    });
    trial.settle();
    trial.arm(&Watches::limits(&[watch]))?;
    trial.apply(
        Channel::C0,
        crate::old::conformance::scene::Point {
            sense: scene.beyond(kind, code, 1),
            bus: 1,
        },
    );
    trial.judged()?;
    trial.apply_distinct();
    let before = trial.settled()?;
    let joint = trial.monitor.joint();
    let (tap, monitor) = scene.driver(&trial.desk, 255);
    (trial.tap, trial.monitor) = (tap, monitor);
    trial.periods(5);
    let joined = trial.attach(&joint);
    let Ok(joined) = joined else {
        return notes.find(format!("joining a part that nobody touched since; {}: does joining itself write to the set-up?", text(&joined)));
    };
    if joined.condition != Condition::Steady
        || joined.ranges != before.ranges
        || (by_part && joined.head.mode != before.head.mode)
    {
        notes.find(format!(
            "joined a part in {:?} and {:?}; the frame says {:?}, {:?} and {:?}",
            before.head.mode, before.ranges, joined.condition, joined.head.mode, joined.ranges
        ))?;
    }
    if by_part {
        if !joined.unbroken {
            notes.find(
                "joined with the part's own joint, and the frame is not vouched for (unbroken)"
                    .into(),
            )?;
        }
        grown(scene, notes, &before, &joined, " while firmware restarted")?;
        let passed_ns = (joined.stamp.before_us - before.stamp.after_us) * 1_000;
        let rounds = u64::from(joined.head.rounds.wrapping_sub(before.head.rounds));
        let expected = passed_ns / scene.period_ns(scene.fast().mode);
        if scene.spec.accumulators.rounds_bits > 0 && rounds + 2 < expected {
            notes.find(format!("{rounds} rounds in the time of {expected} while firmware joined: conversions were stopped"))?;
        }
    }
    let after = trial.monitor.joint();
    if after != joint {
        notes.find(format!(
            "joining changed the set-up serial from {} to {}: it wrote to the set-up",
            joint.serial, after.serial
        ))?;
    }
    if scene.by_part(&watch) {
        let told = trial.service(Causes::LIMITS)?;
        if told != cause(Channel::C0, kind) {
            notes.find(format!(
                "{} stood while firmware restarted; {} told after joining: joining cleared it",
                names(cause(Channel::C0, kind)),
                names(told)
            ))?;
        }
        trial.apply(Channel::C0, scene.point(kind, scene.beyond(kind, code, 1)));
        trial.judged()?;
        let again = trial.service(Causes::LIMITS)?;
        if again != cause(Channel::C0, kind) {
            notes.find(format!("a limit was in force while firmware restarted; beyond it {} told after joining: joining moved it", names(again)))?;
        }
    }
    trial.desk.reset();
    trial.desk.run_for_ns(scene.reset_ns());
    let (_, mut monitor) = scene.driver(&trial.desk, 255);
    let refused = monitor.attach(&joint).map(|frame| Seen::<N>::of(&frame));
    if !matches!(
        fault(&refused),
        Some(Fault::ResetSeen | Fault::SetUpChanged { .. })
    ) {
        notes.find(format!(
            "joining a part that was reset, expected Fault::ResetSeen; {}",
            text(&refused)
        ))?;
    }
    Ok(())
}

/// Somebody else writes to the set-up.
pub(super) fn foreign_set_up<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    if !scene.stated.serial {
        return Err(Stop::NotApplicable(
            "datasheet: the part does not tell who wrote to its set-up".into(),
        ));
    }
    notes.tried();
    let mut trial = scene.running()?;
    trial.apply_distinct();
    trial.settled()?;
    let joint = trial.monitor.joint();
    let (_, mut other) = scene.driver(&trial.desk, 255);
    let last = Mode::Paced(Pace(scene.spec.paces.len() as u8 - 1));
    other.attach(&joint)?;
    other.configure(&Setup {
        mode: last,
        ..scene.fast()
    })?;
    trial.settle();
    let answer = trial.latch();
    if !matches!(fault(&answer), Some(Fault::SetUpChanged { .. })) {
        notes.find(format!("somebody else changed the set-up, expected Fault::SetUpChanged; {}: is the set-up serial compared?", text(&answer)))?;
    }
    notes.tried();
    let (_, mut late) = scene.driver(&trial.desk, 255);
    let answer = late.attach(&joint).map(|frame| Seen::<N>::of(&frame));
    if !matches!(fault(&answer), Some(Fault::SetUpChanged { .. })) {
        notes.find(format!(
            "joining with the serial of an older set-up, expected Fault::SetUpChanged; {}",
            text(&answer)
        ))?;
    }
    let now = other.joint();
    let (_, mut late) = scene.driver(&trial.desk, 255);
    let answer = late
        .attach(&Joint { ..now })
        .map(|frame| Seen::<N>::of(&frame));
    if answer.is_err() {
        notes.find(format!(
            "joining with the serial of the present set-up; {}",
            text(&answer)
        ))?;
    }
    Ok(())
}

/// What the `Spec` does not have is refused before a byte is sent.
pub(super) fn refusals<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let fast = scene.fast();
    let (spec, last) = (scene.spec, Channel::new(N as u8 - 1));
    let sense = Ranges {
        sense: SenseRange(spec.sense.len() as u8),
        ..scene.first(last)
    };
    let bus = Ranges {
        bus: BusRange(spec.bus.len() as u8),
        ..scene.first(Channel::C0)
    };
    let paced = |place: usize| Mode::Paced(Pace(place as u8));
    let wrong: [(&str, Setup<N>); 6] = [
        (
            "no channel",
            Setup {
                channels: [None; N],
                ..fast
            },
        ),
        (
            "a sense range past the table's end",
            fast.with(last, Some(sense)),
        ),
        (
            "a bus range past the table's end",
            fast.with(Channel::C0, Some(bus)),
        ),
        (
            "a pace past the table's end",
            Setup {
                mode: paced(spec.paces.len()),
                ..fast
            },
        ),
        (
            "averaging beyond the greatest",
            fast.averaging(spec.averaging_max + 1),
        ),
        (
            "a burst on a channel that is left out",
            Setup {
                mode: Mode::Burst(last),
                ..fast.with(last, None)
            },
        ),
    ];
    for (what, setup) in wrong {
        notes.tried();
        let mut trial = scene.running()?;
        for init in [true, false] {
            trial.tap.begin();
            let answer = if init {
                trial.init(&setup)
            } else {
                trial.configure(&setup)
            };
            let sent = trial.tap.log().len();
            if !matches!(fault(&answer), Some(Fault::Misuse(_))) {
                notes.find(format!("{what} asked for, expected Fault::Misuse; {}: does the map's check() know its Spec?", text(&answer)))?;
            } else if sent > 0 {
                notes.find(format!(
                    "{what} asked for and refused, after {sent} transfers"
                ))?;
            }
        }
    }
    Ok(())
}
