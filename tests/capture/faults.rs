use core::time::Duration;
use std::cell::{Cell, RefCell};
use std::rc::Rc;

use crake::asynch::ShuntMonitor as _;
use crake::bus::Fault;
use crake::part::corncrake::{Address, Corncrake};
use crake::{Channel, ErrorKind, Operation, Sample, ShuntMonitor, asynch};
use crake_sim::bench::Injected;
use crake_sim::fault::{self, FaultKind};
use crake_sim::part::corncrake as model;
use embedded_hal::i2c::{self, ErrorType, I2c as _};

use crate::fixture::{COARSE, FINE, Fixture, KEPT, Ramp, config, pulses};

const ONE_OHM: u64 = 1_000_000_000;

/// From now on the transfer with this number fails: before the part sees it, or when it has taken
/// place.
fn fail_at(fixture: &Fixture, number: u64, takes_place: bool) -> Injected {
    let kind = if takes_place {
        FaultKind::AnswerLost
    } else {
        FaultKind::ArbitrationLost
    };
    let fault = fault::Fault::new(kind).after(number).times(1);
    fixture.bench.fault(fault).expect("a fault that can be")
}

#[test]
fn what_cannot_be_is_refused_before_a_byte() {
    let fixture = Fixture::new(ONE_OHM);
    let mut monitor = fixture.monitor();
    let mut codes = [7; 4];
    let fault = |result: Result<_, crake::Error<_>>| result.map(|_: ()| ()).unwrap_err().fault();
    assert_eq!(
        fault(monitor.start_capture(Channel::C0)),
        Fault::NotConfigured
    );
    monitor
        .init(&config(COARSE, 500).without(Channel::C1))
        .expect("a part");
    let stats = fixture.bench.bus_stats();
    for channel in [Channel::C1, Channel::new(4), Channel::new(255)] {
        assert_eq!(fault(monitor.start_capture(channel)), Fault::Refused);
    }
    let error = monitor.fetch_capture(0, &mut codes).unwrap_err();
    assert_eq!(error.operation, Operation::FetchCapture);
    assert_eq!(error.fault(), Fault::NotConfigured, "no capture yet");
    assert_eq!(fixture.bench.bus_stats(), stats, "nothing was sent");
    assert!(monitor.sample().is_ok(), "and samples go on");

    monitor.start_capture(Channel::C0).expect("a capture");
    monitor.set_powered(false);
    let stats = fixture.bench.bus_stats();
    let error = monitor.fetch_capture(0, &mut codes).unwrap_err();
    assert_eq!(error.fault(), Fault::Unpowered);
    assert_eq!(fault(monitor.start_capture(Channel::C0)), Fault::Unpowered);
    assert_eq!(fixture.bench.bus_stats(), stats, "nothing was sent");
    assert_eq!(codes, [7; 4]);
}

/// There are no samples until a configuration; sums and scans have stood still.
#[test]
fn sampling_goes_on_after_a_configuration_alone() {
    let fixture = Fixture::new(ONE_OHM);
    fixture.fit(0, pulses());
    let mut monitor = fixture.monitor().with_clock(fixture.bench.clock());
    monitor.init(&config(FINE, 500)).expect("a part");
    fixture.bench.run_for(Duration::from_millis(20));
    // SCANS, CHARGE_0, ENERGY_0 (section 3).
    let sums = || {
        [(0x74, 4), (0x6C, 6), (0x70, 8)].map(|(register, width)| {
            let mut bytes = vec![0; width];
            let mut bus = fixture.bench.i2c();
            bus.write_read(0x32, &[register], &mut bytes)
                .expect("a part");
            bytes
        })
    };
    monitor.start_capture(Channel::C0).expect("a capture");
    let before = sums();
    assert!(before[0] > vec![0, 0, 0, 5], "{before:?}");
    assert_eq!(monitor.sample().unwrap_err().fault(), Fault::NotConfigured);
    assert_eq!(
        monitor.start_capture(Channel::C0).unwrap_err().fault(),
        Fault::NotConfigured
    );
    monitor.fetch_capture(0, &mut [0; 64]).expect("codes");
    assert_eq!(monitor.sample().unwrap_err().fault(), Fault::NotConfigured);
    assert_eq!(sums(), before);

    monitor.configure(&config(COARSE, 500)).expect("a part");
    let error = monitor.fetch_capture(0, &mut [0; 64]).unwrap_err();
    assert_eq!(error.fault(), Fault::NotConfigured, "the capture is over");
    fixture.bench.run_for(Duration::from_millis(20));
    let sample = monitor.sample().expect("a sample");
    let reading = sample.reading(Channel::C0).expect("a reading");
    assert!(reading.current.as_microamps() >= 999, "{reading:?}");
}

/// The bus fails at each transfer of a fetch: it can be made again at once.
#[test]
fn a_fetch_that_failed_anywhere_can_be_made_again() {
    let fixture = Fixture::new(ONE_OHM);
    fixture.fit(0, Ramp);
    let mut monitor = fixture.monitor();
    monitor.set_attempts(1);
    monitor.init(&config(COARSE, 500)).expect("a part");
    monitor.start_capture(Channel::C0).expect("a capture");
    let mut all = [0; KEPT];
    monitor.fetch_capture(0, &mut all).expect("codes");
    for takes_place in [false, true] {
        // Count twice; for each sixteen codes place, its read-back and codes; then reset and
        // writes.
        for number in 0..2 + 64 * 3 + 2 {
            fail_at(&fixture, number, takes_place);
            let mut codes = [0; KEPT];
            let result = monitor.fetch_capture(0, &mut codes).map(|_| ());
            if number == 0 {
                // It would only have saved the wait.
                assert!(result.is_ok());
            } else {
                let error = result.unwrap_err();
                assert!(matches!(error.kind, ErrorKind::Bus(_)), "{error}");
                assert!(error.may_repeat(), "{error}");
            }
            let capture = monitor.fetch_capture(0, &mut codes).expect("codes");
            assert_eq!(capture.codes(), all, "after a failure at transfer {number}");
        }
        let failure = fail_at(&fixture, 2 + 64 * 3 + 2, takes_place);
        monitor.fetch_capture(0, &mut [0; KEPT]).expect("codes");
        assert_eq!(failure.strikes().times, 0, "no transfer more");
        failure.mend();
    }
}

/// The bus fails at each transfer of a start: the monitor is not configured, and `init` brings it
/// back.
#[test]
fn a_start_that_failed_anywhere_leaves_not_configured() {
    for takes_place in [false, true] {
        for number in 0.. {
            let fixture = Fixture::new(ONE_OHM);
            fixture.fit(0, Ramp);
            let mut monitor = fixture.monitor();
            monitor.set_attempts(1);
            monitor.init(&config(COARSE, 500)).expect("a part");
            fail_at(&fixture, number, takes_place);
            let Err(error) = monitor.start_capture(Channel::C0) else {
                // Stop, ranges, start, writes.
                assert_eq!(number, 4);
                break;
            };
            assert_eq!(error.operation, Operation::StartCapture);
            assert!(!error.may_repeat());
            let mut codes = [0; 4];
            let fault = monitor.fetch_capture(0, &mut codes).unwrap_err().fault();
            assert_eq!(fault, Fault::NotConfigured);
            assert_eq!(monitor.sample().unwrap_err().fault(), Fault::NotConfigured);
            monitor.init(&config(COARSE, 500)).expect("a part");
            fixture.bench.run_for(Duration::from_millis(5));
            let sample = monitor.sample().expect("a sample");
            assert!(sample.reading(Channel::C0).is_ok());
        }
    }
}

/// A reset and a stranger's write, at every stage: told, and no codes are given.
#[test]
fn codes_that_may_be_others_are_not_given() {
    let reset = |fixture: &Fixture| {
        fixture.part.brown_out();
        fixture.bench.run_for(Duration::from_millis(2));
    };
    // Section 3.3: a stop, and a capture on another channel.
    let stranger = |fixture: &Fixture| {
        for mode in [0x00, 0x31] {
            fixture
                .bench
                .i2c()
                .write(0x32, &[0x04, mode])
                .expect("a part");
        }
        fixture.bench.run_for(Duration::from_millis(80));
    };
    // A stop, and other ranges.
    let other_ranges = |fixture: &Fixture| {
        for bytes in [&[0x04, 0x00][..], &[0x06, 0x22, 0x26]] {
            fixture.bench.i2c().write(0x32, bytes).expect("a part");
        }
    };
    type Act<'f> = &'f dyn Fn(&Fixture);
    let acts: [(Act<'_>, Fault); 2] = [(&reset, Fault::Reset), (&stranger, Fault::Changed)];
    for (act, fault) in acts {
        let fixture = Fixture::new(ONE_OHM);
        fixture.fit(0, Ramp);
        let mut monitor = fixture.monitor();
        let mut codes = [0; 40];

        // Before the start: the ranges are others.
        for other in [&reset as Act<'_>, &other_ranges] {
            monitor.init(&config(COARSE, 500)).expect("a part");
            other(&fixture);
            let error = monitor.start_capture(Channel::C0).unwrap_err();
            assert_eq!(error.fault(), Fault::Changed);
        }

        // While it captures, and when it has.
        for wait_ms in [10, 90] {
            monitor.init(&config(COARSE, 500)).expect("a part");
            monitor.start_capture(Channel::C0).expect("a capture");
            fixture.bench.run_for(Duration::from_millis(wait_ms));
            act(&fixture);
            let error = monitor.fetch_capture(0, &mut codes).unwrap_err();
            assert_eq!(error.fault(), fault, "{error}");
            let error = monitor.fetch_capture(0, &mut codes).unwrap_err();
            assert_eq!(error.fault(), Fault::NotConfigured, "{error}");
        }
    }
}

/// A part that captures for ever is given up, after the longest capture at the slowest oscillator,
/// wake-up included: 1024 × 62.5 µs ÷ 0.985 + 150 µs.
#[test]
fn a_capture_that_does_not_end_is_told() {
    struct Endless<B>(B, Rc<Cell<usize>>);
    impl<B: ErrorType> ErrorType for Endless<B> {
        type Error = B::Error;
    }
    impl<B: i2c::I2c> i2c::I2c for Endless<B> {
        fn transaction(
            &mut self,
            address: u8,
            operations: &mut [i2c::Operation<'_>],
        ) -> Result<(), B::Error> {
            self.0.transaction(address, operations)?;
            if let [i2c::Operation::Write([0x78]), i2c::Operation::Read(bytes)] = operations {
                self.1.set(self.1.get() + 1);
                let smbus = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
                let count = [0x03, 0xFF];
                let covered = [address << 1, 0x78, address << 1 | 1, count[0], count[1]];
                bytes.copy_from_slice(&[count[0], count[1], smbus.checksum(&covered)]);
            }
            Ok(())
        }
    }
    let fixture = Fixture::new(ONE_OHM);
    fixture.fit(0, Ramp);
    let reads = Rc::new(Cell::new(0));
    let bus = Endless(fixture.bench.i2c(), reads.clone());
    let mut monitor = fixture.monitor_on(bus);
    monitor.init(&config(COARSE, 500)).expect("a part");
    monitor.start_capture(Channel::C0).expect("a capture");
    let error = monitor.fetch_capture(0, &mut [0; 4]).unwrap_err();
    assert_eq!(error.fault(), Fault::Busy);
    assert!(error.may_repeat());
    assert!(reads.get() > 1 && reads.get() < 5);
}

/// The slowest part of the datasheet, section 6, is waited for in one call.
#[test]
fn the_slowest_part_is_waited_for() {
    let individual = model::Individual {
        // 62.5 µs ÷ 0.985.
        conversion_ns: 63_452,
        ..model::Individual::ideal()
    };
    let bench = crake_sim::bench::Bench::new(1);
    let part = bench
        .part(model::Corncrake::individual(0x32, individual))
        .expect("a free address");
    let fixture = Fixture {
        bench,
        part,
        nanoohms: ONE_OHM,
    };
    fixture.fit(0, Ramp);
    let mut monitor = fixture.monitor();
    monitor.init(&config(COARSE, 500)).expect("a part");
    monitor.start_capture(Channel::C0).expect("a capture");
    monitor.fetch_capture(0, &mut [0; 4]).expect("codes");
}

/// The async monitor gets the same codes.
#[test]
fn the_async_monitor_gets_the_same_codes() {
    let blocking = Fixture::new(ONE_OHM);
    blocking.fit(2, pulses());
    let mut monitor = blocking.monitor();
    monitor.init(&config(COARSE, 500)).expect("a part");
    monitor.start_capture(Channel::C2).expect("a capture");
    let mut expected = [0; KEPT];
    monitor.fetch_capture(0, &mut expected).expect("codes");

    let fixture = Fixture::new(ONE_OHM);
    fixture.fit(2, pulses());
    let got = RefCell::new([0; KEPT]);
    let mut tasks = fixture.bench.tasks();
    let task = async {
        let part = Corncrake::new(Address::Strap0);
        let (i2c, delay) = (fixture.bench.i2c(), fixture.bench.delay());
        let mut monitor = asynch::Monitor::new(i2c, delay, part, fixture.board());
        monitor.init(&config(COARSE, 500)).await.expect("a part");
        monitor.start_capture(Channel::C2).await.expect("a capture");
        let mut codes = [0; KEPT];
        let capture = monitor.fetch_capture(0, &mut codes).await.expect("codes");
        got.borrow_mut().copy_from_slice(capture.codes());
    };
    tasks.spawn("capture", task);
    tasks.run().expect("no stall");
    drop(tasks);
    assert_eq!(*got.borrow(), expected);
}
