//! No cause is lost by a service and none told twice: whatever moment it rises at, and whichever transfer fails.

mod alerts_desk;

use alerts_desk::faults::*;
use alerts_desk::sweep::{recurs_anywhere, rises_anywhere};
use alerts_desk::{CAUSES, Desk, LIMITS, events};
use crake::old::alert::{Cause, Causes, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::old::units::Current;
use crake::old::{Channel, ShuntMonitor};
use crake_sim::bus::{Logging, Speed};

#[test]
fn a_cause_that_rises_anywhere_in_a_service_is_told_once() {
    rises_anywhere(4_500_000, serve);
}

#[test]
fn a_cause_that_recurs_anywhere_in_a_service_merges_or_is_told_again() {
    recurs_anywhere(4_500_000, serve);
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
