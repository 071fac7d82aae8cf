//! What the codes of a frame say: byte order, signs, scales, which channel they belong to.

use alloc::{format, string::String, vec::Vec};

use crake::old::part::{BusRange, SenseRange};
use crake::old::{Channel, NoReading, Ranges, Setup};

use crate::old::conformance::Subject;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene};

type Checked = Result<(), Stop>;

/// Positive codes whose bytes all differ.
pub(super) fn byte_order<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    // As much of it as half the scale holds: no sign bit, no highest bit.
    let pattern = |max: i64| {
        let mut pattern = 0x12345;
        while pattern > max / 2 {
            pattern >>= 1;
        }
        pattern
    };
    let point = Point {
        sense: pattern(scene.sense_full()),
        bus: pattern(scene.bus_full()),
    };
    same_everywhere(scene, notes, point)
}

pub(super) fn signs_of_sense<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let max = scene.sense_full();
    let bus = scene.bus_full() / 2;
    for sense in [max / 3, -max / 3, -1, 1, -max / 2 - 1, max, -max - 1, 0] {
        same_everywhere(scene, notes, Point { sense, bus })?;
    }
    Ok(())
}

fn same_everywhere<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    point: Point,
) -> Checked {
    let mut trial = scene.running()?;
    trial.apply_all(point);
    let seen = trial.settled()?;
    for channel in scene.channels() {
        scene.judge(
            notes,
            channel,
            scene.first(channel),
            point,
            &seen.codes[channel.index()],
        )?;
    }
    Ok(())
}

/// Each sense range from end to end.
pub(super) fn scale_of_sense<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for place in 0..scene.spec.sense.len() {
        let max = scene.sense_max(Ranges {
            sense: SenseRange(place as u8),
            bus: BusRange(0),
        });
        let senses = [
            -max - 1,
            -max / 2,
            -max / 3,
            -7,
            0,
            7,
            max / 3,
            max / 2,
            max,
        ];
        let bus = scene.bus_full() / 2;
        let points = senses.map(|sense| Point { sense, bus });
        in_range(scene, notes, &points, |ranges| Ranges {
            sense: SenseRange(place as u8),
            ..ranges
        })?;
    }
    Ok(())
}

/// Each bus range from end to end.
pub(super) fn scale_of_bus<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for place in 0..scene.spec.bus.len() {
        let max = scene.bus_max(Ranges {
            sense: SenseRange(0),
            bus: BusRange(place as u8),
        });
        let points = [0, 1, max / 3, max / 2, max / 2 + 1, max - 1, max];
        let points = points.map(|bus| Point { sense: 100, bus });
        in_range(scene, notes, &points, |ranges| Ranges {
            bus: BusRange(place as u8),
            ..ranges
        })?;
    }
    Ok(())
}

/// Points on every channel that takes the range.
fn in_range<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    points: &[Point],
    range: impl Fn(Ranges) -> Ranges,
) -> Checked {
    let wanted = |channel| range(scene.first(channel));
    let (mut setup, mut those) = (scene.fast(), Vec::new());
    for channel in scene.channels() {
        let with = setup.with(channel, Some(wanted(channel)));
        if scene.takes(&with) {
            setup = with;
            those.push(channel);
        }
    }
    let mut trial = scene.trial();
    trial.init(&setup)?;
    for point in points {
        for channel in &those {
            trial.apply_in(*channel, wanted(*channel), *point);
        }
        let seen = trial.settled()?;
        for channel in &those {
            let codes = &seen.codes[channel.index()];
            scene.judge(notes, *channel, wanted(*channel), *point, codes)?;
        }
    }
    Ok(())
}

/// A point of its own on each channel, all at once.
pub(super) fn channel_order<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    if N == 1 {
        return Err(Stop::NotApplicable("one channel".into()));
    }
    // No sign bit, no highest bit: those are for other checks.
    let point = |channel: Channel| {
        let place = i64::from(channel.number()) + 1;
        let of = |full: i64| full * place / (2 * N as i64 + 2);
        Point {
            sense: of(scene.sense_full()),
            bus: of(scene.bus_full()),
        }
    };
    let mut trial = scene.running()?;
    for channel in scene.channels() {
        trial.apply(channel, point(channel));
    }
    let seen = trial.settled()?;
    for channel in scene.channels() {
        let codes = seen.codes[channel.index()];
        let own = point(channel);
        let off = scene.tolerance(channel, own);
        notes.tried();
        let far = |code: i64, own: i64, off: i64| (code - own).abs() > off;
        if far(codes.sense.into(), own.sense, off.sense) || far(codes.bus.into(), own.bus, off.bus)
        {
            let other = scene.channels().find(|other| {
                let (at, off) = (point(*other), scene.tolerance(*other, point(*other)));
                *other != channel && !far(codes.sense.into(), at.sense, off.sense)
            });
            let guess = other.map_or(String::new(), |other| {
                format!(": that is what was applied to {other}")
            });
            notes.find(format!(
                "{channel}: sense code {} and bus code {} read, {} and {} applied to it, others to others{guess}",
                codes.sense, codes.bus, own.sense, own.bus
            ))?;
        }
    }
    Ok(())
}

/// Every choice of channels (of those with few channels; else each alone and the first so many).
pub(super) fn enabled_channels<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let all = (1_u32 << N) - 1;
    let singles = (0..N).map(|channel| 1 << channel);
    let firsts = (1..=N).map(|count| (1 << count) - 1);
    let few = 1..=if N <= 4 { all } else { 0 };
    let mut refused = 0;
    for choice in few.chain(singles).chain(firsts) {
        let mut setup = scene.fast();
        for channel in scene.channels() {
            if choice >> channel.number() & 1 == 0 {
                setup = setup.with(channel, None);
            }
        }
        if !scene.takes(&setup) {
            refused += 1;
            continue;
        }
        one_choice(scene, notes, choice, &setup)?;
    }
    if refused > 0 {
        notes.remark(format!(
            "{refused} choices of channels are refused by the map"
        ));
    }
    Ok(())
}

fn one_choice<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    choice: u32,
    setup: &Setup<N>,
) -> Checked {
    let mut trial = scene.trial();
    trial.init(setup)?;
    trial.apply_distinct();
    let seen = trial.settled()?;
    for channel in scene.channels() {
        let enabled = choice >> channel.number() & 1 == 1;
        if seen.ranges[channel.index()].is_some() != enabled {
            let told = if enabled { "is not" } else { "is" };
            notes.find(format!(
                "channels {choice:#b} enabled: {channel} {told} enabled by what the frame says"
            ))?;
        } else if enabled {
            let point = scene.own(channel);
            scene.judge(
                notes,
                channel,
                scene.first(channel),
                point,
                &seen.codes[channel.index()],
            )?;
        } else if seen.readings[channel.index()] != Err(NoReading::NotEnabled(channel)) {
            notes.find(format!(
                "{channel} is not enabled, and has a reading: {:?}",
                seen.readings[channel.index()]
            ))?;
        }
    }
    Ok(())
}

/// Every pair of ranges on each channel in turn, the others in their first.
pub(super) fn ranges<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let (senses, buses) = (scene.spec.sense.len(), scene.spec.bus.len());
    if senses * buses == 1 {
        return Err(Stop::NotApplicable("one range of each kind".into()));
    }
    let mut trial = scene.running()?;
    for channel in scene.channels() {
        let pairs = (0..senses).flat_map(|sense| (0..buses).map(move |bus| (sense, bus)));
        for (sense, bus) in pairs {
            let wanted = Ranges {
                sense: SenseRange(sense as u8),
                bus: BusRange(bus as u8),
            };
            let setup = scene.fast().with(channel, Some(wanted));
            if !scene.takes(&setup) {
                continue;
            }
            trial.configure(&setup)?;
            for other in scene.channels() {
                let ranges = if other == channel {
                    wanted
                } else {
                    scene.first(other)
                };
                trial.apply_in(other, ranges, scene.distinct(ranges, other));
            }
            let seen = trial.settled()?;
            for other in scene.channels() {
                let ranges = if other == channel {
                    wanted
                } else {
                    scene.first(other)
                };
                told(
                    scene,
                    notes,
                    (channel, wanted),
                    (other, ranges),
                    seen.ranges[other.index()],
                )?;
                let point = scene.distinct(ranges, other);
                scene.judge(notes, other, ranges, point, &seen.codes[other.index()])?;
            }
        }
    }
    Ok(())
}

fn told<S: Subject<N>, const N: usize>(
    _: &Scene<'_, S, N>,
    notes: &mut Notes,
    (changed, wanted): (Channel, Ranges),
    (channel, expected): (Channel, Ranges),
    told: Option<Ranges>,
) -> Checked {
    if told == Some(expected) {
        return Ok(());
    }
    let text = |ranges: Ranges| format!("sense {} and bus {}", ranges.sense.0, ranges.bus.0);
    let told = told.map_or("none".into(), text);
    let swap = channel != changed;
    notes.find(format!(
        "{changed} set to ranges {}: {channel} has ranges {told} by what the frame says, expected {}{}",
        text(wanted),
        text(expected),
        if swap { ": whose ranges are they?" } else { ": ranges decoded wrongly?" }
    ))
}

/// Product of sense and bus, with every sign and at the ends.
pub(super) fn power<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let (sense_max, bus_max) = (scene.sense_full(), scene.bus_full());
    let mut trial = scene.running()?;
    let senses = [
        sense_max / 3,
        -sense_max / 3,
        -1,
        0,
        sense_max,
        -sense_max - 1,
    ];
    for (sense, bus) in senses
        .into_iter()
        .flat_map(|sense| [bus_max / 2, 1, 0, bus_max].map(move |bus| (sense, bus)))
    {
        let point = Point { sense, bus };
        trial.apply_all(point);
        let seen = trial.settled()?;
        for channel in scene.channels() {
            let (expected, tolerance) = scene.power(channel, point);
            notes.tried();
            let read = seen.codes[channel.index()].power;
            if (read - expected).abs() > tolerance {
                let turned = (read < 0) != (expected < 0) && expected != 0;
                notes.find(format!(
                    "{channel}: sense code {sense} and bus code {bus} applied, power code {read} read, expected {expected} ± {tolerance}{}",
                    if turned { ": the sign bit was lost, or power is taken as unsigned" } else { "" }
                ))?;
            }
        }
    }
    Ok(())
}
