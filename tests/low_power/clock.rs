//! A ledger by a counter of 32 bits that is off, wraps, stands still in sleep or jumps on waking, against what really flowed.

use std::cell::Cell;
use std::rc::Rc;

use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::ledger::{Break, Entry, Ledger};
use crake::old::part::corncrake::{BUS_6_V, Corncrake, PACE_10, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{
    Channel, Clock as _, CounterClock, Mode, Monitor, Ranges, Setup, ShuntMonitor as _,
};
use crake_sim::bench::{Delay, I2c};
use crake_sim::plant::{AfterEnd, Interpolation, Recorded};
use crake_suite::rig::{ADDRESS, Flowed, Rig};

const HOUR_NS: u64 = 3_600_000_000_000;
const HZ: u32 = 1_000_000;

/// The counter of a host, in nanoseconds and ppm by the bench's exact time.
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

struct Desk {
    rig: Rig,
    counter: Rc<Cell<Counter>>,
    board: Board<1>,
}

impl Desk {
    /// One rail, 12 V behind 40 mΩ, up and down between -1 A and 3 A every 20 s.
    fn new(counter: Counter) -> Self {
        let rig = Rig::drawn(21);
        let triangle = [
            (0, -1_000_000_000),
            (10_000_000_000, 3_000_000_000),
            (20_000_000_000, -1_000_000_000),
        ];
        let load = Recorded::new(triangle.to_vec(), Interpolation::Linear, AfterEnd::Repeat);
        rig.rail(
            0,
            (5_000_000_000, 40_000),
            load.expect("a load"),
            10_000_000,
        );
        let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
        let load = Load::smooth(Current::from_amps(3)).both_ways();
        let board = Board::new(&SPEC, [Rail::new(shunt, load)]).expect("a board");
        Self {
            rig,
            counter: Rc::new(Cell::new(counter)),
            board: board.with_clock(Tolerance::from_ppm(100)),
        }
    }

    /// A clock on the counter; whenever it is read, the rig's clock witnesses the truth.
    fn clock(&self) -> CounterClock<impl FnMut() -> u32 + use<>> {
        let (counter, bench) = (self.counter.clone(), self.rig.bench.clone());
        let mut witness = self.rig.clock();
        let read = move || {
            witness.now_us();
            counter.get().at(bench.now_ns())
        };
        CounterClock::new(read, HZ, self.counter.get().wrap).expect("a rate and a wrap")
    }

    fn monitor<C: crake::old::Clock>(&self, clock: C) -> Monitor<'_, I2c, Delay, C, Corncrake, 1> {
        let (i2c, delay) = (self.rig.bench.i2c(), self.rig.bench.delay());
        Monitor::new(i2c, delay, clock, Corncrake::new(), ADDRESS, &self.board)
    }

    /// The counter makes a step of so many ticks.
    fn step(&self, ticks: i64) {
        let counter = self.counter.get();
        self.counter.set(Counter {
            stepped: counter.stepped + ticks,
            ..counter
        });
    }
}

const SETUP: Setup<1> = Setup::all(
    Ranges {
        sense: SENSE_65_MV,
        bus: BUS_6_V,
    },
    Mode::Paced(PACE_10),
);

const EXACT: Counter = Counter {
    fast_ppm: 0,
    at_start: 0,
    stepped: 0,
    wrap: 1 << 32,
};

/// Three hours in which the host wakes every hour: 2^32 µs are 71.6 minutes, so the counter wraps twice or thrice, wherever it began.
#[test]
fn totals_stay_within_their_bound_across_wraps_at_either_end_of_the_clocks_error() {
    for (fast_ppm, at_start) in [(100, 0), (-100, u32::MAX - 7_000), (0, 3_000_000_000)] {
        let desk = Desk::new(Counter {
            fast_ppm,
            at_start,
            ..EXACT
        });
        let mut monitor = desk.monitor(desk.clock());
        let mut ledger = Ledger::new(&desk.board, &SPEC);
        ledger.update(&monitor.init(&SETUP).expect("init"));
        let began = desk.rig.at_latch();
        for hour in 1..=3 {
            desk.rig.bench.run_until(hour * HOUR_NS);
            assert_eq!(
                ledger.update(&monitor.latch().expect("latch")),
                Entry::Added,
                "{fast_ppm} {hour}"
            );
        }
        let account = ledger.account(Channel::C0).expect("a rail");
        let flowed = desk.rig.at_latch().since(&began);
        flowed.assert_within(0, &account);
        // The clock's error is in the account, and no more than it.
        let by_host = account.duration_us as f64 / 1e6;
        let off_ppm = (by_host / flowed.time - 1.0) * 1e6;
        assert!((off_ppm - fast_ppm as f64).abs() < 0.01, "{off_ppm} ppm");
    }
}

/// What the ledger says of a clock that did something to the hour of sleep: `None` where it takes it for true.
fn after_sleep(counter: Counter, mishap: impl FnOnce(&Desk)) -> (Entry, Flowed, Desk) {
    let desk = Desk::new(counter);
    let mut monitor = desk.monitor(desk.clock());
    let mut ledger = Ledger::new(&desk.board, &SPEC);
    ledger.update(&monitor.init(&SETUP).expect("init"));
    desk.rig.pass_ms(10_000);
    ledger.update(&monitor.latch().expect("latch"));
    let before = ledger.account(Channel::C0).expect("a rail");
    desk.rig
        .bench
        .run_for(std::time::Duration::from_secs(3_600));
    mishap(&desk);
    let entry = ledger.update(&monitor.latch().expect("latch"));
    let (after, began) = (
        ledger.account(Channel::C0).expect("a rail"),
        desk.rig.at_latch(),
    );
    if let Entry::Broken { .. } = entry {
        // What was accounted for before stays as it was.
        assert_eq!(before, after);
        assert_eq!(ledger.epoch(), 1);
    }
    // From here on the clock is true again, and so is the account.
    let had = after;
    desk.rig.pass_ms(10_000);
    assert_eq!(
        ledger.update(&monitor.latch().expect("latch")),
        Entry::Added
    );
    let now = ledger.account(Channel::C0).expect("a rail");
    let flowed = desk.rig.at_latch().since(&began);
    let charged = (now.charge.as_nanocoulombs() - had.charge.as_nanocoulombs()) as f64 / 1e9;
    let bound = now.charge_bound.total().as_nanocoulombs() as f64 / 1e9;
    assert!(
        (charged - flowed.charge[0]).abs() <= bound,
        "{charged} C, {flowed:?}"
    );
    (entry, flowed, desk)
}

fn broken_by_rounds(entry: Entry) -> (u32, u64) {
    match entry {
        Entry::Broken {
            reason: Break::Rounds { counted, expected },
            reopened: true,
        } => (counted, expected),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_true_clock_loses_nothing_by_an_hour_of_sleep() {
    let (entry, ..) = after_sleep(EXACT, |_| {});
    assert_eq!(entry, Entry::Added);
}

/// Half an hour at ten rounds a second, within the oscillator's 1.5 %: 18 000, of 36 000 counted.
#[test]
fn a_counter_that_stood_still_in_sleep_ends_the_epoch() {
    let (entry, ..) = after_sleep(EXACT, |desk| desk.step(-1_800_000_000));
    let (counted, expected) = broken_by_rounds(entry);
    assert!((35_400..36_600).contains(&counted), "{counted}");
    assert!((17_990..18_010).contains(&expected), "{expected}");
}

#[test]
fn a_counter_that_jumped_ahead_on_waking_ends_the_epoch() {
    let (entry, ..) = after_sleep(EXACT, |desk| desk.step(120_000_000));
    let (counted, expected) = broken_by_rounds(entry);
    assert!((35_400..36_600).contains(&counted), "{counted}");
    assert!((37_190..37_210).contains(&expected), "{expected}");
}

/// A counter of 24 bits at 1 MHz goes round every 16.8 s: the hour was read as what is left of it.
#[test]
fn wraps_that_went_by_unseen_end_the_epoch() {
    let narrow = Counter {
        wrap: 1 << 24,
        ..EXACT
    };
    let (entry, ..) = after_sleep(narrow, |_| {});
    let (counted, expected) = broken_by_rounds(entry);
    assert!(counted > 35_400 && expected <= 168, "{counted} {expected}");
}

/// The limit of what can be told: a step within the part's own 1.5 % of the hour, 54 s, looks like its oscillator.
#[test]
fn a_step_smaller_than_the_oscillators_error_cannot_be_told() {
    let (entry, ..) = after_sleep(EXACT, |desk| desk.step(1_000_000));
    assert_eq!(entry, Entry::Added);
}

/// Goal: reading at the latest moment that the clock tells, and no more often, keeps it true for a whole day.
#[test]
fn reading_at_the_latest_moment_is_often_enough() {
    let counter = Counter {
        fast_ppm: -100,
        at_start: 77,
        wrap: 1 << 24,
        ..EXACT
    };
    let desk = Desk::new(counter);
    let mut clock = desk.clock();
    let begun_us = clock.now_us();
    let mut reads = 0;
    while desk.rig.bench.now_ns() < 24 * HOUR_NS {
        // By the counter's own time, rounded up to where it shows the moment.
        let by_us = u128::from(clock.read_by_us()) - 77;
        let ns = (by_us * 1_000_000_000).div_ceil(999_900);
        desk.rig
            .bench
            .run_until(u64::try_from(ns).expect("after time 0"));
        clock.now_us();
        reads += 1;
    }
    let own_us = i128::from(desk.rig.bench.now_ns()) * 999_900 / 1_000_000_000;
    let told = i128::from(clock.now_us() - begun_us);
    assert!(
        (told - own_us).abs() <= 1,
        "{told} µs told, {own_us} µs passed"
    );
    // 86 400 s by 16.777 s.
    assert!((5_149..=5_152).contains(&reads), "{reads}");
}
