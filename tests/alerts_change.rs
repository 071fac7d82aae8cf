//! Ranges and limits change together: nothing false is told, nothing true is lost, and whichever transfer fails, arming again brings all in order.

mod alerts_desk;

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use alerts_desk::faults::*;
use alerts_desk::{CAUSES, Desk, LIMITS, events};
use crake::old::alert::{Cause, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::old::part::corncrake::{BUS_6_V, SENSE_26_MV, SENSE_65_MV};
use crake::old::units::Current;
use crake::old::{Channel, Misuse, Ranges, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::bus::{Logging, Speed};
use crake_sim::old::corncrake::{Output, Part};
use crake_sim::part::Target;

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
