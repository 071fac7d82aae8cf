//! Inputs beyond the range: flagged, at the right place, for as long as nobody was told.

use alloc::format;

use crake::old::{Channel, Setup};

use crate::old::conformance::Subject;
use crate::old::conformance::probe::Spoil;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene};
use crate::old::conformance::trial::Seen;

type Checked = Result<(), Stop>;

/// An input that goes out of its range, and which flag it has to set.
#[derive(Clone, Copy)]
struct Excursion {
    name: &'static str,
    point: Point,
    sense: bool,
    bus: bool,
}

pub(super) fn clipping<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for channel in scene.channels() {
        for excursion in excursions(scene, channel) {
            notes.tried();
            let mut trial = scene.running()?;
            trial.apply_all(at_rest(scene));
            trial.settled()?;
            trial.apply(channel, excursion.point);
            flags(
                scene,
                notes,
                channel,
                excursion,
                "while it lasts",
                &trial.settled()?,
            )?;
            if !scene.stated.remembers_clipping {
                continue;
            }
            trial.apply_all(at_rest(scene));
            trial.settled()?;
            no_flags(scene, notes, channel, excursion, &trial.settled()?)?;
        }
    }
    if scene.stated.remembers_clipping {
        for excursion in excursions(scene, Channel::C0) {
            remembered(scene, notes, Channel::C0, excursion)?;
        }
    } else {
        notes.remark("the part shows clipping only while it lasts".into());
    }
    Ok(())
}

fn at_rest<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>) -> Point {
    Point {
        sense: scene.sense_full() / 4,
        bus: scene.bus_full() / 4,
    }
}

fn excursions<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    channel: Channel,
) -> [Excursion; 3] {
    let (rest, ranges) = (at_rest(scene), scene.first(channel));
    let (sense, bus) = (scene.sense_max(ranges), scene.bus_max(ranges));
    let with = |name, sense: Option<i64>, bus: Option<i64>| Excursion {
        name,
        point: Point {
            sense: sense.unwrap_or(rest.sense),
            bus: bus.unwrap_or(rest.bus),
        },
        sense: sense.is_some(),
        bus: bus.is_some(),
    };
    // Further than a coarse number is off at its end.
    let over = |max: i64| max + 50 + max / 64;
    [
        with("sense above its range", Some(over(sense)), None),
        with("sense below its range", Some(-over(sense)), None),
        with("bus above its range", None, Some(over(bus))),
    ]
}

/// Back within the range before anybody looked, and a frame lost in between.
fn remembered<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    channel: Channel,
    excursion: Excursion,
) -> Checked {
    let mut trial = scene.running()?;
    trial.apply_all(at_rest(scene));
    trial.settled()?;
    trial.tap.begin();
    trial.latch()?;
    let transfers = trial.tap.log().len();
    for lost in 0..transfers {
        notes.tried();
        trial.apply(channel, excursion.point);
        trial.settle();
        trial.apply_all(at_rest(scene));
        trial.settle();
        // The block is copied, and what is read of it does not arrive.
        trial.tap.spoil(lost, Spoil::Refused(1));
        if trial.latch().is_ok() {
            notes.find(format!(
                "transfer {lost} of a latch failed on the bus, and the latch did not"
            ))?;
        }
        trial.tap.begin();
        let moment = "after it was over and a frame was lost";
        flags(scene, notes, channel, excursion, moment, &trial.settled()?)?;
        no_flags(scene, notes, channel, excursion, &trial.settled()?)?;
    }
    Ok(())
}

fn flags<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    channel: Channel,
    excursion: Excursion,
    moment: &str,
    seen: &Seen<N>,
) -> Checked {
    for other in scene.channels() {
        let codes = seen.codes[other.index()];
        let told = (codes.sense_clipped, codes.bus_clipped);
        let expected = if other == channel {
            (excursion.sense, excursion.bus)
        } else {
            (false, false)
        };
        if told != expected {
            notes.find(format!(
                "{channel}: {}, and {moment} the flags of {other} are {}, expected {}{}",
                excursion.name,
                text(told),
                text(expected),
                if other == channel {
                    ""
                } else {
                    ": flags of another channel?"
                }
            ))?;
        }
    }
    Ok(())
}

fn no_flags<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    channel: Channel,
    excursion: Excursion,
    seen: &Seen<N>,
) -> Checked {
    for other in scene.channels() {
        let codes = seen.codes[other.index()];
        if codes.sense_clipped || codes.bus_clipped {
            notes.find(format!(
                "{channel}: {}, over and told of, and {other} is still flagged: was the frame not told to the part as seen?",
                excursion.name
            ))?;
        }
    }
    Ok(())
}

const fn text((sense, bus): (bool, bool)) -> &'static str {
    match (sense, bus) {
        (false, false) => "none",
        (true, false) => "sense",
        (false, true) => "bus",
        (true, true) => "sense and bus",
    }
}

/// Results are those of whole means, and there are none before the first.
pub(super) fn averaging<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    if scene.spec.averaging_max == 0 {
        return Err(Stop::NotApplicable("Spec: no averaging".into()));
    }
    for k in 0..=scene.spec.averaging_max {
        notes.tried();
        let setup: Setup<N> = scene.fast().averaging(k);
        let mut trial = scene.trial();
        trial.apply_distinct();
        trial.init(&setup)?;
        if k > 6 {
            // Long before the first mean is finished.
            let early = trial.latch()?;
            if early.head.complete {
                notes.find(format!("means of 2^{k} rounds: complete by what the frame says, before the first was finished"))?;
            }
        }
        let seen = trial.settled()?;
        if seen.head.averaging != k {
            notes.find(format!(
                "means of 2^{k} rounds asked for; the frame says 2^{}",
                seen.head.averaging
            ))?;
        }
        if !seen.head.complete {
            notes.find(format!(
                "means of 2^{k} rounds: not complete by what the frame says, after more than that"
            ))?;
        }
        for channel in scene.channels() {
            let point = scene.own(channel);
            scene.judge(
                notes,
                channel,
                scene.first(channel),
                point,
                &seen.codes[channel.index()],
            )?;
        }
    }
    Ok(())
}
