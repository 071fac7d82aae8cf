//! No flag is lost by a service and none told twice: whatever moment it rises at, and whichever
//! transfer fails.

use crake::alert::{AlertFlag, AlertFlags, AlertQueue, Kind, Limit, Limits, Outputs, Threshold};
use crake::units::Current;
use crake::{Channel, ShuntMonitor};
use crake_sim::bus::{Logging, Speed};

use crate::faults::*;
use crate::fixture::{FAST, Fixture, events};
use crate::sweep::{recurs_anywhere, rises_anywhere};

#[test]
fn a_flag_that_rises_anywhere_in_a_service_is_told_once() {
    rises_anywhere(4_500_000, serve);
}

#[test]
fn a_flag_that_recurs_anywhere_in_a_service_merges_or_is_told_again() {
    recurs_anywhere(4_500_000, serve);
}

/// One failure at every transfer of a service, before it or after it took effect, with and without
/// repeats by the driver.
#[test]
fn a_failure_at_any_transfer_of_a_service_loses_nothing_and_tells_nothing_twice() {
    for attempts in [1, 3] {
        for took_effect in [false, true] {
            let mut number = 0;
            loop {
                let mut scene = Scene::new(attempts);
                scene.excursion();
                assert_eq!(scene.fixture.low(), [true, false]);
                let failure = fail_at(&scene.fixture, number, took_effect);
                let told = serve(&scene.fixture, &mut scene.queue, &mut scene.monitor);
                let name = format!("transfer {number}, {took_effect}, {attempts} attempts");
                assert_eq!(count(&told, OVER_CURRENT), 1, "{name}");
                assert_eq!(told.len(), 1, "{name}");
                assert_eq!(scene.fixture.low(), [false, false], "{name}");
                assert_eq!(scene.fixture.flags(), 0, "{name}");
                if failure.strikes().times == 0 {
                    break;
                }
                number += 1;
            }
            // Read, clear, latch, block, read again.
            assert_eq!(number, 5, "transfers of a service");
        }
    }
}

/// A condition that lasts is told once, and its flag does not pull the line again; over, and passed
/// again, it is told again.
#[test]
fn a_condition_that_lasts_is_told_once() {
    let fixture = Fixture::new();
    for hand in &fixture.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    let mut monitor = fixture.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut queue = Queue::new();
    queue
        .set_limits(&mut monitor, &LIMITS)
        .expect("limits that can be");
    for _ in 0..3 {
        fixture.hands[0].set(MUCH.0, MUCH.1);
        fixture.scans(2);
        assert_eq!(fixture.low(), [true, false]);
        queue.service(&mut monitor).expect("a part that answers");
        assert_eq!(count(&events(&mut queue), OVER_CURRENT), 1);
        for _ in 0..5 {
            fixture.scans(2);
            assert_eq!(fixture.low(), [false, false], "masked");
            assert!(queue.lasting().contains(AlertFlags::of(OVER_CURRENT)));
            queue.service(&mut monitor).expect("a part that answers");
            assert!(events(&mut queue).is_empty());
        }
        fixture.hands[0].set(AT_REST.0, AT_REST.1);
        fixture.scans(2);
        queue.service(&mut monitor).expect("a part that answers");
        assert!(events(&mut queue).is_empty() && queue.lasting().is_empty());
        assert_eq!(fixture.flags(), 0);
        assert_eq!(queue.next_in(), None);
    }
}

/// A slow bus, and currents too high on all channels, for up to forty scans: a service ends
/// nevertheless, and each look clears exactly what it found.
#[test]
fn what_a_look_finds_is_cleared_and_nothing_else() {
    const fn limit(channel: Channel) -> Limit {
        let limit = Threshold::OverCurrent(Current::from_milliamps(10));
        Limit::new(channel, limit).to(Outputs::A)
    }
    static ALL: Limits<'static> = Limits::new(&[
        limit(Channel::C0),
        limit(Channel::C1),
        limit(Channel::C2),
        limit(Channel::C3),
    ]);
    let fixture = Fixture::new();
    fixture.bench.set_bus_speed(Speed::Standard);
    let rails = [0, 1, 2, 3].map(|channel| fixture.excursion(channel, AT_REST, MUCH));
    let mut monitor = fixture.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut queue = Queue::new();
    queue
        .set_limits(&mut monitor, &ALL)
        .expect("limits that can be");
    for scans in 1..40 {
        fixture.next_scan();
        let begins = fixture.bench.now_ns();
        let ends = begins + scans * 500_000;
        for rail in &rails {
            rail.when_ns.borrow_mut().push((begins, ends));
        }
        fixture.next_scan();
        let mut told = AlertFlags::empty();
        let mut looks = 0;
        while is_called(&fixture, &queue) || fixture.bench.now_ns() < ends {
            fixture.bench.set_logging(Logging::Full);
            queue.service(&mut monitor).expect("a part that answers");
            for event in events(&mut queue) {
                let flag = AlertFlags::of(event.flag());
                assert!(!told.intersects(flag), "{scans} scans: told twice");
                told |= flag;
            }
            // `S 64 37 Sr 65 20 00 84 .. P` is a look, `S 64 37 00 00 84 .. P` a clearing.
            let texts: Vec<String> = fixture
                .bench
                .log()
                .iter()
                .map(ToString::to_string)
                .collect();
            let after = |prefix: &str| -> Vec<u64> {
                let rests = texts.iter().filter_map(|text| text.strip_prefix(prefix));
                rests
                    .filter(|rest| !rest.starts_with("Sr"))
                    .map(|rest| u64::from_str_radix(&rest[..8].replace(' ', ""), 16))
                    .map(|bits| bits.expect("bytes") & crate::fixture::LIMITS)
                    .collect()
            };
            let found = after("S 64 37 Sr 65 ");
            let cleared = after("S 64 37 ");
            assert!(cleared.len() <= found.len());
            for bits in cleared {
                assert!(found.contains(&bits), "{scans} scans");
            }
            looks += found.len();
        }
        assert_eq!(told, ALL.enabled(), "{scans} scans");
        assert!(looks < 60, "{scans} scans: {looks} looks");
        assert!(serve_until_rest(&fixture, &mut queue, &mut monitor).is_empty());
        assert_eq!(fixture.flags(), 0);
    }
}

#[test]
fn events_that_find_the_queue_full_are_counted_and_named() {
    static THREE: Limits<'static> =
        Limits::new(&[OVER, UNDER, Limit::new(Channel::C3, TEN).to(Outputs::A)]);
    let fixture = Fixture::new();
    for hand in &fixture.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    let mut monitor = fixture.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut queue: AlertQueue<'_, 1> = AlertQueue::new();
    queue
        .set_limits(&mut monitor, &THREE)
        .expect("limits that can be");
    fixture.hands[0].set(MUCH.0, MUCH.1);
    fixture.hands[1].set(LOW.0, LOW.1);
    fixture.hands[3].set(MUCH.0, MUCH.1);
    fixture.scans(2);
    queue.service(&mut monitor).expect("a part that answers");
    assert_eq!(queue.dropped(), 2);
    let third = AlertFlag::Limit(Channel::C3, Kind::OverCurrent);
    assert_eq!(
        queue.lost(),
        AlertFlags::of(UNDER_VOLTAGE) | AlertFlags::of(third)
    );
    assert_eq!(queue.lost(), AlertFlags::empty(), "told once");
    let told = events(&mut queue);
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].flag(), OVER_CURRENT);
    assert_eq!(queue.dropped(), 2, "the count stays");
}

#[test]
fn a_planned_failure_reaches_the_firmware_when_nothing_repeats() {
    let mut scene = Scene::new(1);
    fail_at(&scene.fixture, 0, false);
    let error = scene
        .queue
        .service(&mut scene.monitor)
        .map(|_| ())
        .expect_err("planned");
    assert!(error.may_repeat());
}
