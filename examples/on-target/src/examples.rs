//! The worked examples of the datasheet's section 10: played to the model byte by byte, and worked out by the driver.

use alloc::vec::Vec;
use core::fmt::Write;

use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::crc::Pec;
use crake::old::part::corncrake::{Corncrake, SPEC};
use crake::old::part::{BusRange, Codec, SenseRange};
use crake::old::units::{Current, Resistance, Tolerance, Voltage};
use crake::old::{Channel, Mode};
use crake_sim::old::corncrake::Output;

use crate::Wrong;
use crate::desk::Desk;

/// One of what is seen on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Token {
    /// START.
    Start,
    /// Repeated START.
    Restart,
    /// A byte, address bytes included.
    Byte(u8),
    /// STOP.
    Stop,
}

/// A row of the table of worked examples.
#[derive(Clone, Copy, Debug)]
pub struct Example {
    /// The number in the first column.
    pub number: u32,
    /// What the transfer does.
    pub what: &'static str,
    /// What is on the wire.
    pub wire: &'static [Token],
    /// Whether the part refuses it.
    pub refused: bool,
    /// The last column by name, in the unit that stands there.
    pub values: &'static [(&'static str, i128)],
}

include!(concat!(env!("OUT_DIR"), "/examples.rs"));

impl Example {
    /// A value of the last column.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<i128> {
        named(self.values, name)
    }

    fn bytes(&self) -> Vec<u8> {
        bytes(self.wire)
    }
}

fn bytes(wire: &[Token]) -> Vec<u8> {
    let byte = |token: &Token| match token {
        Token::Byte(byte) => Some(*byte),
        _ => None,
    };
    wire.iter().filter_map(byte).collect()
}

fn named(values: &[(&str, i128)], name: &str) -> Option<i128> {
    let found = values.iter().find(|(other, _)| *other == name);
    found.map(|(_, value)| *value)
}

/// Plays and works out every example, then the two frame blocks; one line each.
///
/// # Errors
/// The first that does not come out.
pub fn run(out: &mut dyn Write) -> Result<(), Wrong> {
    for example in EXAMPLES {
        let wrong = |what| Err(Wrong::Example(example.number, what));
        match prepared(example)?.play(example.wire) {
            Some(acknowledged) if acknowledged != example.refused => {}
            Some(_) => {
                return wrong(
                    "acknowledged by the part where it must not be, or the other way round",
                );
            }
            None => return wrong("the part answers other bytes"),
        }
        check_byte(example)?;
        quantities(out, example)?;
    }
    let desk = Desk::new()?;
    if desk.play(AFTER_RESET) != Some(true) {
        return Err(Wrong::Mission("the block after a reset is another one"));
    }
    block(out)
}

/// The part in the state that the example begins with.
fn prepared(example: &Example) -> Result<Desk, Wrong> {
    let bytes = example.bytes();
    let pointer = bytes.get(1).copied().unwrap_or_default();
    let reads = example.what.starts_with("read");
    let channel = usize::from(pointer % 4);
    let desk = Desk::new()?;
    match pointer {
        0x60..=0x6B if reads => converting(&desk, pointer, example)?,
        0x6C..=0x73 if reads => {
            let code = example.value("code").unwrap_or_default() as i64;
            desk.part.preload(channel, code, code)?;
        }
        0x01 if reads => (0..7).for_each(|_| desk.write(0x07, &[1])),
        0x37 => {
            // Over-current of channel 3, all else cleared.
            desk.write(0x05, &[0x08]);
            desk.write(0x2A, &[0, 0, 10]);
            desk.write(0x34, &[0x72, 0, 0]);
            desk.steady(3, 11 * 500, 0, 1_000_000_000)?;
            desk.write(0x04, &[0x20, 1, 0]);
            desk.run_conversions(6);
            desk.write(0x37, &[0x60, 0, 0]);
        }
        _ if example.what == "alert response" => {
            desk.write(0x35, &[0x40, 0, 0]);
            if !desk.part.is_low(Output::A) {
                return Err(Wrong::Example(example.number, "output A is not low"));
            }
        }
        _ => {}
    }
    Ok(desk)
}

/// Converts what the example says, in the ranges that it says, for more than a round.
fn converting(desk: &Desk, pointer: u8, example: &Example) -> Result<(), Wrong> {
    let channel = usize::from(pointer % 4);
    let value = |name| example.value(name).unwrap_or_default();
    let (sense_range, bus_range) = (value("sense range"), value("bus range"));
    let ranges = ((sense_range << 2 | bus_range) as u16) << (4 * channel);
    desk.write(0x06, &ranges.to_be_bytes());
    let nano_ohms = example.value("resistance").unwrap_or(1_000_000_000);
    let code = value("code");
    let (sense, bus) = match pointer {
        0x60..=0x63 => (code, 0),
        0x64..=0x67 => (0, code),
        // A product of the two codes in both examples: those of the frame block.
        _ if code > 0 => (84_000, 33_000),
        _ => (-7_500, 48_250),
    };
    let sense_nv = sense * [500, 200][sense_range as usize & 1];
    let bus_nv = bus * [100_000, 250_000, 1_000_000, 1_000_000][bus_range as usize & 3];
    let current_na = sense_nv * 1_000_000_000 / nano_ohms;
    desk.steady(channel, current_na as i64, bus_nv as i64, nano_ohms as u64)?;
    desk.write(0x04, &[0x14, 0x77, 0]);
    desk.run_conversions(12);
    Ok(())
}

/// The driver's own check byte over the transfer.
fn check_byte(example: &Example) -> Result<(), Wrong> {
    if example.what.contains("no check byte") {
        return Ok(());
    }
    let bytes = example.bytes();
    let mut pec = Pec::new();
    let good = bytes.split_last().is_some_and(|(last, covered)| {
        pec.add_all(covered);
        pec.value() == *last
    });
    if good == example.refused {
        return Err(Wrong::Example(example.number, "check byte"));
    }
    Ok(())
}

/// What the driver makes of the codes.
fn quantities(out: &mut dyn Write, example: &Example) -> Result<(), Wrong> {
    let Some(code) = example.value("code") else {
        writeln!(out, "example {}: {}", example.number, example.what)?;
        return Ok(());
    };
    let wrong = |what| Err(Wrong::Example(example.number, what));
    let lsb = |name, ranges: &[crake::old::part::RangeSpec]| {
        let range = example.value(name).unwrap_or_default();
        ranges
            .get(range as usize)
            .map_or(0, |range| i128::from(range.lsb_units))
    };
    let (sense_lsb, bus_lsb) = (lsb("sense range", SPEC.sense), lsb("bus range", SPEC.bus));
    let ohms = example.value("resistance").unwrap_or(1_000_000_000);
    let shunt = Shunt::new(Resistance::from_nanoohms(ohms as u64), Tolerance::ZERO);
    let load = Load::smooth(Current::from_amps(20));
    let Ok(board) = Board::new(&SPEC, [Rail::new(shunt, load)]) else {
        return wrong("no such board");
    };
    let [rail] = board.rails();
    let current = rail.current((code * sense_lsb) as i32);
    let voltage = Voltage::from_nanovolts((code * bus_lsb * 50_000) as i64);
    let power = rail.power((code * sense_lsb * bus_lsb) as i64, voltage);
    let sense_nv = code * sense_lsb * i128::from(SPEC.sense_unit_nv);
    write!(out, "example {}: {}", example.number, example.what)?;
    for (name, expected) in example.values {
        let got = match *name {
            "current" => i128::from(current.as_nanoamps()),
            "voltage" => i128::from(voltage.as_nanovolts()),
            "power" => i128::from(power.as_nanowatts()),
            "sense voltage" => sense_nv,
            _ => continue,
        };
        write!(out, ", {name} {got}")?;
        if got != *expected {
            return wrong("a quantity");
        }
    }
    writeln!(out)?;
    Ok(())
}

/// The frame block of section 10.1, as the driver's decoder reads it.
fn block(out: &mut dyn Write) -> Result<(), Wrong> {
    let wire = bytes(BLOCK);
    let block = wire.get(3..).unwrap_or_default();
    let part = Corncrake::new();
    let head = part.head(block);
    let Mode::Paced(pace) = head.mode else {
        return Err(Wrong::Mission("the worked block's mode"));
    };
    let flags = named(FIELDS, "flags").unwrap_or_default();
    let ranges = named(FIELDS, "ranges").unwrap_or_default();
    let set_up = named(FIELDS, "set-up").unwrap_or_default();
    let mut pairs = Vec::from([
        (named(FIELDS, "serial"), i128::from(head.serial)),
        (named(FIELDS, "mode"), i128::from(0x10 | pace.0)),
        (named(FIELDS, "rounds"), i128::from(head.rounds)),
        (Some(set_up >> 4), i128::from(head.averaging)),
        (Some(flags >> 15 & 1), i128::from(head.reset_seen)),
        (Some(flags >> 14 & 1), i128::from(head.complete)),
    ]);
    for channel in Channel::first(4) {
        let (codes, counters) = (part.codes(block, channel), part.counters(block, channel));
        let number = channel.number();
        let field = |name: &str| {
            let mut fields = FIELDS.iter();
            let found = fields.find(|(other, _)| {
                other.split_once(' ') == Some((name, ["0", "1", "2", "3"][usize::from(number & 3)]))
            });
            found.map(|(_, value)| *value)
        };
        let bits = ranges >> (4 * number);
        let in_range = part.ranges(block, channel).map(|ranges| {
            let (SenseRange(sense), BusRange(bus)) = (ranges.sense, ranges.bus);
            i128::from(sense << 2 | bus)
        });
        pairs.extend([
            (field("sense"), i128::from(codes.sense)),
            (field("bus"), i128::from(codes.bus)),
            (field("power"), i128::from(codes.power)),
            (field("charge"), i128::from(counters.charge)),
            (field("energy"), i128::from(counters.energy)),
            (in_range, bits & 0xF),
            (
                Some(flags >> (2 * number) & 1),
                i128::from(codes.sense_clipped),
            ),
            (
                Some(flags >> (2 * number + 1) & 1),
                i128::from(codes.bus_clipped),
            ),
        ]);
    }
    write!(out, "block:")?;
    for (expected, got) in pairs {
        write!(out, " {got}")?;
        if expected != Some(got) {
            return Err(Wrong::Mission("the worked block decodes differently"));
        }
    }
    writeln!(out)?;
    Ok(())
}
