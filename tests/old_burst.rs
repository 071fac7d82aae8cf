//! A burst from set-up to statistics: codes against exact rational arithmetic of what the plant did.

mod alerts_desk;

use std::cell::RefCell;
use std::rc::Rc;

use alerts_desk::faults::{Failing, Failures};
use alerts_desk::{ADDRESS, Desk, SETUP, board};
use crake::old::burst::{Burst, Statistics};
use crake::old::ledger::{Entry, Ledger};
use crake::old::part::corncrake::{
    BUS_6_V, Corncrake, PACE_10, PACE_2000, SENSE_26_MV, SENSE_65_MV, SPEC,
};
use crake::old::units::{Charge, Current};
use crake::old::{
    Came, Channel, Condition, Fault, Misuse, Mode, Monitor, Ranges, Setup, ShuntMonitor, Task,
};
use crake_sim::board::SenseResistor;
use crake_sim::bus::BusError;
use crake_sim::plant::{Constant, Means, Plant, Pulses, Rail, Source, Truth};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};
use num_bigint::BigInt;
use num_rational::BigRational;

/// Datasheet, section 3.3.
const STORE: usize = 1_024;
const CONVERSION_NS: u64 = 62_500;

fn burst_on(channel: u8, sense: crake::old::part::SenseRange) -> Setup<4> {
    Setup {
        mode: Mode::Burst(Channel::new(channel)),
        ..SETUP.with(
            Channel::new(channel),
            Some(Ranges {
                sense,
                bus: BUS_6_V,
            }),
        )
    }
}

fn ratio(numerator: i128, denominator: i128) -> BigRational {
    BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
}

/// A plant whose apertures are written down.
struct Noted<P> {
    plant: P,
    windows: Rc<RefCell<Vec<(u64, u64)>>>,
}

impl<P: Plant> Plant for Noted<P> {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        self.windows.borrow_mut().push((from_ns, to_ns));
        self.plant.window(from_ns, to_ns)
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        self.plant.truth(at_ns)
    }
}

fn fit(desk: &Desk, channel: u8, plant: impl Plant + 'static) -> Rc<RefCell<Vec<(u64, u64)>>> {
    let windows: Rc<RefCell<Vec<(u64, u64)>>> = Rc::default();
    let noted = Noted {
        plant,
        windows: windows.clone(),
    };
    desk.part
        .rail(channel.into(), noted, SenseResistor::ideal(desk.nanoohms))
        .expect("a channel");
    windows
}

/// 1 A for every eight seconds, from −4 mA at time 0: an eighth of a nanoampere per nanosecond, exact in binary.
struct Ramp;

impl Plant for Ramp {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        Means {
            current_na: (from_ns + to_ns) as f64 / 16.0 - 4e6,
            voltage_nv: 3e9,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

/// Mean of the ramp over an aperture, nA.
fn ramp_na((from_ns, to_ns): (u64, u64)) -> BigRational {
    ratio(i128::from(from_ns + to_ns), 16) - ratio(4_000_000, 1)
}

const PERIOD_NS: u64 = 1_000_003;
const WIDTH_NS: u64 = 300_001;

/// 1 mA, and 20 mA for 300.001 µs of every 1.000003 ms, from time 0 on.
fn pulses() -> Rail {
    let source = Source::of(Constant::new(3_000_000_000).expect("3 V"));
    let load = Pulses::new(1_000_000, 20_000_000, PERIOD_NS, WIDTH_NS).expect("pulses");
    Rail::new(source, load).expect("a rail")
}

/// Mean of the pulses over an aperture, nA.
fn pulses_na((from_ns, to_ns): (u64, u64)) -> BigRational {
    let high: u64 = (from_ns / PERIOD_NS..=to_ns / PERIOD_NS)
        .map(|number| {
            let begin = number * PERIOD_NS;
            let end = (begin + WIDTH_NS).min(to_ns);
            end.saturating_sub(begin.max(from_ns))
        })
        .sum();
    let length = i128::from(to_ns - from_ns);
    ratio(1_000_000 * length + 19_000_000 * i128::from(high), length)
}

/// 1 Ω: as many nanovolts as nanoamperes. To the nearest code, halves away from zero, which is `round` of num-rational.
fn code(na: &BigRational, lsb_nv: i128) -> i32 {
    let code = (na / ratio(lsb_nv, 1)).round().to_integer();
    i32::try_from(code).expect("18 bits")
}

#[test]
fn codes_are_what_the_plant_did() {
    type Mean = fn((u64, u64)) -> BigRational;
    for channel in 0..4 {
        for (range, lsb_nv) in [(SENSE_65_MV, 500), (SENSE_26_MV, 200)] {
            for ramp in [true, false] {
                for before in [Mode::Idle, SETUP.mode, Mode::Paced(PACE_2000)] {
                    let desk = Desk::new();
                    let (windows, mean) = if ramp {
                        (fit(&desk, channel, Ramp), ramp_na as Mean)
                    } else {
                        (fit(&desk, channel, pulses()), pulses_na as Mean)
                    };
                    let mut monitor = desk.monitor();
                    let setup = Setup {
                        mode: before,
                        ..SETUP
                    };
                    monitor.init(&setup).expect("a part that answers");
                    desk.bench.run_for(core::time::Duration::from_micros(7_777));
                    let frame = monitor
                        .configure(&burst_on(channel, range))
                        .expect("a part that answers");
                    assert_eq!(frame.condition(), Condition::Boundary);
                    let mut codes = [0; STORE + 8];
                    let count = monitor.fetch(&mut codes).expect("a part that answers");
                    assert_eq!(count, STORE);
                    let windows = windows.borrow();
                    let own = &windows[windows.len() - STORE..];
                    for ((window, next), code_is) in own.iter().zip(own.iter().skip(1)).zip(&codes)
                    {
                        assert_eq!(window.1 - window.0, CONVERSION_NS, "16 000 a second");
                        assert_eq!(window.1, next.0, "back to back");
                        assert_eq!(*code_is, code(&mean(*window), lsb_nv), "{window:?}");
                    }
                    assert_eq!(codes[STORE - 1], code(&mean(own[STORE - 1]), lsb_nv));
                    assert_eq!(codes[STORE..], [0; 8]);
                }
            }
        }
    }
}

/// However much room there is, the oldest codes come first, no more are written than fit, and fetching takes nothing away.
#[test]
fn as_many_codes_as_fit() {
    let desk = Desk::new();
    fit(&desk, 1, Ramp);
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    monitor
        .configure(&burst_on(1, SENSE_65_MV))
        .expect("a part that answers");
    let mut all = [0; STORE];
    assert_eq!(monitor.fetch(&mut all), Ok(STORE));
    assert!(all.windows(2).all(|pair| pair[0] < pair[1]), "a ramp");
    for room in [
        0, 1, 2, 15, 16, 17, 31, 32, 33, 100, 1_007, 1_008, 1_009, 1_023, 1_024, 1_500,
    ] {
        let mut codes = vec![i32::MIN; room];
        let count = monitor.fetch(&mut codes).expect("a part that answers");
        assert_eq!(count, room.min(STORE));
        assert_eq!(codes[..count], all[..count], "room for {room}");
        assert!(codes[count..].iter().all(|code| *code == i32::MIN));
    }
}

#[test]
fn statistics_are_exact() {
    let desk = Desk::with_resistors(47_000_000);
    fit(&desk, 2, pulses());
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    monitor
        .configure(&burst_on(2, SENSE_26_MV))
        .expect("a part that answers");
    let mut codes = [0; STORE];
    let count = monitor.fetch(&mut codes).expect("a part that answers");
    let board = board(desk.nanoohms);
    let burst = Burst {
        codes: &codes[..count],
        rail: board.rail(Channel::C2).expect("a rail"),
        range: SENSE_26_MV,
        spec: &SPEC,
    };
    let level = Current::from_milliamps(10);
    let statistics = burst.statistics(level);

    // Currents as documented, to the nearest nanoampere: 200 nV over 47 mΩ a code.
    let currents: Vec<i128> = codes
        .iter()
        .map(|code| {
            let na = ratio(i128::from(*code) * 200 * 1_000_000_000, 47_000_000);
            i128::try_from(na.round().to_integer()).expect("within 128 bits")
        })
        .collect();
    let shown: Vec<i128> = burst
        .currents()
        .map(|current| current.as_nanoamps().into())
        .collect();
    assert_eq!(shown, currents);
    let na = |value: i128| Current::from_nanoamps(i64::try_from(value).expect("within 63 bits"));
    let sum: i128 = currents.iter().sum();
    let squares: i128 = currents.iter().map(|na| na * na).sum();
    let above = currents.iter().filter(|na| **na > 10_000_000).count() as u64;
    let rms = {
        // The greatest whole number whose square is not above the mean square.
        let mean_square = squares / STORE as i128;
        let mut root = (mean_square as f64).sqrt() as i128;
        while root * root > mean_square {
            root -= 1;
        }
        while (root + 1) * (root + 1) <= mean_square {
            root += 1;
        }
        root
    };
    let expected = Statistics {
        count: STORE as u32,
        least: na(*currents.iter().min().expect("some")),
        greatest: na(*currents.iter().max().expect("some")),
        mean: na(sum / STORE as i128),
        rms: na(rms),
        // nA × 62 500 ns is 10⁻¹⁸ C.
        charge: Charge::from_nanocoulombs(sum * 62_500 / 1_000_000_000),
        above_ns: above * CONVERSION_NS,
        duration_ns: STORE as u64 * CONVERSION_NS,
    };
    assert_eq!(statistics, expected);
    // 1 mA and 20 mA for three tenths of the time, within a hundredth.
    assert!(statistics.mean > Current::from_microamps(6_600));
    assert!(statistics.mean < Current::from_microamps(6_800));
    assert!((180_000..=320_000).contains(&(above * 1_000_000 / STORE as u64)));
}

/// During a burst no round ends: sums and rounds stand still, and the ledger says for how long nothing was counted.
#[test]
fn accumulators_stand_still_and_the_gap_says_so() {
    for pace in [PACE_2000, PACE_10] {
        let paced = Setup {
            mode: Mode::Paced(pace),
            ..SETUP
        };
        let desk = Desk::new();
        for channel in 0..4 {
            fit(&desk, channel, pulses());
        }
        let mut monitor = desk.monitor();
        let mut ledger = Ledger::new(monitor.board(), &SPEC);
        ledger.update(&monitor.init(&paced).expect("a part that answers"));
        desk.bench.run_for(core::time::Duration::from_millis(1_234));
        ledger.update(&monitor.latch().expect("a part that answers"));

        let frame = monitor
            .configure(&burst_on(3, SENSE_65_MV))
            .expect("a part that answers");
        assert_eq!(ledger.update(&frame), Entry::Turned);
        let sums = |frame: &crake::old::Frame<'_>| {
            let of = |channel| frame.counters(channel);
            (
                frame.head().rounds,
                Channel::first(4).map(of).collect::<Vec<_>>(),
            )
        };
        let (stamp, before) = (frame.stamp(), sums(&frame));
        assert!(before.0 > 0);
        let account = ledger.account(Channel::C3).expect("a rail");
        // The burst's own time: wake-up at most, then 1024 conversions.
        let mut codes = [0; STORE];
        assert_eq!(monitor.fetch(&mut codes), Ok(STORE));
        let frame = monitor.configure(&paced).expect("a part that answers");
        assert_eq!(sums(&frame), before, "nothing was counted");
        let ended = frame.stamp();
        ledger.update(&frame);
        assert_eq!(ledger.epoch(), 0, "nothing was lost");
        let gap = ledger.gap();
        let burst_us = 1_024 * 625 / 10;
        assert!(gap.least_us >= burst_us, "{gap:?}");
        assert!(
            gap.greatest_us >= ended.before_us - stamp.after_us,
            "{gap:?}"
        );
        assert!(gap.least_us <= ended.after_us - stamp.before_us, "{gap:?}");
        // A latch is done at the end of the round in progress: up to one at the slowest oscillator late, at either end.
        let late_us = 2 * 508;
        let brackets_us = stamp.bracket_us() + ended.bracket_us();
        // The host's clock, good to 100 ppm, either way; rounded up.
        let clock_us = 2 * (gap.greatest_us / 10_000 + 1);
        assert!(gap.greatest_us - gap.least_us <= brackets_us + late_us + clock_us);
        let after = ledger.account(Channel::C3).expect("a rail");
        assert_eq!(
            (after.charge, after.energy),
            (account.charge, account.energy)
        );
        // And on it goes.
        desk.bench.run_for(core::time::Duration::from_millis(500));
        let frame = monitor.latch().expect("a part that answers");
        assert!(frame.head().rounds > before.0);
        assert_eq!(ledger.update(&frame), Entry::Added);
        assert_eq!(ledger.epoch(), 0);
    }
}

#[test]
fn what_goes_wrong_is_named() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    let mut codes = [7; 4];
    monitor.init(&SETUP).expect("a part that answers");
    assert_eq!(monitor.fetch(&mut codes), Ok(0), "no burst yet");
    assert_eq!(codes, [7; 4]);

    let stats = desk.bench.bus_stats();
    let without = burst_on(1, SENSE_65_MV).with(Channel::C1, None);
    let error = monitor
        .configure(&without)
        .map(|_| ())
        .expect_err("a mistake");
    assert_eq!(error.misuse(), Some(Misuse::BurstOnDisabled(Channel::C1)));
    let elsewhere = Setup {
        mode: Mode::Burst(Channel::new(4)),
        ..SETUP
    };
    let error = monitor
        .configure(&elsewhere)
        .map(|_| ())
        .expect_err("a mistake");
    assert_eq!(error.misuse(), Some(Misuse::NoSuchChannel(Channel::new(4))));
    monitor.declare_powered(false);
    let error = monitor.fetch(&mut codes).expect_err("no supply");
    assert_eq!(
        (error.task, error.misuse()),
        (Task::Fetch, Some(Misuse::Unpowered))
    );
    assert_eq!(desk.bench.bus_stats(), stats, "nothing was sent");
    monitor.declare_powered(true);

    // A reset in a burst takes the codes with it.
    monitor
        .configure(&burst_on(1, SENSE_65_MV))
        .expect("a part that answers");
    desk.part.brown_out();
    desk.bench.run_for(core::time::Duration::from_millis(2));
    assert_eq!(monitor.fetch(&mut codes), Ok(0));
}

/// The bus fails at each transfer of a fetch; the codes stay in the part, and the next fetch has them all.
#[test]
fn a_fetch_that_failed_anywhere_can_be_repeated() {
    let desk = Desk::new();
    let windows = fit(&desk, 0, Ramp);
    let plan = Rc::new(RefCell::new(Failures::default()));
    let bus = Failing {
        inner: desk.bench.i2c(),
        plan: plan.clone(),
    };
    let mut monitor = desk.monitor_on(bus).with_repeats(0);
    monitor.init(&SETUP).expect("a part that answers");
    monitor
        .configure(&burst_on(0, SENSE_65_MV))
        .expect("a part that answers");
    let mut all = [0; STORE];
    assert_eq!(monitor.fetch(&mut all), Ok(STORE));
    assert_eq!(
        all[0],
        code(
            &ramp_na(windows.borrow()[windows.borrow().len() - STORE]),
            500
        )
    );
    let mut failures = 0;
    for transfer in 0.. {
        *plan.borrow_mut() = Failures::at(transfer, false);
        let mut codes = [0; STORE];
        match monitor.fetch(&mut codes) {
            Err(error) => {
                failures += 1;
                assert_eq!(error.came, Came::Bus(BusError(ErrorKind::ArbitrationLoss)));
                assert!(error.is_worth_repeating());
            }
            Ok(count) => {
                assert_eq!((count, codes), (STORE, all));
                break;
            }
        }
        plan.borrow_mut().after = None;
        let mut codes = [0; STORE];
        assert_eq!(monitor.fetch(&mut codes), Ok(STORE));
        assert_eq!(codes, all, "after a failure at transfer {transfer}");
    }
    // State, count, and for each sixteen codes the index, its read-back and the codes.
    assert_eq!(failures, 2 + 64 * 3);
}

/// A part that is in a burst for ever.
struct Endless {
    reads: usize,
}

impl ErrorType for Endless {
    type Error = BusError;
}

impl I2c for &mut Endless {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let [Operation::Write([0x02]), Operation::Read(bytes)] = operations else {
            panic!("STATE alone is asked for");
        };
        let smbus = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
        let state = 0x83;
        let check = smbus.checksum(&[address << 1, 0x02, address << 1 | 1, state]);
        bytes.copy_from_slice(&[state, check]);
        self.reads += 1;
        Ok(())
    }
}

#[test]
fn a_burst_that_does_not_end_is_given_up() {
    let bench = crake_sim::bench::Bench::new(0);
    let mut bus = Endless { reads: 0 };
    let mut monitor = Monitor::new(
        &mut bus,
        bench.delay(),
        bench.clock(),
        Corncrake::new(),
        ADDRESS,
        board(1_000_000_000),
    );
    let error = monitor.fetch(&mut [0; 4]).expect_err("no end");
    assert!(
        matches!(error.came, Came::Fault(Fault::Stale { .. })),
        "{error}"
    );
    // Longer than the longest burst at the slowest oscillator, wake-up included: 1024 × 62.5 µs ÷ 0.985 + 150 µs.
    assert!(bench.now_ns() > 65_125_000);
    assert!(bench.now_ns() < 200_000_000);
    drop(monitor);
    assert!(bus.reads <= 4);
}
