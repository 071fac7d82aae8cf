//! Somebody else writes to the part, its supply dips or is gone on purpose, the firmware restarts,
//! the controller can do little: what the monitor says then, and what totals make of it.

use std::cell::Cell;
use std::rc::Rc;

use crake::bus::Fault;
use crake::config::{Config, Mode};
use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake};
use crake::totals::{Discontinuity, Gap, Totals, Update};
use crake::{Channel, Clock, Error, Monitor, NoReading, Sample, ShuntMonitor, TimedSample};
use crake_sim::bench::I2c as BenchI2c;
use crake_sim::bus::{BusError, Event, Logging, Restart};
use embedded_hal::i2c::I2c as _;

use crate::fixture::{ADDRESS, BOARD, Blocking, CHANNELS, FINE_SENSE, Fixture, fast};

/// Somebody else's write, with the right check byte (section 2.3).
fn foreign_write(fixture: &Fixture, register: u8, data: &[u8]) {
    let smbus = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
    let mut bytes = [&[register], data].concat();
    let check = smbus.checksum(&[&[ADDRESS << 1], &bytes[..]].concat());
    bytes.push(check);
    fixture.bench.i2c().write(ADDRESS, &bytes).expect("a write");
}

fn fault<T>(result: Result<T, Error<BusError>>) -> Fault {
    match result {
        Ok(_) => panic!("it came through"),
        Err(error) => error.fault(),
    }
}

/// Samples for a while, and gives the moment of the last.
fn go_on(
    fixture: &Fixture,
    monitor: &mut Blocking<BenchI2c>,
    totals: &mut Totals<'_, CHANNELS>,
) -> u64 {
    let mut at_us = 0;
    for _ in 0..4 {
        fixture.pass_us(997_000);
        let sample = monitor.sample().expect("a sample");
        assert_eq!(totals.update(sample), Update::Continued);
        at_us = sample.timestamp().before_us;
    }
    at_us
}

/// What was counted is 1 A for as long as is said (the fixture's channel 0), to 1 %: what matters
/// here is that nothing is missing and nothing counted twice.
fn assert_counted(totals: &Totals<'_, CHANNELS>, seconds: f64) {
    let counted_s = totals.counted_us() as f64 / 1e6;
    assert!(
        (counted_s - seconds).abs() < 2e-3,
        "{counted_s} s instead of {seconds} s"
    );
    let charge = totals.charge(Channel::C0).expect("a rail");
    let coulombs = charge.value.as_nanocoulombs() as f64 / 1e9;
    assert!(
        (coulombs / seconds - 1.0).abs() < 0.01,
        "{coulombs} C in {seconds} s"
    );
}

/// The gap holds what passed between two samples, and is told to within their brackets and the
/// clock.
fn assert_gap(gap: Gap, passed_us: u64, outages: u64) {
    assert!(
        gap.least_us <= passed_us && passed_us <= gap.greatest_us,
        "{passed_us} in {gap:?}"
    );
    assert!(
        gap.greatest_us - gap.least_us < outages * 2_000,
        "{gap:?} says little"
    );
}

#[test]
fn a_dip_of_the_supply_ends_the_epoch_and_nothing_else() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let mut totals = Totals::new(&BOARD);
    let (mut counted_us, mut gap_us, mut end_us) = (0, 0, 0);
    for outage in 0..4 {
        monitor.init(&fast()).expect("init");
        let sample = monitor.sample().expect("a sample");
        let (update, begin_us) = (totals.update(sample), sample.timestamp().before_us);
        if outage == 0 {
            assert_eq!(update, Update::First);
        } else {
            assert_eq!(update, Update::Discontinuity(Discontinuity::Configured));
            gap_us += begin_us - end_us;
            assert_gap(totals.gap(), gap_us, outage);
        }
        assert_eq!(u64::from(totals.epoch()), outage);
        end_us = go_on(&fixture, &mut monitor, &mut totals);
        counted_us += end_us - begin_us;
        assert_counted(&totals, counted_us as f64 / 1e6);
        fixture.pass_us(333_000);
        fixture.part.brown_out();
        fixture.pass_us(500_000);
        assert_eq!(fault(monitor.sample()), Fault::Reset);
        // What was counted before stands.
        assert_counted(&totals, counted_us as f64 / 1e6);
    }
}

/// A dip right before a latch: the part does not answer, and says afterwards that it was reset.
#[test]
fn a_reset_right_before_a_sample_is_seen_by_the_next() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    monitor.init(&fast()).expect("init");
    fixture.pass_us(2_000_000);
    fixture.part.brown_out();
    // Not addressable for 1 ms (section 6).
    assert!(
        monitor
            .sample()
            .map(drop)
            .expect_err("nobody answers")
            .may_repeat()
    );
    fixture.pass_us(2_000);
    assert_eq!(fault(monitor.sample()), Fault::Reset);
}

#[test]
fn a_part_that_is_declared_unpowered_is_left_alone() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let mut totals = Totals::new(&BOARD);
    monitor.init(&fast()).expect("init");
    let sample = monitor.sample().expect("a sample");
    assert_eq!(totals.update(sample), Update::First);
    let begin_us = sample.timestamp().before_us;
    let end_us = go_on(&fixture, &mut monitor, &mut totals);

    monitor.set_powered(false);
    totals.unpowered();
    fixture.part.power_loss();
    let before = fixture.bench.bus_stats();
    fixture.pass_us(3_000_000);
    assert_eq!(fault(monitor.sample()), Fault::Unpowered);
    assert_eq!(fault(monitor.init(&fast())), Fault::Unpowered);
    assert_eq!(fixture.bench.bus_stats(), before, "not a byte on the bus");
    assert_eq!((totals.epoch(), totals.next_sample_by_us()), (1, None));

    fixture.part.power_up();
    fixture.pass_us(2_000);
    monitor.set_powered(true);
    assert_eq!(fault(monitor.sample()), Fault::NotConfigured);
    monitor.init(&fast()).expect("init");
    let sample = monitor.sample().expect("a sample");
    let again_us = sample.timestamp().before_us;
    assert!(matches!(
        totals.update(sample),
        Update::First | Update::Discontinuity(_)
    ));
    assert_eq!(totals.epoch(), 1);
    assert_gap(totals.gap(), again_us - end_us, 1);
    let last_us = go_on(&fixture, &mut monitor, &mut totals);
    assert_counted(
        &totals,
        (end_us - begin_us + last_us - again_us) as f64 / 1e6,
    );
}

/// What a stranger can write at any time (section 3): the next sample tells, once; then the monitor
/// is not configured until `init`.
#[test]
fn a_strangers_write_is_told_by_the_next_sample() {
    for (register, data) in [
        (0x04, &[0x00][..]),
        (0x08, &[0x01]),
        (0x10, &[0x12, 0x34]),
        (0x30, &[0x01, 0x11, 0x12]),
        (0x34, &[0x70, 0x00, 0x01]),
        (0x35, &[0x00, 0x00, 0x01]),
    ] {
        for config in [fast(), fast().with_mode(Mode::SingleShot)] {
            let fixture = Fixture::new();
            let mut monitor = fixture.monitor_on(fixture.bench.i2c());
            monitor.init(&config).expect("init");
            fixture.pass_us(100_000);
            monitor.sample().expect("a sample");
            foreign_write(&fixture, register, data);
            if register == 0x04 && config != fast() {
                // It was idle already: no effect (section 3.3).
                monitor.sample().expect("nothing was changed");
                continue;
            }
            assert_eq!(fault(monitor.sample()), Fault::Changed, "{register:#04x}");
            assert_eq!(fault(monitor.sample()), Fault::NotConfigured);
            monitor.init(&config).expect("init");
            fixture.pass_us(10_000);
            let sample = monitor.sample().expect("a sample");
            assert!(sample.reading(Channel::C3).is_ok());
        }
    }
}

/// The firmware restarts, and the part goes on: nothing is lost, and the refusal of what was
/// changed disturbs nothing.
#[test]
fn a_restart_of_the_firmware_resumes_or_says_why_not() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    monitor.init(&fast()).expect("init");
    fixture.pass_us(10_000);
    let before = monitor.sample().expect("a sample").scans();
    let token = monitor.token();
    drop(monitor);
    fixture.pass_us(5_000_000);

    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let sample = monitor.resume(&fast(), token).expect("it runs");
    assert!(sample.reading(Channel::C0).is_ok());
    // 2000 scans a second, without an error.
    let scans = sample.scans() - before;
    assert!((10_000..10_030).contains(&scans), "{scans}");
    assert_eq!(monitor.token(), token);

    // Another configuration, another count, a part that was reset.
    let averaged = fast().averaging(1);
    foreign_write(&fixture, 0x10, &[0x12, 0x34]);
    let one_more = ResumeToken {
        writes: token.writes + 1,
        configuration: 0,
    };
    for (config, token) in [(&averaged, one_more), (&fast(), token)] {
        fixture.bench.set_logging(Logging::Full);
        fixture.bench.log();
        let mut monitor = fixture.monitor_on(fixture.bench.i2c());
        assert_eq!(fault(monitor.resume(config, token)), Fault::Changed);
        assert_eq!(fault(monitor.sample()), Fault::NotConfigured);
        // Nothing was written but pointers: S, address, pointer, Sr.
        for transaction in fixture.bench.log() {
            let shown = transaction.to_string();
            assert_eq!(shown.find(" Sr 65 "), Some("S 64 00".len()), "{shown}");
        }
    }
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    monitor
        .resume(&fast(), one_more)
        .expect("nothing was disturbed");
    fixture.part.brown_out();
    fixture.pass_us(2_000);
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    assert_eq!(fault(monitor.resume(&fast(), one_more)), Fault::Changed);
    // Even where the count of a part fresh from its reset happens to fit.
    let none = ResumeToken {
        writes: 0,
        configuration: 0,
    };
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let idle = fast().with_mode(Mode::Idle);
    let reset_values = [0, 1, 2, 3]
        .map(Channel::new)
        .into_iter()
        .fold(idle, |config, channel| {
            let coarsest = crake::config::FullScale::new(
                crake::units::Voltage::from_millivolts(60),
                crake::units::Voltage::from_volts(60),
            );
            config.with(channel, coarsest)
        });
    assert_eq!(fault(monitor.resume(&reset_values, none)), Fault::Reset);
}

/// A controller, and how the firmware uses it: samples, a change, a restart.
fn run(read_max: u8, restart: Restart) {
    let fixture = Fixture::new();
    let new = || {
        let i2c = fixture.bench.i2c().with_restart(restart);
        let mut monitor: Blocking<BenchI2c> = fixture.monitor_on(i2c);
        monitor.set_read_max(read_max);
        monitor
    };
    let other: Config<CHANNELS> = fast().averaging(3).with(Channel::C1, FINE_SENSE);
    fixture.bench.set_logging(Logging::Full);
    let mut monitor = new();
    monitor.init(&fast()).expect("init");
    fixture.pass_us(10_000);
    assert!(
        monitor
            .sample()
            .expect("a sample")
            .reading(Channel::C3)
            .is_ok()
    );
    monitor.configure(&other).expect("configure");
    fixture.pass_us(10_000);
    assert!(
        monitor
            .sample()
            .expect("a sample")
            .reading(Channel::C1)
            .is_ok()
    );
    let token = monitor.token();
    let mut monitor = new();
    monitor.resume(&other, token).expect("it runs");
    let none = NoReading::NoSuchChannel(Channel::new(4));
    assert_eq!(
        monitor.sample().expect("a sample").reading(Channel::new(4)),
        Err(none)
    );

    let (mut longest, mut restarts) = (0, 0);
    for transaction in fixture.bench.log() {
        let received = |event: &&Event| matches!(event, Event::Received { .. });
        longest = longest.max(transaction.events.iter().filter(received).count());
        restarts += usize::from(transaction.events.contains(&Event::Restart));
    }
    // Registers of four bytes have a check byte besides: they are no blocks to be split.
    assert!(
        longest <= usize::from(read_max).max(5),
        "{longest} bytes read at once"
    );
    assert_eq!(restarts > 0, restart == Restart::Repeated);
}

#[test]
fn controllers_with_short_buffers() {
    for read_max in [2, 8, 16, 32, 111, 112, 255] {
        run(read_max, Restart::Repeated);
    }
}

#[test]
fn controllers_without_repeated_start() {
    for read_max in [255, 32, 16] {
        run(read_max, Restart::StopStart);
    }
}

/// A clock that falls, or leaps by more than 32 bits, between the two readings of it dates nothing:
/// the sample fails, and nothing is lost by it.
#[test]
fn a_sample_that_cannot_be_dated_is_repeated() {
    struct Jumping(crake_sim::bus::Clock, Rc<Cell<i64>>, Rc<Cell<i64>>);
    impl Clock for Jumping {
        fn now_us(&mut self) -> u64 {
            let now_us = self.0.now_ns() / 1_000 + 1_000_000;
            // It jumps after it was read.
            let offset_us = self.1.replace(self.1.get() + self.2.take());
            now_us.saturating_add_signed(offset_us)
        }
    }
    for jump_us in [-1_000, -900_000, 1 << 32, 1 << 40] {
        let fixture = Fixture::new();
        let (offset_us, jump) = (Rc::new(Cell::new(0)), Rc::new(Cell::new(0)));
        let clock = Jumping(fixture.bench.clock(), offset_us.clone(), jump.clone());
        let (i2c, delay) = (fixture.bench.i2c(), fixture.bench.delay());
        let part = Corncrake::new(Address::Strap0);
        let mut monitor = Monitor::new(i2c, delay, part, &BOARD).with_clock(clock);
        let mut totals = Totals::<CHANNELS>::new(&BOARD);
        monitor.init(&fast()).expect("init");
        fixture.pass_us(2_000);
        jump.set(jump_us);
        let error = monitor.sample().map(drop).expect_err("no date");
        assert_eq!((error.fault(), error.may_repeat()), (Fault::Clock, true));
        for _ in 0..3 {
            totals.update(monitor.sample().expect("a sample"));
            fixture.pass_us(1_000_000);
        }
        assert_eq!(totals.epoch(), 0);
        assert!((2_000_000..2_100_000).contains(&totals.counted_us()));
    }
}
