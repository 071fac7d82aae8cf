//! Totals by a counter of 32 bits that is off, wraps, stands still in sleep or jumps on waking,
//! against what really flowed.

use std::cell::Cell;
use std::rc::Rc;
use std::time::Duration;

use crake::board::{Board, Load, Mean, OperatingPoint, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::totals::{Discontinuity, Totals, Update};
use crake::units::{Current, Power, Resistance, Tolerance, Voltage};
use crake::{Channel, Clock, CounterClock, Monitor, ShuntMonitor, TimedSample, WithClock};
use crake_sim::bench::{Bench, Delay, I2c, Part};
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, AfterEnd, Constant, Interpolation, Recorded, Source, Truth};

const HOUR_NS: u64 = 3_600_000_000_000;
const HZ: u32 = 1_000_000;

const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::ZERO,
))
.with_load(Load::smooth(Current::from_amps(3)).both_ways());
/// The host's clock is good to 100 ppm.
static BOARD: Board<1> = Corncrake::board(&[RAIL]).with_clock(Tolerance::from_ppm(100));
/// Ten scans a second.
const CONFIG: Config<1> = Config::continuous(
    [FullScale::new(
        Voltage::from_millivolts(65),
        Voltage::from_volts(6),
    )],
    ScanRate::per_second(10),
);

/// The counter of a host, by the bench's exact time.
#[derive(Clone, Copy, Debug)]
struct Counter {
    fast_ppm: i64,
    /// Where it stands at time 0.
    at_start: u32,
    /// Steps that it made so far, in ticks; standing still is a step back.
    stepped: i64,
    wrap: u64,
}

impl Counter {
    fn at(self, ns: u64) -> u32 {
        let own_ns = i128::from(ns) * i128::from(1_000_000 + self.fast_ppm) / 1_000_000;
        let ticks = own_ns / 1_000 + i128::from(self.at_start) + i128::from(self.stepped);
        u32::try_from(ticks.rem_euclid(i128::from(self.wrap))).expect("less than the wrap")
    }
}

const EXACT: Counter = Counter {
    fast_ppm: 0,
    at_start: 0,
    stepped: 0,
    wrap: 1 << 32,
};

struct Fixture {
    bench: Bench,
    part: Part<model::Model>,
    counter: Rc<Cell<Counter>>,
    /// The truth at the last two reads of the clock: right before and right after the latch.
    witnessed: Rc<Cell<[(u64, Truth); 2]>>,
}

/// Seconds and coulombs since time 0.
type Flowed = (f64, f64);

impl Fixture {
    /// One rail, 5 V behind 40 mΩ, up and down between -1 A and 3 A every 20 s.
    fn new(counter: Counter) -> Self {
        let bench = Bench::new(21);
        let part = bench.part(model::Corncrake::new(0x32)).expect("an address");
        let triangle = [
            (0, -1_000_000_000),
            (10_000_000_000, 3_000_000_000),
            (20_000_000_000, -1_000_000_000),
        ];
        let load = Recorded::new(triangle.to_vec(), Interpolation::Linear, AfterEnd::Repeat);
        let source = Source::of(Constant::new(5_000_000_000).expect("a voltage"));
        let source = source.behind_microohms(40_000).expect("a source");
        let rail = plant::Rail::new(source, load.expect("a load")).expect("a rail");
        let resistor = crake_sim::board::SenseResistor::ideal(10_000_000);
        part.rail(0, rail, resistor).expect("a channel");
        Self {
            bench,
            part,
            counter: Rc::new(Cell::new(counter)),
            witnessed: Rc::default(),
        }
    }

    fn clock(&self) -> CounterClock<impl FnMut() -> u32 + use<>> {
        let (counter, bench) = (self.counter.clone(), self.bench.clone());
        let (witnessed, part) = (self.witnessed.clone(), self.part.clone());
        let read = move || {
            let [_, last] = witnessed.get();
            let ns = bench.now_ns();
            witnessed.set([last, (ns, part.truth(0).expect("a channel"))]);
            counter.get().at(ns)
        };
        CounterClock::new(read, HZ, self.counter.get().wrap).expect("a rate and a wrap")
    }

    fn monitor<C: Clock>(
        &self,
        clock: C,
    ) -> Monitor<'static, I2c, Delay, Corncrake, 1, WithClock<C>> {
        let (i2c, delay) = (self.bench.i2c(), self.bench.delay());
        Monitor::new(i2c, delay, Corncrake::new(Address::Strap0), &BOARD).with_clock(clock)
    }

    /// The counter makes a step of so many ticks.
    fn step(&self, ticks: i64) {
        let counter = self.counter.get();
        self.counter.set(Counter {
            stepped: counter.stepped + ticks,
            ..counter
        });
    }

    /// In the middle of the last latch's bracket.
    fn at_latch(&self) -> Flowed {
        let [(before_ns, before), (after_ns, after)] = self.witnessed.get();
        let charge = before.charge_half_na_ns + after.charge_half_na_ns;
        ((before_ns + after_ns) as f64 / 2e9, charge as f64 / 4e18)
    }
}

/// A total in coulombs, and its bound by the error budget at the mean operating point.
fn charge<S: TimedSample<1>>(totals: &Totals<'_, 1>, sample: &S) -> (f64, f64) {
    let (total, duration_us) = (totals.charge(Channel::C0), totals.counted_us());
    let total = total.expect("a rail").value.as_nanocoulombs();
    let mean_na = total * 1_000_000 / i128::from(duration_us.max(1));
    let at = OperatingPoint {
        range: *sample.scan().range(Channel::C0).expect("a range"),
        current: Current::from_nanoamps(i64::try_from(mean_na).expect("a mean")),
        voltage: Voltage::from_volts(5),
        power: Power::from_watts(5),
        mean: Mean::Stretch {
            scans: totals.part_clock_us() / 100_000,
            scan_period_us: 100_000,
            duration_us,
            ends_us: 2 * sample.timestamp().width_us(),
            clock: BOARD.clock(),
        },
    };
    let budget = RAIL.current_budget(&INFO, &at).expect("a range");
    let bound = budget.charge(duration_us).total().as_nanocoulombs();
    (total as f64 / 1e9, bound as f64 / 1e9)
}

/// Three hours in which the host wakes every hour: 2^32 µs are 71.6 minutes, so the counter wraps
/// twice or thrice, wherever it began.
#[test]
fn totals_stay_within_their_bound_across_wraps_at_either_end_of_the_clocks_error() {
    for (fast_ppm, at_start) in [(100, 0), (-100, u32::MAX - 7_000), (0, 3_000_000_000)] {
        let fixture = Fixture::new(Counter {
            fast_ppm,
            at_start,
            ..EXACT
        });
        let mut monitor = fixture.monitor(fixture.clock());
        let mut totals = Totals::new(&BOARD);
        monitor.init(&CONFIG).expect("init");
        totals.update(monitor.sample().expect("a sample"));
        let (from_s, from_c) = fixture.at_latch();
        for hour in 1..=3 {
            fixture.bench.run_until(hour * HOUR_NS);
            let update = totals.update(monitor.sample().expect("a sample"));
            assert_eq!(update, Update::Continued, "{fast_ppm} {hour}");
        }
        let (to_s, to_c) = fixture.at_latch();
        let (measured, bound) = charge(&totals, monitor.last_sample());
        let off = measured - (to_c - from_c);
        assert!(off.abs() <= bound, "{fast_ppm}: {off} C, bound {bound} C");
        // The clock's error is in the time counted, and no more than it.
        let off_ppm = (totals.counted_us() as f64 / 1e6 / (to_s - from_s) - 1.0) * 1e6;
        assert!((off_ppm - fast_ppm as f64).abs() < 0.01, "{off_ppm} ppm");
    }
}

/// What totals say of a clock that did something to the hour of sleep.
fn after_sleep(counter: Counter, mishap: impl FnOnce(&Fixture)) -> Update {
    let fixture = Fixture::new(counter);
    let mut monitor = fixture.monitor(fixture.clock());
    let mut totals = Totals::new(&BOARD);
    monitor.init(&CONFIG).expect("init");
    totals.update(monitor.sample().expect("a sample"));
    fixture.bench.run_for(Duration::from_secs(10));
    totals.update(monitor.sample().expect("a sample"));
    let (before, _) = charge(&totals, monitor.last_sample());
    fixture.bench.run_for(Duration::from_secs(3_600));
    mishap(&fixture);
    let update = totals.update(monitor.sample().expect("a sample"));
    let (after, _) = charge(&totals, monitor.last_sample());
    if matches!(update, Update::Discontinuity(_)) {
        // What was counted before stays as it was.
        assert_eq!((before, totals.epoch()), (after, 1));
    }
    // From here on the clock is true again, and so is what is counted.
    let (_, from_c) = fixture.at_latch();
    fixture.bench.run_for(Duration::from_secs(10));
    let next = totals.update(monitor.sample().expect("a sample"));
    assert_eq!(next, Update::Continued);
    let (measured, bound) = charge(&totals, monitor.last_sample());
    let (_, to_c) = fixture.at_latch();
    let off = measured - after - (to_c - from_c);
    assert!(off.abs() <= bound, "{off} C, bound {bound} C");
    update
}

const IMPLAUSIBLE: Update = Update::Discontinuity(Discontinuity::Implausible);

#[test]
fn a_true_clock_loses_nothing_by_an_hour_of_sleep() {
    assert_eq!(after_sleep(EXACT, |_| {}), Update::Continued);
}

/// Half an hour of the hour.
#[test]
fn a_counter_that_stood_still_in_sleep_ends_the_stretch() {
    let update = after_sleep(EXACT, |fixture| fixture.step(-1_800_000_000));
    assert_eq!(update, IMPLAUSIBLE);
}

/// By two minutes, beyond what either clock may be off.
#[test]
fn a_counter_that_jumped_ahead_on_waking_ends_the_stretch() {
    let update = after_sleep(EXACT, |fixture| fixture.step(120_000_000));
    assert_eq!(update, IMPLAUSIBLE);
}

/// A counter of 24 bits at 1 MHz goes round every 16.8 s: the hour was read as what is left of it.
#[test]
fn wraps_that_went_by_unseen_end_the_stretch() {
    let narrow = Counter {
        wrap: 1 << 24,
        ..EXACT
    };
    assert_eq!(after_sleep(narrow, |_| {}), IMPLAUSIBLE);
}

/// The limit of what can be told: a step within the part's own 1.5 % of the hour, 54 s, looks like
/// its oscillator.
#[test]
fn a_step_smaller_than_the_oscillators_error_cannot_be_told() {
    let update = after_sleep(EXACT, |fixture| fixture.step(1_000_000));
    assert_eq!(update, Update::Continued);
}

/// Goal: reading at the latest moment that the clock tells, and no more often, keeps it true for a
/// whole day.
#[test]
fn reading_at_the_latest_moment_is_often_enough() {
    let counter = Counter {
        fast_ppm: -100,
        at_start: 77,
        wrap: 1 << 24,
        ..EXACT
    };
    let fixture = Fixture::new(counter);
    let mut clock = fixture.clock();
    let begun_us = clock.now_us();
    let mut reads = 0;
    while fixture.bench.now_ns() < 24 * HOUR_NS {
        // By the counter's own time, rounded up to where it shows the moment.
        let by_us = u128::from(clock.read_by_us()) - 77;
        let ns = (by_us * 1_000_000_000).div_ceil(999_900);
        fixture
            .bench
            .run_until(u64::try_from(ns).expect("after time 0"));
        clock.now_us();
        reads += 1;
    }
    let own_us = i128::from(fixture.bench.now_ns()) * 999_900 / 1_000_000_000;
    let told = i128::from(clock.now_us() - begun_us);
    assert!(
        (told - own_us).abs() <= 1,
        "{told} µs told, {own_us} µs passed"
    );
    // 86 400 s by 16.777 s.
    assert!((5_149..=5_152).contains(&reads), "{reads}");
}
