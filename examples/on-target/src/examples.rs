//! The worked examples of the datasheet's section 10: played to the model byte by byte, and worked
//! out by the driver.

use alloc::vec::Vec;
use core::fmt::Write;

use crake::board::{Board, Rail, SenseResistor, rail_voltage};
use crake::config::{ChannelRange, Config, FullScale, ScanRate};
use crake::crc::Pec;
use crake::info::RangeInfo;
use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, Sample, ShuntMonitor, TimedSample};
use crake_sim::part::corncrake::Output;

use crate::Wrong;
use crate::fixture::Fixture;
use crate::replay::{Bus, Pause, Ticks};

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

    /// The ranges that it is in, as far as it says.
    fn range(&self) -> ChannelRange {
        let place = |name| self.value(name).unwrap_or_default() as u8;
        let lsb = |ranges: &[RangeInfo], place: u8| {
            let range = ranges.get(usize::from(place));
            range.map_or(0, |range| range.lsb_units)
        };
        let (sense, rail) = (place("sense range"), place("rail range"));
        ChannelRange {
            sense,
            rail,
            sense_lsb: lsb(INFO.sense_ranges, sense),
            rail_lsb: lsb(INFO.rail_ranges, rail),
        }
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

/// Plays and works out every example, then the two sample blocks; one line each.
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
    let fixture = Fixture::new()?;
    if fixture.play(AFTER_RESET) != Some(true) {
        return Err(Wrong::Mission("the block after a reset is another one"));
    }
    block(out)
}

/// The part in the state that the example begins with.
fn prepared(example: &Example) -> Result<Fixture, Wrong> {
    let bytes = example.bytes();
    let pointer = bytes.get(1).copied().unwrap_or_default();
    let reads = example.what.starts_with("read");
    let channel = usize::from(pointer % 4);
    let fixture = Fixture::new()?;
    match pointer {
        0x60..=0x6B if reads => converting(&fixture, pointer, example)?,
        0x6C..=0x73 if reads => {
            let code = example.value("code").unwrap_or_default() as i64;
            fixture.part.preload(channel, code, code)?;
        }
        0x01 if reads => (0..7).for_each(|_| fixture.write(0x07, &[1])),
        0x04 if example.what == "stop" => fixture.write(0x04, &[0x14]),
        0x37 => {
            // Over-current of channel 3, all else cleared.
            fixture.write(0x05, &[0x08]);
            fixture.write(0x2A, &[0, 0, 10]);
            fixture.write(0x34, &[0x72, 0, 0]);
            fixture.steady(3, 11 * 500, 0, 1_000_000_000)?;
            fixture.write(0x04, &[0x20]);
            fixture.run_conversions(6);
            fixture.write(0x0A, &[1]);
            fixture.write(0x37, &[0x20, 0, 0]);
        }
        0x78 | 0x7A if reads => captured(&fixture, example)?,
        _ if example.what == "alert response" => {
            fixture.write(0x35, &[0x40, 0, 0]);
            if !fixture.part.is_low(Output::A) {
                return Err(Wrong::Example(example.number, "output A is not low"));
            }
        }
        _ => {}
    }
    Ok(fixture)
}

/// Converts what the example says, in the ranges that it says, for more than a scan.
fn converting(fixture: &Fixture, pointer: u8, example: &Example) -> Result<(), Wrong> {
    let channel = usize::from(pointer % 4);
    let range = example.range();
    let ranges = u16::from(range.sense << 2 | range.rail) << (4 * channel);
    fixture.write(0x06, &ranges.to_be_bytes());
    let nano_ohms = example.value("resistance").unwrap_or(1_000_000_000);
    let code = example.value("code").unwrap_or_default();
    let (sense, rail) = match pointer {
        0x60..=0x63 => (code, 0),
        0x64..=0x67 => (0, code),
        // A product of the two codes in both examples: those of the sample block.
        _ if code > 0 => (84_000, 33_000),
        _ => (-7_500, 48_250),
    };
    // Sections 3.4 and 4.
    let sense_nv = sense * [500, 200][usize::from(range.sense & 1)];
    let rail_nv = rail * [100_000, 250_000, 1_000_000, 1_000_000][usize::from(range.rail & 3)];
    let current_na = sense_nv * 1_000_000_000 / nano_ohms;
    fixture.steady(channel, current_na as i64, rail_nv as i64, nano_ohms as u64)?;
    fixture.write(0x04, &[0x14]);
    fixture.run_conversions(12);
    Ok(())
}

/// A capture on channel 1 that has ended, with the example's codes from index 1021 on.
fn captured(fixture: &Fixture, example: &Example) -> Result<(), Wrong> {
    let last = ["code 0", "code 1", "code 2"].map(|name| example.value(name).unwrap_or_default());
    let codes = (0..1021).chain(last.map(|code| code as i64));
    fixture.codes(1, codes.collect())?;
    fixture.write(0x06, &[0, 0]);
    fixture.write(0x04, &[0x31]);
    fixture.run_conversions(1_100);
    fixture.write(0x79, &[0x03, 0xFD, 3]);
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
    let range = example.range();
    let ohms = example.value("resistance").unwrap_or(1_000_000_000);
    let resistance = Resistance::from_nanoohms(ohms as u64);
    let board = Corncrake::board(&[Rail::new(SenseResistor::new(resistance, Tolerance::ZERO))]);
    let Some(factors) = board.factors(Channel::C0).filter(|it| it.is_usable()) else {
        return Err(Wrong::Example(example.number, "no such board"));
    };
    let sense_unit_nv = i128::from(INFO.sense_unit.as_nanovolts());
    write!(out, "example {}: {}", example.number, example.what)?;
    for (name, expected) in example.values {
        let got = match *name {
            "current" => factors.current(&range, code as i32).as_nanoamps().into(),
            "voltage" => rail_voltage(&INFO, &range, code as u32)
                .as_nanovolts()
                .into(),
            "power" => factors.power(&range, code as i64, 0).as_nanowatts().into(),
            "sense voltage" => code * i128::from(range.sense_lsb) * sense_unit_nv,
            _ => continue,
        };
        write!(out, ", {name} {got}")?;
        if got != *expected {
            return Err(Wrong::Example(example.number, "a quantity"));
        }
    }
    writeln!(out)?;
    Ok(())
}

/// 1 Ω each: what a resistor is makes no difference to codes.
static BOARD: Board<4> = Corncrake::board(
    &[Rail::new(SenseResistor::new(
        Resistance::from_ohms(1),
        Tolerance::ZERO,
    )); 4],
);

/// The configuration of the block of section 10.1.
const CONFIG: Config<4> = Config::continuous(
    [
        full_scale(65, 16),
        full_scale(26, 6),
        full_scale(65, 6),
        full_scale(26, 65),
    ],
    ScanRate::per_second(500),
)
.averaging(4);

const fn full_scale(sense_mv: i64, rail_v: i64) -> FullScale {
    FullScale::new(
        Voltage::from_millivolts(sense_mv),
        Voltage::from_volts(rail_v),
    )
}

/// The sample block of section 10.1, as the driver decodes it.
fn block(out: &mut dyn Write) -> Result<(), Wrong> {
    let wrong = Wrong::Mission("the worked block decodes differently");
    let field = |name: &str| named(FIELDS, name);
    let block = bytes(BLOCK);
    let block = block.get(3..).and_then(|rest| rest.first_chunk());
    let writes = field("writes").and_then(|writes| u32::try_from(writes).ok());
    let (Some(block), Some(writes)) = (block, writes) else {
        return Err(wrong);
    };
    let part = Corncrake::new(Address::Strap0);
    let mut monitor =
        Monitor::new(Bus::new(*block), Pause, part, &BOARD).with_clock(Ticks::default());
    let Ok(sample) = monitor.resume(
        &CONFIG,
        ResumeToken {
            writes,
            configuration: 0,
        },
    ) else {
        return Err(wrong);
    };
    let mut pairs = Vec::from([(field("scans"), i128::from(sample.scans()))]);
    let (flags, ranges) = (field("flags").ok_or(wrong)?, field("ranges").ok_or(wrong)?);
    for channel in Channel::first(4) {
        let (codes, sums) = (sample.codes(channel), sample.sums(channel));
        let number = channel.number();
        let of_channel = |name: &str| {
            let mut fields = FIELDS.iter();
            let digit = ["0", "1", "2", "3"][usize::from(number & 3)];
            let found = fields.find(|(other, _)| other.split_once(' ') == Some((name, digit)));
            found.map(|(_, value)| *value)
        };
        let range = sample.readable(channel).ok_or(wrong)?;
        pairs.extend([
            (of_channel("sense"), codes.sense.into()),
            (of_channel("rail"), codes.rail.into()),
            (of_channel("power"), codes.power.into()),
            (of_channel("charge"), sums.charge.into()),
            (of_channel("energy"), sums.energy.into()),
            (
                Some(ranges >> (4 * number) & 0xF),
                (range.sense << 2 | range.rail).into(),
            ),
            (Some(flags >> (2 * number) & 1), codes.sense_clipped.into()),
            (
                Some(flags >> (2 * number + 1) & 1),
                codes.rail_clipped.into(),
            ),
        ]);
    }
    write!(out, "block:")?;
    for (expected, got) in pairs {
        write!(out, " {got}")?;
        if expected != Some(got) {
            return Err(wrong);
        }
    }
    writeln!(out)?;
    Ok(())
}
