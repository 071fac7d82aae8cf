//! No cause is lost and none told twice: whatever moment it rises at, and whichever transfer fails.

mod alerts_desk;

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use alerts_desk::{CAUSES, Desk, LIMITS, SETUP, events};
use crake::alert::{Cause, Causes, Event, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::part::corncrake::{BUS_6_V, PACE_2000, SENSE_26_MV, SENSE_65_MV};
use crake::units::{Current, Voltage};
use crake::{Channel, Misuse, Mode, Ranges, Setup, ShuntMonitor};
use crake_sim::bench::{Bench, Part};
use crake_sim::bus::{BusError, Logging, Speed, Transaction};
use crake_sim::part::{Target, corncrake::Output};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

/// Five milliamperes and three volts: within all limits below. One sense code is 500 nA.
const AT_REST: (i64, i64) = (5_000_000, 3_000_000_000);
/// Beyond the over-current limit of 10 mA.
const MUCH: (i64, i64) = (20_000_000, 3_000_000_000);
/// Beyond the under-voltage limit of 2 V.
const LOW: (i64, i64) = (5_000_000, 1_000_000_000);

const OVER_CURRENT: Cause = Cause::Limit(Channel::C0, Kind::OverCurrent);
const UNDER_VOLTAGE: Cause = Cause::Limit(Channel::C1, Kind::UnderVoltage);

static WATCHES: [Watch; 2] = [
    Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(10)))
        .held()
        .to(Outputs::A),
    Watch::new(Channel::C1, Limit::UnderVoltage(Voltage::from_volts(2)))
        .held()
        .to(Outputs::A),
];

const FAST: Setup<4> = Setup {
    mode: Mode::Paced(PACE_2000),
    ..SETUP
};

type Stationed = Station<'static, 4, 16>;
type Told<'m> = &'m mut dyn ShuntMonitor<4, BusError = BusError>;

/// What firmware does: serve while the line is low, again after a failure; then the events.
fn serve(desk: &Desk, station: &mut Stationed, monitor: Told<'_>) -> Vec<Event> {
    let mut told = Vec::new();
    let mut rounds = 0;
    let mut repeat = false;
    while repeat || desk.low()[0] {
        repeat = station.service(monitor).is_err();
        told.extend(events(station));
        rounds += 1;
        assert!(rounds < 20, "the line stays low");
    }
    told
}

fn count(told: &[Event], cause: Cause) -> usize {
    told.iter().filter(|event| event.cause == cause).count()
}

/// An over-current starts a service; an under-voltage of one single conversion comes at every position within it, in steps of less than two bits of the bus.
#[test]
fn a_cause_that_rises_anywhere_in_a_service_is_told_once() {
    let mut in_one_service = 0;
    sweep(UNDER_VOLTAGE, |told, set_ns, log| {
        assert_eq!(count(told, OVER_CURRENT), 1, "set at {set_ns}");
        assert_eq!(count(told, UNDER_VOLTAGE), 1, "set at {set_ns}");
        assert_eq!(told.len(), 2);
        in_one_service += usize::from(reads_of_causes(log).len() == 3);
    });
    assert!(in_one_service > 50, "{in_one_service}");
}

/// The same, but what rises within the service is what it is already about. Until the last look it merges; after it, it is told again.
#[test]
fn a_cause_that_recurs_anywhere_in_a_service_merges_or_is_told_again() {
    let (mut merged, mut again) = (0, 0);
    sweep(OVER_CURRENT, |told, set_ns, log| {
        let latch = log
            .iter()
            .position(|entry| entry.to_string().starts_with("S 64 03 "))
            .expect("a latch");
        let reads = reads_of_causes(&log[..latch]);
        let (began_ns, ended_ns) = *reads.last().expect("a look that finds nothing");
        let told = count(told, OVER_CURRENT);
        if set_ns < began_ns {
            assert_eq!(told, 1, "set at {set_ns}, last look at {began_ns}");
            merged += 1;
        } else if set_ns > ended_ns {
            assert_eq!(told, 2, "set at {set_ns}, last look until {ended_ns}");
            again += 1;
        } else {
            // The value is sampled somewhere within the read.
            assert!(told == 1 || told == 2);
        }
    });
    assert!(merged > 50 && again > 200, "{merged} merged, {again} again");
}

/// When CAUSES was read, from START to STOP.
fn reads_of_causes(log: &[Transaction]) -> Vec<(u64, u64)> {
    log.iter()
        .filter(|entry| entry.to_string().starts_with("S 64 37 Sr 65 "))
        .map(|entry| (entry.start_ns, entry.stop_ns))
        .collect()
}

/// Serves an over-current, with a further excursion of one conversion that ends at each position of the service in turn; hands over what was told in all, when that conversion ended, and what
/// went over the bus.
fn sweep(cause: Cause, mut judge: impl FnMut(&[Event], u64, &[Transaction])) {
    let mut positions = 0;
    let mut longest_ns = 0;
    for shift_ns in (0..4_500_000).step_by(4_300) {
        let desk = Desk::new();
        desk.bench.set_bus_speed(Speed::Fast);
        let first = desk.excursion(0, AT_REST, MUCH);
        let second = desk.excursion(1, AT_REST, LOW);
        for channel in [2, 3] {
            desk.hands[channel].set(AT_REST.0, AT_REST.1);
        }
        let mut monitor = desk.monitor();
        monitor.init(&FAST).expect("a part that answers");
        let mut station: Stationed = Station::new(FAST, Watches::limits(&WATCHES));
        station.arm(&mut monitor).expect("watches that can be");
        excursion_of_one_conversion(&desk, &first);
        assert_eq!(desk.low(), [true, false]);

        // Rounds follow each other without a gap: sense of channel 0 ends 62.5 µs into each, bus of channel 1 250 µs. The conversion that shall end `shift_ns` after the
        // service begins is fixed; the service begins by so much earlier.
        let into_round = if cause == OVER_CURRENT {
            62_500
        } else {
            250_000
        };
        let set_ns = desk.bench.now_ns() + 5_000_000 + into_round;
        let plant = if cause == OVER_CURRENT {
            &first
        } else {
            &second
        };
        plant.when_ns.borrow_mut().push((set_ns - 62_500, set_ns));
        let service_ns = set_ns - shift_ns;
        desk.bench.run_until(service_ns);
        desk.bench.set_logging(Logging::Full);
        let mut told = serve(&desk, &mut station, &mut monitor);
        longest_ns = longest_ns.max(desk.bench.now_ns() - service_ns);
        // It may lie behind the service: the next one tells it.
        desk.bench.run_until(set_ns);
        told.extend(serve(&desk, &mut station, &mut monitor));
        judge(&told, set_ns, &desk.bench.log());
        assert_eq!(desk.register(CAUSES) & LIMITS, 0);
        assert!(events(&mut station).is_empty() && station.pending().is_empty());
        positions += 1;
    }
    assert!(positions > 1_000);
    assert!(
        longest_ns > 3_000_000,
        "the sweep covers a service of {longest_ns} ns"
    );
}

/// A controller whose transfers fail as planned.
struct Failing<B> {
    inner: B,
    plan: Rc<RefCell<Failures>>,
}

/// Which transfer fails from now on, and how.
#[derive(Default)]
struct Failures {
    /// Transfers until the failure; `None`: no failure.
    after: Option<usize>,
    /// Whether the transfer takes place and is reported as failed nevertheless.
    took_effect: bool,
    /// Transfers so far.
    count: usize,
}

impl Failures {
    fn at(number: usize, took_effect: bool) -> Self {
        Self {
            after: Some(number),
            took_effect,
            count: 0,
        }
    }

    fn hits(&mut self) -> bool {
        let hit = self.after == Some(self.count);
        self.count += 1;
        hit
    }
}

impl<B: ErrorType> ErrorType for Failing<B> {
    type Error = B::Error;
}

impl<B: I2c<Error = BusError>> I2c for Failing<B> {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let hits = self.plan.borrow_mut().hits();
        if hits && !self.plan.borrow().took_effect {
            return Err(BusError(ErrorKind::ArbitrationLoss));
        }
        let outcome = self.inner.transaction(address, operations);
        if hits {
            return Err(BusError(ErrorKind::Bus));
        }
        outcome
    }
}

/// One failure at every transfer of a service, before it or after it took effect, with and without repeats by the driver.
#[test]
fn a_failure_at_any_transfer_of_a_service_loses_nothing_and_tells_nothing_twice() {
    for repeats in [0, 2] {
        for took_effect in [false, true] {
            let mut number = 0;
            loop {
                let (desk, plan, mut monitor, mut station, rail) = failing(repeats);
                excursion_of_one_conversion(&desk, &rail);
                assert_eq!(desk.low(), [true, false]);
                *plan.borrow_mut() = Failures::at(number, took_effect);
                let told = serve(&desk, &mut station, &mut monitor);
                let name = format!("transfer {number}, {took_effect}, {repeats} repeats");
                assert_eq!(count(&told, OVER_CURRENT), 1, "{name}");
                assert_eq!(told.len(), 1, "{name}");
                assert_eq!(desk.low(), [false, false], "{name}");
                assert_eq!(desk.register(CAUSES) & LIMITS, 0, "{name}");
                if plan.borrow().count <= number {
                    break;
                }
                number += 1;
            }
            // Read, clear, read again, latch, block.
            assert_eq!(number, 5, "transfers of a service");
        }
    }
}

/// One failure at every transfer of arming anew, with a cause standing from before; arming again brings all in order.
#[test]
fn a_failure_at_any_transfer_of_arming_loses_nothing_and_asserts_nothing_false() {
    static FINE: [Watch; 1] =
        [
            Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(12)))
                .held()
                .to(Outputs::B),
        ];
    let fine = FAST.with(
        Channel::C0,
        Some(Ranges {
            sense: SENSE_26_MV,
            bus: BUS_6_V,
        }),
    );
    let mut most = 0;
    for repeats in [0, 2] {
        for took_effect in [false, true] {
            let mut number = 0;
            loop {
                let (desk, plan, mut monitor, mut station, rail) = failing(repeats);
                excursion_of_one_conversion(&desk, &rail);
                *plan.borrow_mut() = Failures::at(number, took_effect);
                let name = format!("transfer {number}, {took_effect}, {repeats} repeats");
                let mut failures = 0;
                while let Err(error) = station
                    .rearm(&mut monitor, fine, Watches::limits(&FINE))
                    .map(|_| ())
                {
                    assert!(error.is_worth_repeating(), "{name}: {error:?}");
                    failures += 1;
                    assert!(failures < 3, "{name}");
                }
                let transfers = plan.borrow().count;
                plan.borrow_mut().after = None;
                assert_eq!(desk.low(), [false, false], "{name}");
                let told = events(&mut station);
                assert_eq!(told.len(), 1, "{name}: {told:?}");
                assert_eq!(told[0].cause, OVER_CURRENT, "{name}");
                // It was passed when 10 mA was the limit; where it cannot be told from the new one, none is given.
                let old = Limit::OverCurrent(Current::from_milliamps(10));
                let expected = (failures == 0).then_some(old);
                assert_eq!(told[0].in_force, expected, "{name}");
                // The new watch works, in its own range and on its own line, and the part answers to the driver.
                desk.next_round();
                assert_eq!(desk.low(), [false, false], "{name}");
                excursion_of_one_conversion(&desk, &rail);
                assert_eq!(desk.low(), [false, true], "{name}");
                station.service(&mut monitor).expect("no further failure");
                let told = events(&mut station);
                assert_eq!(told.len(), 1, "{name}: {told:?}");
                let new = Limit::OverCurrent(Current::from_milliamps(12));
                assert_eq!(told[0].in_force, Some(new), "{name}");
                if transfers <= number {
                    break;
                }
                number += 1;
            }
            most = most.max(number);
        }
    }
    assert!((25..200).contains(&most), "{most} transfers were tried");
}

type FailingMonitor = alerts_desk::Blocking<Failing<alerts_desk::Bus>>;

fn failing(
    repeats: u8,
) -> (
    Desk,
    Rc<RefCell<Failures>>,
    FailingMonitor,
    Stationed,
    alerts_desk::Excursion,
) {
    let desk = Desk::new();
    for hand in &desk.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    let rail = desk.excursion(0, AT_REST, MUCH);
    let plan = Rc::new(RefCell::new(Failures::default()));
    let bus = Failing {
        inner: desk.bench.i2c(),
        plan: plan.clone(),
    };
    let mut monitor = desk.monitor_on(bus).with_repeats(repeats);
    monitor.init(&FAST).expect("a part that answers");
    let mut station: Stationed = Station::new(FAST, Watches::limits(&WATCHES));
    station.arm(&mut monitor).expect("watches that can be");
    (desk, plan, monitor, station, rail)
}

fn excursion_of_one_conversion(desk: &Desk, rail: &alerts_desk::Excursion) {
    desk.next_round();
    let begins = desk.bench.now_ns();
    rail.when_ns.borrow_mut().push((begins, begins + 62_500));
    desk.next_round();
}

/// A condition that stands is told again by each service, and no service goes on for ever.
#[test]
fn a_cause_whose_level_persists_comes_back() {
    let desk = Desk::new();
    for hand in &desk.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    let mut monitor = desk.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut station: Stationed = Station::new(FAST, Watches::limits(&WATCHES));
    station.arm(&mut monitor).expect("watches that can be");
    desk.hands[0].set(MUCH.0, MUCH.1);
    desk.next_round();
    desk.next_round();
    for _ in 0..5 {
        assert_eq!(desk.low(), [true, false]);
        station.service(&mut monitor).expect("a part that answers");
        assert_eq!(count(&events(&mut station), OVER_CURRENT), 1);
        desk.next_round();
        desk.next_round();
    }
    desk.hands[0].set(AT_REST.0, AT_REST.1);
    desk.next_round();
    assert_eq!(
        count(&serve(&desk, &mut station, &mut monitor), OVER_CURRENT),
        1
    );
    assert_eq!(desk.low(), [false, false]);
}

/// A slow bus, and currents too high on all channels: every look finds something. A service ends nevertheless, and reports nothing that it has not cleared, or the next would tell it twice.
#[test]
fn what_the_last_look_of_a_service_finds_is_cleared_too() {
    const fn watch(channel: Channel) -> Watch {
        let limit = Limit::OverCurrent(Current::from_milliamps(10));
        Watch::new(channel, limit).held().to(Outputs::A)
    }
    static ALL: [Watch; 4] = [
        watch(Channel::C0),
        watch(Channel::C1),
        watch(Channel::C2),
        watch(Channel::C3),
    ];
    let desk = Desk::new();
    desk.bench.set_bus_speed(Speed::Standard);
    let rails = [0, 1, 2, 3].map(|channel| desk.excursion(channel, AT_REST, MUCH));
    let mut monitor = desk.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut station: Stationed = Station::new(FAST, Watches::limits(&ALL));
    station.arm(&mut monitor).expect("watches that can be");
    let mut longest = 0;
    for rounds in 1..40 {
        desk.next_round();
        let begins = desk.bench.now_ns();
        let ends = begins + rounds * 500_000;
        for rail in &rails {
            rail.when_ns.borrow_mut().push((begins, ends));
        }
        desk.next_round();
        while desk.low()[0] {
            desk.bench.set_logging(Logging::Full);
            station.service(&mut monitor).expect("a part that answers");
            let told = events(&mut station)
                .iter()
                .fold(Causes::empty(), |all, event| all | Causes::of(event.cause));
            let log = desk.bench.log();
            // `S 64 37 Sr 65 20 00 84 .. P` is a look, `S 64 37 00 00 84 .. P` a clearing.
            let (looks, clearings): (Vec<u64>, Vec<u64>) = {
                let bits = |text: &str| {
                    u64::from_str_radix(&text.replace(' ', ""), 16).expect("bytes") & LIMITS
                };
                let texts: Vec<String> = log.iter().map(ToString::to_string).collect();
                let after = |prefix: &str| -> Vec<u64> {
                    let rests = texts.iter().filter_map(|text| text.strip_prefix(prefix));
                    rests
                        .filter(|rest| !rest.starts_with("Sr"))
                        .map(|rest| bits(&rest[..8]))
                        .collect()
                };
                (after("S 64 37 Sr 65 "), after("S 64 37 "))
            };
            let found: Vec<u64> = looks.into_iter().filter(|bits| *bits != 0).collect();
            assert_eq!(found, clearings, "{rounds} rounds");
            assert!((1..=4).contains(&found.len()));
            assert_eq!(told.bits(), found.iter().fold(0, |all, bits| all | bits));
            longest = longest.max(found.len());
        }
        assert!(desk.bench.now_ns() > ends);
    }
    assert_eq!(longest, 4, "a service that was kept busy");
}

#[test]
fn events_that_find_the_queue_full_are_counted_and_named() {
    static BOTH: [Watch; 3] = [
        WATCHES[0],
        WATCHES[1],
        Watch::new(Channel::C3, Limit::OverCurrent(Current::from_milliamps(10)))
            .held()
            .to(Outputs::A),
    ];
    let desk = Desk::new();
    for hand in &desk.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    let mut monitor = desk.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut station: Station<'_, 4, 1> = Station::new(FAST, Watches::limits(&BOTH));
    station.arm(&mut monitor).expect("watches that can be");
    desk.hands[0].set(MUCH.0, MUCH.1);
    desk.hands[1].set(LOW.0, LOW.1);
    desk.hands[3].set(MUCH.0, MUCH.1);
    desk.next_round();
    desk.next_round();
    station.service(&mut monitor).expect("a part that answers");
    assert_eq!(station.dropped(), 2);
    let third = Cause::Limit(Channel::C3, Kind::OverCurrent);
    assert_eq!(
        station.lost(),
        Causes::of(UNDER_VOLTAGE) | Causes::of(third)
    );
    assert_eq!(station.lost(), Causes::empty(), "told once");
    let told = events(&mut station);
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].cause, OVER_CURRENT);
    assert_eq!(station.dropped(), 2, "the count stays");
}

/// Looks at the outputs whenever the bus moves time: at every byte.
struct Watcher {
    part: Part,
    seen_low: Rc<RefCell<Vec<u64>>>,
}

impl Target for Watcher {
    fn advance(&mut self, to_ns: u64) {
        if [Output::A, Output::B]
            .into_iter()
            .any(|output| self.part.is_low(output))
        {
            self.seen_low.borrow_mut().push(to_ns);
        }
    }
    fn start(&mut self) {}
    fn address(&mut self, _: u8) -> bool {
        false
    }
    fn write(&mut self, _: u8) -> bool {
        false
    }
    fn offer(&mut self) -> u8 {
        0xFF
    }
    fn settle(&mut self, _: u8) {}
    fn stop(&mut self) {}
    fn incomplete_byte(&mut self) {}
}

fn watch_lines(bench: &Bench, part: &Part) -> Rc<RefCell<Vec<u64>>> {
    let seen_low: Rc<RefCell<Vec<u64>>> = Rc::default();
    let watcher = Watcher {
        part: part.clone(),
        seen_low: seen_low.clone(),
    };
    bench
        .attach(0x70, Rc::new(RefCell::new(watcher)))
        .expect("a free address");
    seen_low
}

/// 20 mA is code 40 000 in the coarse range and 100 000 in the fine one; 25 mA is 50 000 and 125 000, 15 mA 30 000 and 75 000. So each old code in the new range, and each
/// new code in the old range, would trip, one or the other way round, over or under. Channel 3 is converted late in a round, so that its limits may come while an old round goes on.
#[test]
fn ranges_and_limits_change_together_and_nothing_false_is_told() {
    let ranges = |sense| {
        FAST.with(
            Channel::C3,
            Some(Ranges {
                sense,
                bus: BUS_6_V,
            }),
        )
    };
    let between = [
        Watch::new(Channel::C3, Limit::OverCurrent(Current::from_milliamps(25)))
            .held()
            .to(Outputs::all()),
        Watch::new(
            Channel::C3,
            Limit::UnderCurrent(Current::from_milliamps(15)),
        )
        .held()
        .to(Outputs::all()),
    ];
    // The debounce changes along with them, back and forth.
    let debounced = [between[0], between[1].debounce(15)];
    for (from, to) in [(SENSE_65_MV, SENSE_26_MV), (SENSE_26_MV, SENSE_65_MV)] {
        for speed in [Speed::Standard, Speed::Fast, Speed::FastPlus] {
            let desk = Desk::new();
            desk.bench.set_bus_speed(speed);
            for hand in &desk.hands {
                hand.set(20_000_000, 3_000_000_000);
            }
            let mut monitor = desk.monitor();
            monitor.init(&ranges(from)).expect("a part that answers");
            let mut station: Station<'_, 4, 16> =
                Station::new(ranges(from), Watches::limits(&between));
            station.arm(&mut monitor).expect("watches that can be");
            let seen_low = watch_lines(&desk.bench, &desk.part);
            for (change, (setup, watches)) in [
                (ranges(to), &between),
                (ranges(from), &debounced),
                (ranges(to), &debounced),
                (ranges(from), &between),
            ]
            .into_iter()
            .cycle()
            .take(4 * 64)
            .enumerate()
            {
                // Each change begins elsewhere in a round: 7.9 µs further on.
                desk.next_round();
                desk.bench
                    .run_for(Duration::from_nanos(7_900 * change as u64));
                station
                    .rearm(&mut monitor, setup, Watches::limits(watches))
                    .expect("watches that can be");
                desk.next_round();
                desk.next_round();
                station.service(&mut monitor).expect("a part that answers");
                assert!(seen_low.borrow().is_empty(), "{from:?} {speed:?}");
                let told = events(&mut station);
                assert!(told.is_empty(), "{from:?} {speed:?}: {told:?}");
                assert!(station.pending().is_empty());
            }
            // The watcher is awake.
            desk.hands[3].set(30_000_000, 3_000_000_000);
            desk.next_round();
            desk.next_round();
            desk.register(CAUSES);
            assert!(!seen_low.borrow().is_empty());
        }
    }
}

/// A debounce that grows, or a cause that becomes a following one: a condition too short for the new watch must not count by the old one.
#[test]
fn a_limit_is_never_judged_by_the_debounce_before() {
    static LONG: [Watch; 1] =
        [
            Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(10)))
                .debounce(15)
                .held()
                .to(Outputs::A),
        ];
    static FAR: [Watch; 1] =
        [
            Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(30)))
                .held()
                .to(Outputs::A),
        ];
    // 20 mA: far from the limit of 30 mA, beyond that of 10 mA, but for fewer than 15 conversions in a row.
    for (number, speed) in [Speed::Standard, Speed::Fast, Speed::FastPlus]
        .into_iter()
        .cycle()
        .enumerate()
        .take(3 * 50)
    {
        let desk = Desk::new();
        desk.bench.set_bus_speed(speed);
        for hand in &desk.hands {
            hand.set(20_000_000, 3_000_000_000);
        }
        let rail = desk.excursion(0, MUCH, AT_REST);
        let mut monitor = desk.monitor();
        monitor.init(&FAST).expect("a part that answers");
        let mut station: Stationed = Station::new(FAST, Watches::limits(&FAR));
        station.arm(&mut monitor).expect("watches that can be");
        // Every fourth round, the current is back: fifteen in a row never come.
        let begins = desk.bench.now_ns();
        for gap in 0..200 {
            let from = begins + gap * 2_000_000;
            rail.when_ns.borrow_mut().push((from, from + 500_000));
        }
        // The change begins everywhere in those four rounds.
        desk.bench
            .run_for(Duration::from_nanos(13_700 * number as u64));
        station
            .rearm(&mut monitor, FAST, Watches::limits(&LONG))
            .expect("watches that can be");
        for _ in 0..20 {
            desk.next_round();
            assert_eq!(desk.low(), [false, false], "{number} {speed:?}");
        }
        assert_eq!(desk.register(CAUSES) & LIMITS, 0, "{number} {speed:?}");
        assert!(events(&mut station).is_empty());
    }
}

/// An excursion of one conversion at every position of a change: told once if it ended before the limits went, and if not, never with a limit that it did not pass.
#[test]
fn an_excursion_anywhere_in_a_change_of_limits_is_told_by_the_limit_it_passed() {
    static HIGHER: [Watch; 1] =
        [
            Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(30)))
                .held()
                .to(Outputs::A),
        ];
    let fine = FAST.with(
        Channel::C0,
        Some(Ranges {
            sense: SENSE_26_MV,
            bus: BUS_6_V,
        }),
    );
    let (mut before, mut after) = (0, 0);
    for (phase, round) in (0..50).flat_map(|phase| (0..12).map(move |round| (phase, round))) {
        let desk = Desk::new();
        desk.bench.set_bus_speed(Speed::Fast);
        for hand in &desk.hands {
            hand.set(AT_REST.0, AT_REST.1);
        }
        // 20 mA: 100 000 in the fine range, where 30 mA cannot be; so the change is from fine to coarse.
        let rail = desk.excursion(0, AT_REST, MUCH);
        let mut monitor = desk.monitor();
        monitor.init(&fine).expect("a part that answers");
        let mut station: Stationed = Station::new(fine, Watches::limits(&WATCHES));
        station.arm(&mut monitor).expect("watches that can be");
        desk.next_round();
        // Rounds follow each other without a gap, and each begins with the sense conversion of channel 0.
        let from = desk.bench.now_ns() + 500_000 * round;
        let set_ns = from + 62_500;
        rail.when_ns.borrow_mut().push((from, set_ns));
        desk.bench.run_for(Duration::from_micros(10 * phase));
        desk.bench.set_logging(Logging::Full);
        station
            .rearm(&mut monitor, FAST, Watches::limits(&HIGHER))
            .expect("watches that can be");
        // The old limit goes to the end of the scale with this write.
        let gone_ns = desk
            .bench
            .log()
            .iter()
            .find(|entry| entry.to_string().starts_with("S 64 12 01 FF FF "))
            .expect("the limit moved out of the way")
            .stop_ns;
        let told = events(&mut station);
        let name = format!("set at {set_ns}, limit gone at {gone_ns}");
        assert_eq!(told.len(), usize::from(set_ns <= gone_ns), "{name}");
        before += told.len();
        after += 1 - told.len();
        for event in &told {
            let limit = Limit::OverCurrent(Current::from_milliamps(10));
            assert_eq!(event.in_force, Some(limit), "{name}");
        }
        desk.bench.run_for(Duration::from_millis(10));
        assert_eq!(desk.low(), [false, false], "20 mA do not pass 30 mA");
    }
    assert!(before > 50 && after > 50, "{before} before, {after} after");
}

#[test]
fn a_planned_failure_reaches_the_firmware_when_nothing_repeats() {
    let (_, plan, mut monitor, mut station, _) = failing(0);
    *plan.borrow_mut() = Failures::at(0, false);
    let error = station
        .service(&mut monitor)
        .map(|_| ())
        .expect_err("planned");
    assert!(error.is_worth_repeating());
}

/// Arming failed late: the new limit may stand in the part, so the channel's range must not change under it, whatever was watched before.
#[test]
fn after_a_failed_arming_no_range_changes_under_a_limit_that_may_stand() {
    static THIRD: [Watch; 1] =
        [
            Watch::new(Channel::C2, Limit::OverCurrent(Current::from_milliamps(12)))
                .held()
                .to(Outputs::A),
        ];
    let (desk, plan, mut monitor, mut station, _) = failing(0);
    station
        .rearm(&mut monitor, FAST, Watches::default())
        .expect("nothing to watch");
    let fine = FAST.with(
        Channel::C2,
        Some(Ranges {
            sense: SENSE_26_MV,
            bus: BUS_6_V,
        }),
    );
    desk.bench.set_logging(Logging::Full);
    station
        .rearm(&mut monitor, FAST, Watches::limits(&THIRD))
        .expect("no failure");
    let transfers = desk.bench.log().len();
    station
        .rearm(&mut monitor, FAST, Watches::default())
        .expect("no failure");
    monitor.configure(&fine).expect("nothing is watched");
    monitor.configure(&FAST).expect("nothing is watched");
    // The last transfer of all: the limit stands, unmasked.
    *plan.borrow_mut() = Failures::at(transfers - 1, false);
    station
        .rearm(&mut monitor, FAST, Watches::limits(&THIRD))
        .map(|_| ())
        .expect_err("planned");
    plan.borrow_mut().after = None;
    let error = monitor.configure(&fine).map(|_| ()).expect_err("in doubt");
    assert_eq!(error.misuse(), Some(Misuse::LimitsInForce(Channel::C2)));
    station
        .rearm(&mut monitor, fine, Watches::limits(&THIRD))
        .expect("no failure");
}

/// A change that failed after the new limits were in force, and firmware that serves before it arms again: the line does not stay low for want of interest.
#[test]
fn a_service_after_a_failed_change_sees_the_new_limits_too() {
    static THIRD: [Watch; 1] =
        [
            Watch::new(Channel::C2, Limit::OverCurrent(Current::from_milliamps(4)))
                .held()
                .to(Outputs::A),
        ];
    let (desk, plan, mut monitor, mut station, _) = failing(0);
    desk.bench.set_logging(Logging::Full);
    station
        .rearm(&mut monitor, FAST, Watches::limits(&THIRD))
        .expect("no failure");
    let transfers = desk.bench.log().len();
    events(&mut station);
    station
        .rearm(&mut monitor, FAST, Watches::limits(&WATCHES))
        .expect("no failure");
    events(&mut station);
    // The last transfer of all: the new limit stands, and its output is unmasked.
    *plan.borrow_mut() = Failures::at(transfers - 1, false);
    station
        .rearm(&mut monitor, FAST, Watches::limits(&THIRD))
        .map(|_| ())
        .expect_err("planned");
    plan.borrow_mut().after = None;
    desk.next_round();
    desk.next_round();
    assert_eq!(desk.low(), [true, false], "5 mA pass 4 mA");
    station.service(&mut monitor).expect("no further failure");
    let told = events(&mut station);
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!(told[0].cause, Cause::Limit(Channel::C2, Kind::OverCurrent));
    assert_eq!(told[0].in_force, None, "it is not known which limit it was");
    station
        .rearm(&mut monitor, FAST, Watches::limits(&THIRD))
        .expect("no failure");
    events(&mut station);
    desk.next_round();
    desk.next_round();
    station.service(&mut monitor).expect("no failure");
    let told = events(&mut station);
    let limit = Limit::OverCurrent(Current::from_milliamps(4));
    assert_eq!(told[0].in_force, Some(limit), "all is in order again");
}
