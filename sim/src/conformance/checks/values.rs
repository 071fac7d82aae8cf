//! What the codes of a sample say: byte order, signs, scales, which channel they belong to.

use alloc::{format, vec::Vec};

use crake::info::Source;

use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{How, PLAIN};

/// Nothing is wrong with part and bus.
pub(super) fn init(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for setup in [Some(scene.fast()), scene.single()].into_iter().flatten() {
        notes.tried();
        scene.trial(PLAIN).init(&setup)?;
    }
    Ok(())
}

/// Positive codes whose bytes all differ.
pub(super) fn byte_order(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    // As much of it as half the scale holds: no sign bit, no highest bit.
    let pattern = |max: i64| {
        let fitting = (0..20)
            .map(|bits| 0x12345 >> bits)
            .find(|pattern| *pattern <= max / 2);
        fitting.unwrap_or_default()
    };
    let full = scene.full();
    let (sense, rail) = (pattern(full.sense), pattern(full.rail));
    in_range(scene, notes, |own| own, &[Point { sense, rail }])
}

pub(super) fn signs(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let (max, min, rail) = (scene.full().sense, scene.least(), scene.full().rail / 2);
    let codes = [max / 3, min / 3, -1, 1, min / 2 - 1, max, min, 0];
    let there = codes.into_iter().filter(|code| *code >= min);
    let points: Vec<Point> = there.map(|sense| Point { sense, rail }).collect();
    in_range(scene, notes, |own| own, &points)
}

/// Each sense range from end to end.
pub(super) fn scale_of_sense(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for place in 0..scene.info.sense_ranges.len() {
        let range = scene.sense(place);
        let (max, min) = (i64::from(range.code_max), i64::from(range.code_min));
        let rail = scene.full().rail / 2;
        let codes = [min, min / 2, 0, 7, max / 3, max / 2, max];
        let points = codes.map(|sense| Point { sense, rail });
        in_range(scene, notes, |(_, rail)| (place, rail), &points)?;
    }
    Ok(())
}

/// Each rail range from end to end.
pub(super) fn scale_of_rail(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for place in 0..scene.info.rail_ranges.len() {
        let max = i64::from(scene.rail(place).code_max);
        let codes = [0, 1, max / 3, max / 2, max / 2 + 1, max - 1, max];
        let points = codes.map(|rail| Point { sense: 100, rail });
        in_range(scene, notes, |(sense, _)| (sense, place), &points)?;
    }
    Ok(())
}

/// One point after the other on all channels that have these ranges.
fn in_range(
    scene: &Scene<'_>,
    notes: &mut Notes,
    of: impl Fn((usize, usize)) -> (usize, usize),
    points: &[Point],
) -> Checked {
    let mut setup = scene.fast();
    let mut those = Vec::new();
    for channel in scene.channels() {
        let places = of(scene.first(channel));
        let own = setup.ranges[channel.index()].replace(places);
        match scene.subject.takes(&setup) {
            true => those.push((channel, places)),
            false => setup.ranges[channel.index()] = own,
        }
    }
    let mut trial = scene.trial(PLAIN);
    trial.init(&setup)?;
    for point in points {
        for (channel, places) in &those {
            trial.apply_in(*channel, *places, *point);
        }
        let seen = trial.settled()?;
        for (channel, places) in &those {
            scene.judge(notes, &seen, *channel, *places, *point)?;
        }
    }
    Ok(())
}

/// A point of its own on each channel, all at once, without sign bits and highest bits: those are
/// for other checks.
pub(super) fn channel_order(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if scene.count == 1 {
        return not_applicable("one channel");
    }
    let point = |number: u8| scene.share(i64::from(number) + 1, 2 * i64::from(scene.count) + 2);
    let mut trial = scene.running(PLAIN)?;
    scene
        .channels()
        .for_each(|channel| trial.apply(channel, point(channel.number())));
    let seen = trial.settled()?;
    for channel in scene.channels() {
        notes.tried();
        let codes = seen.codes[channel.index()].unwrap_or_default();
        let is = |own: Point| {
            let off = scene.off(channel, own).sense;
            (i64::from(codes.sense) - own.sense).abs() <= off
        };
        let own = point(channel.number());
        if scene.shows(channel, seen.codes[channel.index()], own) {
            continue;
        }
        let other = scene
            .channels()
            .find(|other| *other != channel && is(point(other.number())));
        let hint = match other {
            Some(other) => format!(": that is what was applied to {other}"),
            None => format!(", and {} and {} were applied to it", own.sense, own.rail),
        };
        let (sense, rail) = (codes.sense, codes.rail);
        notes.find(format!(
            "{channel}: sense code {sense} and rail code {rail} read{hint}"
        ))?;
    }
    Ok(())
}

/// Every pair of ranges on each channel, beside others in the first.
pub(super) fn ranges(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let (senses, rails) = (scene.info.sense_ranges.len(), scene.info.rail_ranges.len());
    if senses * rails == 1 {
        return not_applicable("PartInfo: one range of each input");
    }
    for one in scene.channels() {
        for places in (0..senses).flat_map(|sense| (0..rails).map(move |rail| (sense, rail))) {
            let mut setup = scene.fast();
            setup.ranges[one.index()] = Some(places);
            if !scene.subject.takes(&setup) {
                continue;
            }
            let seen = scene.running_in(PLAIN, &setup)?.rig.sample()?;
            for channel in scene.channels() {
                let places = setup.ranges[channel.index()].unwrap_or_default();
                let point = scene.distinct(places, channel);
                scene.judge(notes, &seen, channel, places, point)?;
            }
        }
    }
    Ok(())
}

/// Every choice of channels (of those with few channels; else each alone and the first so many).
pub(super) fn enabled_channels(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let singles = (0..scene.count).map(|channel| 1_u32 << channel);
    let firsts = (1..=scene.count).map(|count| (1 << count) - 1);
    let few = 1..(if scene.count <= 4 {
        1 << scene.count
    } else {
        1
    });
    for choice in few.chain(singles).chain(firsts) {
        let mut setup = scene.fast();
        let is_enabled = |number: u8| choice >> number & 1 == 1;
        let left_out = scene
            .channels()
            .filter(|channel| !is_enabled(channel.number()));
        left_out.for_each(|channel| setup.ranges[channel.index()] = None);
        let seen = scene.running_in(PLAIN, &setup)?.rig.sample()?;
        for channel in scene.channels().filter(|it| is_enabled(it.number())) {
            let point = scene.own(channel);
            scene.judge(notes, &seen, channel, scene.first(channel), point)?;
        }
    }
    Ok(())
}

/// Power is the product of both codes, of either sign.
pub(super) fn power(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let (max, min, rail) = (scene.full().sense, scene.least(), scene.full().rail);
    let mut trial = scene.running(PLAIN)?;
    for (sense, rail) in [
        (max / 3, rail / 2),
        (max, rail),
        (min / 3, rail / 2),
        (min, rail),
    ] {
        let point = Point { sense, rail };
        trial.apply_all(point);
        let seen = trial.settled()?;
        for channel in scene.channels() {
            let (expected, off) = scene.power(channel, point);
            notes.tried();
            let read = seen.codes[channel.index()].unwrap_or_default().power;
            if (read - expected).abs() <= off {
                continue;
            }
            let hint = match (read < 0) != (expected < 0) && expected != 0 {
                true => ": the sign bit was lost, or power is taken as unsigned",
                false if scene.info.power == Source::Driver => ": not the product of both codes",
                false => "",
            };
            notes.find(format!(
                "{channel}: sense code {sense} and rail code {rail} applied, power code {read} \
                 read, expected {expected} ± {off}{hint}"
            ))?;
        }
    }
    Ok(())
}

/// Whatever the controller reads at once, the sample is the same.
pub(super) fn read_in_pieces(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for read_max in [
        2, 3, 5, 8, 9, 13, 16, 24, 31, 32, 64, 100, 110, 111, 112, 254, 255,
    ] {
        notes.tried();
        let mut trial = scene.running(How { read_max, ..PLAIN })?;
        let guess = "are pieces put at another place than they were read from?";
        let place = format!("read in pieces of at most {read_max} bytes");
        let seen = match trial.settled() {
            Ok(seen) => seen,
            Err(error) => {
                notes.find(format!("{place}: {error}: {guess}"))?;
                continue;
            }
        };
        if let Some(wrong) = trial.wrong(&seen) {
            notes.find(format!("{place}: {wrong}: {guess}"))?;
        }
        // A register is read whole: eight bytes at the most, and its check byte.
        let most = usize::from(read_max.max(9));
        if let Some(transfer) = trial.tap.log().iter().find(|transfer| transfer.read > most) {
            let (read, register) = (transfer.read, transfer.register);
            notes.find(format!(
                "{place}: {read} bytes were read in one transfer from register 0x{register:02X} \
                 on; one register, of nine bytes with its check byte, is the most: is \
                 `link.read_max()` kept to?"
            ))?;
        }
    }
    Ok(())
}
