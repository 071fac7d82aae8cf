//! No cause is lost by a service and none told twice: whatever moment it rises at, and whichever transfer fails.

mod alerts_desk;

use alerts_desk::faults::*;
use alerts_desk::{CAUSES, Desk, LIMITS, events};
use crake::alert::{Cause, Causes, Event, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::units::Current;
use crake::{Channel, ShuntMonitor};
use crake_sim::bus::{Logging, Speed, Transaction};

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
