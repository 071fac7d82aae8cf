//! Exact bytes of the driver's operations on Corncrake: from the worked examples of section 10 where one matches, otherwise worked out with crate `crc`.

mod alerts;
mod errors;
mod operations;

use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::corncrake::{self, Corncrake};
use crake::old::part::{BusRange, Joint, SenseRange};
use crake::old::units::{Current, Power, Resistance, Tolerance, Voltage};
use crake::old::{
    Came, Channel, Clock, Condition, Error, Fault, Mode, Monitor, NoReading, Ranges, Setup,
    ShuntMonitor, Side, Stamp, Task,
};
use crake_suite::{
    examples::{Transfer, examples},
    markdown::Document,
    sample::{reset_sample_block, sample_block},
};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

const ADDRESS: u8 = 0x32;
const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);
const NACK: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data);
/// Section 6: 1 ms after a reset; a round of 8 conversions of 62.5 µs, 1.5 % slow, is 507.6 µs.
const RESET_US: std::ops::Range<u64> = 1_000..1_200;
const ROUND_US: std::ops::Range<u64> = 508..600;

/// A write with its check byte.
fn write(bytes: &[u8]) -> Transaction {
    let check = PEC.checksum(&[&[ADDRESS << 1], bytes].concat());
    Transaction::write(ADDRESS, [bytes, &[check]].concat())
}

/// A read with its check byte.
fn read(pointer: u8, data: &[u8]) -> Transaction {
    let check = PEC.checksum(&[&[ADDRESS << 1, pointer, ADDRESS << 1 | 1], data].concat());
    Transaction::write_read(ADDRESS, vec![pointer], [data, &[check]].concat())
}

/// A write that is read back.
fn put(bytes: &[u8]) -> [Transaction; 2] {
    [write(bytes), read(bytes[0], &bytes[1..])]
}

/// A worked example by its number, as the driver does it.
fn example(number: u32) -> Transaction {
    let found = examples(&Document::old_corncrake())
        .into_iter()
        .find(|example| example.number == number);
    transaction(&found.expect("a worked example").transfer)
}

fn transaction(transfer: &Transfer) -> Transaction {
    match &transfer.parts()[..] {
        [write] => Transaction::write(write[0] >> 1, write[1..].to_vec()),
        [write, read] => {
            Transaction::write_read(write[0] >> 1, write[1..].to_vec(), read[1..].to_vec())
        }
        _ => panic!("{transfer:?}"),
    }
}

/// The block of 10.1 with another tag, set-up serial and flags.
fn block(tag: u8, serial: u16, flags: u16) -> Vec<u8> {
    let mut block = sample_block(&Document::old_corncrake()).block;
    block[0] = tag;
    block[1..3].copy_from_slice(&serial.to_be_bytes());
    block[7..9].copy_from_slice(&flags.to_be_bytes());
    let check = GENIBUS.checksum(&block[..109]);
    block[109..].copy_from_slice(&check.to_be_bytes());
    block
}

const COMPLETE: u16 = 0x4000;

/// Notes what it is asked for.
#[derive(Default)]
struct Delays(Vec<u64>);

impl DelayNs for Delays {
    fn delay_ns(&mut self, ns: u32) {
        self.0.push(u64::from(ns / 1_000));
    }
}

/// One microsecond later each time.
struct Ticks(u64);

impl Clock for Ticks {
    fn now_us(&mut self) -> u64 {
        self.0 += 1;
        self.0
    }
}

fn board<const N: usize>() -> Board<N> {
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
    Board::new(
        &corncrake::SPEC,
        [Rail::new(shunt, Load::smooth(Current::from_amps(7))); N],
    )
    .expect("a board")
}

/// That of example 4, with paces and means of examples 5 and 6.
fn setup() -> Setup<4> {
    let ranges = |sense, bus| {
        Some(Ranges {
            sense: SenseRange(sense),
            bus: BusRange(bus),
        })
    };
    Setup {
        channels: [ranges(0, 1), ranges(1, 0), ranges(0, 0), ranges(1, 2)],
        mode: Mode::Paced(corncrake::PACE_2000),
        averaging: 4,
    }
}

/// The registers of [`setup`], then RUN with example 6's tag.
fn set_up() -> Vec<Transaction> {
    let mut steps = put(&[0x05, 0x0F]).to_vec();
    steps.extend([
        example(4),
        read(0x06, &[0x60, 0x41]),
        example(5),
        read(0x07, &[0x04]),
    ]);
    steps
}

fn init() -> Vec<Transaction> {
    let mut steps = vec![example(1), write(&[0x09, 0xA5])];
    steps.extend(put(&[0x08, 0x01]));
    steps.push(write(&[0x0A, 0x01]));
    steps.extend(set_up());
    steps.extend([example(6), read(0x80, &block(1, 5, 0))]);
    steps
}

/// Example 7 with the check byte that the driver always sends, and the block that comes of it.
fn latch(tag: u8, seen: u8, block: &[u8]) -> [Transaction; 2] {
    [write(&[0x03, tag, seen]), read(0x80, block)]
}

type TestMonitor<'b, const N: usize> = Monitor<'b, Mock, Delays, Ticks, Corncrake, N>;

/// Lets `run` work on the expected bytes; fails where it leaves some of it undone. Returns the delays in order.
fn perform<const N: usize>(
    steps: &[Transaction],
    run: impl FnOnce(&mut TestMonitor<'_, N>),
) -> Vec<u64> {
    let board = board();
    let mock = Mock::new(steps);
    let mut monitor = Monitor::new(
        mock,
        Delays::default(),
        Ticks(0),
        Corncrake::new(),
        ADDRESS,
        &board,
    );
    run(&mut monitor);
    let (mut mock, delays, _) = monitor.release();
    mock.done();
    delays.0
}
