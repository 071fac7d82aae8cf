//! Firmware starts over while the part runs on.

use crate::desk::{assert_within, board, rig, setup};
use crake::old::alert::{Causes, Limit, Outputs, Watch, Watches};
use crake::old::ledger::{Break, Entry, Ledger};
use crake::old::part::corncrake::{Corncrake, PACE_500, PACE_2000, SPEC};
use crake::old::part::{Counters, Joint};
use crake::old::units::Current;
use crake::old::{Came, Channel, Condition, Error, Fault, Monitor, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::bus::Logging;
use crake_sim::part::Target;
use crake_suite::rig::{ADDRESS, Rig};
use embedded_hal::i2c::I2c;
use std::{cell::RefCell, rc::Rc};

const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);

/// What an attempt to attach came to, other than bus errors.
fn fault<E: std::fmt::Debug>(outcome: Result<(), Error<E>>) -> Fault {
    match outcome {
        Err(Error {
            came: Came::Fault(fault),
            ..
        }) => fault,
        other => panic!("{other:?} instead of a fault"),
    }
}

/// A transfer of somebody else, with the right check byte (datasheet, 2.3).
fn foreign_write(rig: &Rig, register: u8, data: &[u8]) {
    let mut bytes = vec![register];
    bytes.extend(data);
    let covered: Vec<u8> = std::iter::once(ADDRESS << 1)
        .chain(bytes.iter().copied())
        .collect();
    bytes.push(PEC.checksum(&covered));
    rig.bench.i2c().write(ADDRESS, &bytes).expect("a write");
}

/// The block in place was copied when the set-up took over, and the limits were written after that.
#[test]
fn firmware_that_starts_over_right_after_arming_joins_as_well() {
    let (rig, board) = (rig(24), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    let setup = setup(PACE_2000);
    ledger.update(&monitor.init(&setup).expect("init"));
    rig.pass_ms(100);
    let limit = Limit::OverCurrent(Current::from_milliamps(900));
    let watches = [Watch::new(Channel::C0, limit).held().to(Outputs::A)];
    let watches = Watches::limits(&watches);
    let armed = monitor.arm(&setup, &watches, &mut Causes::empty());
    assert_eq!(ledger.update(&armed.expect("arm")), Entry::Turned);
    let joint = monitor.joint();
    drop(monitor);
    rig.pass_ms(100);
    let mut monitor = rig.monitor(&board);
    let frame = monitor.attach(&joint).expect("the part runs on");
    assert_eq!(ledger.update(&frame), Entry::Added);
    assert_eq!((ledger.epoch(), ledger.gap().greatest_us), (0, 0));
}

#[test]
fn a_watchdog_reset_of_the_firmware_loses_no_count() {
    let (rig, board) = (rig(21), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&setup(PACE_2000)).expect("init"));
    let start = rig.at_latch();
    let mut first = None;
    for _ in 0..5 {
        rig.pass_ms(997);
        let frame = monitor.latch().expect("a frame");
        assert_eq!(ledger.update(&frame), Entry::Added);
        first.get_or_insert((frame.counters(Channel::C1), frame.head().rounds));
    }
    // Kept in memory that survives: the ledger and this. The monitor is gone in the middle of things.
    let joint = monitor.joint();
    drop(monitor);
    rig.pass_ms(2_345);
    let mut monitor = rig.monitor(&board);
    let frame = monitor.attach(&joint).expect("the part runs on");
    assert_eq!(frame.condition(), Condition::Steady);
    assert_eq!(ledger.update(&frame), Entry::Added);
    let mut last = (Counters::default(), 0);
    for _ in 0..5 {
        rig.pass_ms(997);
        let frame = monitor.latch().expect("a frame");
        assert_eq!(ledger.update(&frame), Entry::Added);
        last = (frame.counters(Channel::C1), frame.head().rounds);
    }
    assert_eq!(
        (ledger.epoch(), ledger.gap().greatest_us),
        (0, 0),
        "one epoch, no gap"
    );
    assert_within(&ledger, &rig.at_latch().since(&start));

    // The part counted from 0 at `init`, so its own sum is all there is: 200 nV over 100 mΩ and 500 µs a code, exactly.
    assert!(first.is_some_and(|first| first.0.charge < last.0.charge && first.1 < last.1));
    let account = ledger.account(Channel::C1).expect("a rail");
    assert_eq!(
        account.charge_by_part_clock.as_nanocoulombs(),
        i128::from(last.0.charge) * 200 * 500 / 100_000
    );
}

/// The same firmware, after the part was reset meanwhile.
#[test]
fn attach_is_refused_after_a_reset_of_the_part() {
    let (rig, board) = (rig(22), board());
    let mut monitor = rig.monitor(&board);
    monitor.init(&setup(PACE_2000)).expect("init");
    let joint = monitor.joint();
    rig.part.brown_out();
    rig.pass_ms(5);
    let mut monitor = rig.monitor(&board);
    assert_eq!(fault(monitor.attach(&joint).map(drop)), Fault::ResetSeen);
    // `init` is what remains.
    monitor.init(&setup(PACE_2000)).expect("init");
    rig.pass_ms(100);
    assert!(
        monitor
            .latch()
            .expect("a frame")
            .reading(Channel::C1)
            .is_ok()
    );
}

/// ... and after somebody else wrote AVERAGING. The refusal changes nothing in the part.
#[test]
fn attach_is_refused_after_a_strangers_write() {
    let (rig, board) = (rig(23), board());
    let mut monitor = rig.monitor(&board);
    monitor.init(&setup(PACE_500)).expect("init");
    let Joint { serial } = monitor.joint();
    foreign_write(&rig, 0x07, &[2]);
    rig.pass_ms(100);
    rig.bench.set_logging(Logging::Full);
    let mut monitor = rig.monitor(&board);
    let refused = fault(monitor.attach(&Joint { serial }).map(drop));
    let expected = Fault::SetUpChanged {
        expected: serial,
        got: serial + 1,
    };
    assert_eq!(refused, expected);
    // Nothing was written but pointers (S, address, pointer, Sr) and, where the block in place was older than the change, LATCH.
    let log = rig.bench.log();
    assert!(!log.is_empty());
    for transaction in &log {
        let shown = transaction.to_string();
        let reads = shown.find(" Sr 65 ") == Some("S 64 00".len());
        assert!(reads || shown.starts_with("S 64 03 "), "{shown}");
    }
    // While it runs, the frame tells the same.
    let mut knowing = rig.monitor(&board);
    let joint = Joint { serial: serial + 1 };
    knowing.attach(&joint).expect("the serial fits");
    foreign_write(&rig, 0x07, &[0]);
    let changed = Fault::SetUpChanged {
        expected: serial + 1,
        got: serial + 2,
    };
    assert_eq!(fault(knowing.latch().map(drop)), changed);
}

#[test]
fn the_ledger_ends_the_epoch_after_a_strangers_write() {
    let (rig, board) = (rig(24), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&setup(PACE_2000)).expect("init"));
    let start = rig.at_latch();
    rig.pass_ms(3_000);
    ledger.update(&monitor.latch().expect("a frame"));
    let flowed = rig.at_latch().since(&start);
    foreign_write(&rig, 0x07, &[5]);
    rig.pass_ms(1_000);
    assert!(monitor.latch().is_err());
    // The set-up is put right without a reset; the frame of that moment is not known to go on from the one before.
    let frame = monitor.configure(&setup(PACE_2000)).expect("a set-up");
    let broken = Entry::Broken {
        reason: Break::SetUpChanged,
        reopened: true,
    };
    assert_eq!(ledger.update(&frame), broken);
    let again = rig.at_latch();
    rig.pass_ms(2_000);
    ledger.update(&monitor.latch().expect("a frame"));
    assert_eq!(ledger.epoch(), 1);
    assert_within(&ledger, &rig.at_latch().since(&again).and(&flowed));
}

/// A target at the part's address that is something else: acknowledges all, and reads zeros with right check bytes.
struct Stranger {
    covered: Vec<u8>,
    offered: u8,
}

impl Target for Stranger {
    fn advance(&mut self, _: u64) {}
    fn start(&mut self) {}
    fn address(&mut self, byte: u8) -> bool {
        if byte & 1 == 0 {
            self.covered.clear();
        }
        self.covered.push(byte);
        self.offered = 0;
        byte >> 1 == ADDRESS
    }
    fn write(&mut self, byte: u8) -> bool {
        self.covered.push(byte);
        true
    }
    fn offer(&mut self) -> u8 {
        self.offered += 1;
        if self.offered <= 4 {
            self.covered.push(0);
            0
        } else {
            PEC.checksum(&self.covered)
        }
    }
    fn settle(&mut self, _: u8) {}
    fn stop(&mut self) {}
    fn incomplete_byte(&mut self) {}
}

#[test]
fn attach_and_init_refuse_a_part_that_is_another() {
    let bench = Bench::new(25);
    let stranger = Rc::new(RefCell::new(Stranger {
        covered: Vec::new(),
        offered: 0,
    }));
    bench.attach(ADDRESS, stranger).expect("a free address");
    let board = board();
    let mut monitor = Monitor::new(
        bench.i2c(),
        bench.delay(),
        Stopped,
        Corncrake::new(),
        ADDRESS,
        &board,
    );
    let expected = Fault::Identity {
        expected: 0x9E37_C401,
        got: 0,
    };
    let joint = Joint { serial: 6 };
    assert_eq!(fault(monitor.attach(&joint).map(drop)), expected);
    assert_eq!(fault(monitor.init(&setup(PACE_2000)).map(drop)), expected);
}

/// A clock that nobody asks here.
struct Stopped;

impl crake::old::Clock for Stopped {
    fn now_us(&mut self) -> u64 {
        0
    }
}
