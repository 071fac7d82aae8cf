//! Exact bytes of the driver's operations on Corncrake: from the worked examples of section 10
//! where one matches, otherwise worked out with crate `crc`.

mod alerts;
mod errors;
mod operations;

use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Clock, Monitor, WithClock};
use crake_suite::examples::{Transfer, examples};
use crake_suite::markdown::Document;
use crake_suite::sample::sample_block;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

const ADDRESS: u8 = 0x32;
const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);
const NACK: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data);
/// Section 6: a scan of 8 conversions of 62.5 µs, 1.5 % slow, is 507.6 µs.
const SCAN_US: std::ops::Range<u32> = 508..600;
/// WRITES of example 2.
const WRITES: u16 = 7;
/// Block flags of section 5.
const COMPLETE: u16 = 0x4000;
const RESET_SEEN: u16 = 0x8000;

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

/// A worked example by its number.
fn example(number: u32) -> Transaction {
    let found = examples(&Document::corncrake())
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

/// The block of 10.1 with another tag, WRITES, mode and flags.
fn block(tag: u8, writes: u16, mode: u8, flags: u16) -> Vec<u8> {
    let mut block = sample_block(&Document::corncrake()).block;
    block[0] = tag;
    block[1..3].copy_from_slice(&writes.to_be_bytes());
    block[3] = mode;
    block[7..9].copy_from_slice(&flags.to_be_bytes());
    let check = GENIBUS.checksum(&block[..109]);
    block[109..].copy_from_slice(&check.to_be_bytes());
    block
}

/// A complete block of [`config`].
fn good(tag: u8) -> Vec<u8> {
    block(tag, WRITES, 0x10, COMPLETE)
}

/// Notes what it is asked for, in microseconds.
#[derive(Default)]
struct Delays(Vec<u32>);

impl DelayNs for Delays {
    fn delay_ns(&mut self, ns: u32) {
        self.0.push(ns / 1_000);
    }

    fn delay_us(&mut self, us: u32) {
        self.0.push(us);
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

const fn rail(milliohms_e3: u64) -> Rail {
    let resistance = Resistance::from_microohms(milliohms_e3);
    Rail::new(SenseResistor::new(resistance, Tolerance::ZERO))
}

/// Sense resistors of examples 21 to 23.
static BOARD: Board<4> =
    Corncrake::board(&[rail(10_000), rail(10_000), rail(12_500), rail(10_000)]);

const fn full_scale(sense_mv: i64, rail_mv: i64) -> FullScale {
    FullScale::new(
        Voltage::from_millivolts(sense_mv),
        Voltage::from_millivolts(rail_mv),
    )
}

/// That of example 4, with means and scan rate of examples 5 and 6.
fn config() -> Config<4> {
    let channels = [
        full_scale(65, 16_000),
        full_scale(26, 6_500),
        full_scale(65, 6_500),
        full_scale(26, 65_000),
    ];
    Config::continuous(channels, ScanRate::per_second(2_000)).averaging(4)
}

/// From identity to the last look, with channels, ranges, averaging and mode as bytes.
fn configure(
    fresh: bool,
    channels: u8,
    ranges: [u8; 2],
    averaging: u8,
    mode: u8,
) -> Vec<Transaction> {
    let mut steps = vec![example(1), write(&[0x03, 0x00, 0x00])];
    if fresh {
        steps.push(write(&[0x0A, 0x01]));
    }
    steps.extend(put(&[0x04, 0x00]));
    steps.extend(put(&[0x05, channels]));
    steps.extend(put(&[0x06, ranges[0], ranges[1]]));
    steps.extend(put(&[0x07, averaging]));
    steps.extend(put(&[0x04, mode]));
    steps.extend([example(2), read(0x0A, &[0x00])]);
    steps
}

/// `init` of [`config`].
fn init() -> Vec<Transaction> {
    configure(true, 0x0F, [0x60, 0x41], 4, 0x10)
}

/// A latch, and the block that comes of it.
fn latch(tag: u8, seen: u8, block: &[u8]) -> [Transaction; 2] {
    [write(&[0x03, tag, seen]), read(0x80, block)]
}

type TestMonitor = Monitor<'static, Mock, Delays, Corncrake, 4, WithClock<Ticks>>;

fn monitor(steps: &[Transaction]) -> TestMonitor {
    let part = Corncrake::new(Address::Strap0);
    Monitor::new(Mock::new(steps), Delays::default(), part, &BOARD).with_clock(Ticks(0))
}

/// Lets `run` work on the expected bytes; fails where it leaves some of it undone. Gives the delays
/// in order.
fn perform(steps: &[Transaction], run: impl FnOnce(&mut TestMonitor)) -> Vec<u32> {
    let mut monitor = monitor(steps);
    run(&mut monitor);
    let (mut mock, delays, _) = monitor.release();
    mock.done();
    delays.0
}
