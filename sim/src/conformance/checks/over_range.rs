//! Inputs beyond their range: flagged, at the right place, for as long as nobody was told.

use alloc::format;

use crake::Channel;

use crate::conformance::OverRange;
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes};
use crate::conformance::rig::{Seen, Setup};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{ONCE, PLAIN};

/// An input that goes out of its range, which flag it has to set, and the code at the end.
#[derive(Clone, Copy)]
struct Excursion {
    name: &'static str,
    point: Point,
    flags: (bool, bool),
    end: i64,
}

const NONE: (bool, bool) = (false, false);

impl Excursion {
    /// It is over.
    const fn over(self) -> Self {
        Self {
            flags: NONE,
            ..self
        }
    }
}

fn excursions(scene: &Scene<'_>, channel: Channel) -> [Excursion; 3] {
    let (rest, (sense, rail)) = (scene.share(1, 4), scene.first(channel));
    let min = i64::from(scene.sense(sense).code_min);
    let full = Point {
        sense: scene.sense(sense).code_max.into(),
        rail: scene.rail(rail).code_max.into(),
    };
    let sense = |name, sense, end| Excursion {
        name,
        point: Point { sense, ..rest },
        flags: (true, false),
        end,
    };
    let above = |full| full + full / 64 + 50;
    [
        sense("sense above its range", above(full.sense), full.sense),
        sense("sense below its range", min - full.sense / 64 - 50, min),
        Excursion {
            name: "rail above its range",
            point: Point {
                rail: above(full.rail),
                ..rest
            },
            flags: (false, true),
            end: full.rail,
        },
    ]
}

pub(super) fn over_range(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for setup in [Some(scene.fast()), scene.single()].into_iter().flatten() {
        for channel in scene.channels() {
            for excursion in excursions(scene, channel) {
                lasting(scene, notes, &setup, channel, excursion)?;
            }
        }
    }
    if matches!(
        scene.stated.over_range,
        OverRange::WhileItLasts | OverRange::EndCode
    ) {
        notes.leave_out("nothing remembers that a conversion went over range");
        return Ok(());
    }
    if scene.fast().rate.is_none() {
        notes.leave_out("what comes back within its range before a trigger is never converted");
        return Ok(());
    }
    excursions(scene, Channel::C0)
        .into_iter()
        .try_for_each(|excursion| remembered(scene, notes, excursion))
}

/// Beyond the range, and back.
fn lasting(
    scene: &Scene<'_>,
    notes: &mut Notes,
    setup: &Setup,
    channel: Channel,
    excursion: Excursion,
) -> Checked {
    notes.tried();
    let mut trial = scene.running_in(PLAIN, setup)?;
    trial.apply_all(scene.share(1, 4));
    trial.settled()?;
    trial.apply(channel, excursion.point);
    let seen = trial.settled()?;
    flags(scene, notes, channel, excursion, "while it lasts", &seen)?;
    let codes = seen.codes[channel.index()].unwrap_or_default();
    let (sense, rail) = (i64::from(codes.sense), i64::from(codes.rail));
    let code = if excursion.flags.0 { sense } else { rail };
    let off = scene.off(channel, excursion.point);
    if (code - excursion.end).abs() >= off.sense.max(off.rail) {
        let (name, end) = (excursion.name, excursion.end);
        notes.find(format!(
            "{channel}: {name}: code {code} read, the end is {end}"
        ))?;
    }
    trial.apply_all(scene.share(1, 4));
    trial.settled()?;
    let seen = trial.settled()?;
    let moment = "when it is over and was told";
    flags(scene, notes, channel, excursion.over(), moment, &seen)
}

/// Back within the range before anybody looked, and a sample lost in between, before something of
/// it was read or after; tried once, or again.
fn remembered(scene: &Scene<'_>, notes: &mut Notes, excursion: Excursion) -> Checked {
    let arrived = Spoil::Cut(usize::MAX);
    for (how, spoil) in [(ONCE, Spoil::Cut(1)), (ONCE, arrived), (PLAIN, arrived)] {
        let mut trial = scene.running(how)?;
        trial.apply_all(scene.share(1, 4));
        trial.settled()?;
        let transfers = trial
            .log_of(|trial| Ok(trial.rig.sample().map(drop)?))?
            .len();
        for lost in 0..transfers {
            notes.tried();
            trial.apply(Channel::C0, excursion.point);
            trial.settle();
            trial.apply_all(scene.share(1, 4));
            trial.settle();
            trial.tap.spoil(lost, spoil);
            let mut seen = match trial.rig.sample() {
                Ok(seen) => seen,
                Err(_) => trial.settled()?,
            };
            if scene.stated.over_range == OverRange::ClearedByReading {
                only(&mut seen, excursion);
            }
            let moment = "after it was over and a sample was lost";
            flags(scene, notes, Channel::C0, excursion, moment, &seen)?;
            let (over, seen) = (excursion.over(), trial.settled()?);
            flags(scene, notes, Channel::C0, over, "when it was told", &seen)?;
        }
    }
    Ok(())
}

/// Takes away what may be told besides, where nobody knows what a failed read took with it.
fn only(seen: &mut Seen, excursion: Excursion) {
    for (channel, codes) in seen.codes.iter_mut().enumerate() {
        let (sense, rail) = if channel == 0 { excursion.flags } else { NONE };
        if let Some(codes) = codes {
            codes.sense_clipped &= sense;
            codes.rail_clipped &= rail;
        }
    }
}

fn flags(
    scene: &Scene<'_>,
    notes: &mut Notes,
    channel: Channel,
    excursion: Excursion,
    moment: &str,
    seen: &Seen,
) -> Checked {
    for other in scene.channels() {
        let codes = seen.codes[other.index()].unwrap_or_default();
        let told = (codes.sense_clipped, codes.rail_clipped);
        let expected = if other == channel {
            excursion.flags
        } else {
            NONE
        };
        if told == expected {
            continue;
        }
        let hint = match other == channel {
            false => ": the flag of another channel",
            true if told == (expected.1, expected.0) => ": sense and rail are exchanged",
            true if expected == NONE => ": is the sample not told to the part as seen?",
            true if scene.stated.over_range == OverRange::ClearedByReading => {
                ": is a read that clears repeated, or what it took along not told?"
            }
            true => "",
        };
        notes.find(format!(
            "{channel}: {}, and {moment} the flags of {other} are {}, expected {}{hint}",
            excursion.name,
            text(told),
            text(expected)
        ))?;
    }
    Ok(())
}

const fn text(flags: (bool, bool)) -> &'static str {
    match flags {
        (false, false) => "none",
        (true, false) => "sense",
        (false, true) => "rail",
        (true, true) => "sense and rail",
    }
}
