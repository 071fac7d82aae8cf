//! A service in pieces, with time and other traffic between them, loses no flag and tells none
//! twice.

use std::time::Duration;

use crake::ShuntMonitor;
use crake::alert::{AlertFlags, Event};
use crake::bus::Fault;
use crake_sim::bench::I2c;

use crate::faults::*;
use crate::fixture::{Blocking, CONDITIONS, FAST, Fixture, events};
use crate::sweep::{recurs_anywhere, rises_anywhere};

/// Between two pieces: more than a scan, so that each piece may find what came in the pause, and a
/// transfer of another user of the bus.
fn pause(fixture: &Fixture) {
    fixture.bench.run_for(Duration::from_micros(700));
    fixture.register(CONDITIONS);
}

/// What firmware does that has others to look after.
fn serve_in_pieces(
    fixture: &Fixture,
    queue: &mut Queue,
    monitor: &mut Blocking<I2c>,
) -> Vec<Event> {
    let mut told = Vec::new();
    for _ in 0..20 {
        if !is_called(fixture, queue) {
            return told;
        }
        queue.read_alerts(monitor).expect("a part that answers");
        pause(fixture);
        monitor.sample().expect("a part that answers");
        pause(fixture);
        queue.update(monitor.last_sample());
        told.extend(events(queue));
        // A pause here would make excursions of one conversion fall between sample and look.
        queue.settle(monitor).expect("a part that answers");
        pause(fixture);
    }
    panic!("it does not come to rest");
}

#[test]
fn a_flag_that_rises_anywhere_in_the_pieces_is_told_once() {
    rises_anywhere(7_500_000, serve_in_pieces);
}

#[test]
fn a_flag_that_recurs_anywhere_in_the_pieces_merges_or_is_told_again() {
    recurs_anywhere(7_500_000, serve_in_pieces);
}

#[test]
fn what_a_look_found_waits_for_its_sample_however_long_that_takes() {
    let Scene {
        fixture,
        mut monitor,
        mut queue,
        rail,
        ..
    } = Scene::new(1);
    excursion_of_one_conversion(&fixture, &rail);
    assert_eq!(fixture.low(), [true, false]);
    let flags = AlertFlags::of(OVER_CURRENT);
    assert_eq!(queue.read_alerts(&mut monitor).ok(), Some(flags));
    assert_eq!(queue.pending(), flags);
    assert_eq!(queue.next_in(), Some(Duration::ZERO));
    assert_eq!(fixture.flags(), 0, "cleared");
    assert_eq!(fixture.low(), [false, false]);
    let nothing = AlertFlags::empty();
    assert_eq!(queue.read_alerts(&mut monitor).ok(), Some(nothing));
    fixture.bench.run_for(Duration::from_secs(5));
    assert!(events(&mut queue).is_empty());
    let asked_us = fixture.bench.now_ns() / 1_000;
    queue.update(monitor.sample().expect("a part that answers"));
    let told = events(&mut queue);
    assert_eq!(count(&told, OVER_CURRENT), 1);
    assert_eq!(told.len(), 1);
    let timestamp = told[0].timestamp().expect("there is a clock");
    assert!(timestamp.before_us >= asked_us);
    let sampled = crake::TimedSample::timestamp(monitor.last_sample());
    assert_eq!(timestamp, sampled);
    assert!(queue.pending().is_empty());
}

/// Goal: nothing twice even if firmware does not care whether a look came through, and shows every
/// sample.
#[test]
fn a_failure_at_any_transfer_of_the_pieces_loses_nothing_and_tells_nothing_twice() {
    for attempts in [1, 3] {
        for took_effect in [false, true] {
            let mut number = 0;
            loop {
                let name = format!("transfer {number}, {took_effect}, {attempts} attempts");
                let mut scene = Scene::new(attempts);
                scene.excursion();
                let failure = fail_at(&scene.fixture, number, took_effect);
                let Scene {
                    fixture,
                    queue,
                    monitor,
                    ..
                } = &mut scene;
                let mut told = Vec::new();
                while is_called(fixture, queue) {
                    let _ = queue.read_alerts(monitor);
                    pause(fixture);
                    if let Ok(sample) = monitor.sample() {
                        queue.update(sample);
                    }
                    told.extend(events(queue));
                    let _ = queue.settle(monitor);
                }
                assert_eq!(count(&told, OVER_CURRENT), 1, "{name}");
                assert_eq!(told.len(), 1, "{name}");
                assert_eq!(fixture.flags(), 0, "{name}");
                assert!(queue.pending().is_empty(), "{name}");
                if failure.strikes().times == 0 {
                    break;
                }
                number += 1;
            }
            // Read, clear, latch, block, read again.
            assert_eq!(number, 5, "transfers of the pieces");
        }
    }
}

/// A service whose sample did not come through had cleared what it saw: any sample may tell it, and
/// no further look is needed while the line is high.
#[test]
fn what_a_service_found_whose_sample_failed_is_told_by_the_next_sample() {
    let mut scene = Scene::new(1);
    scene.excursion();
    // Read, clear, latch.
    fail_at(&scene.fixture, 2, false);
    let Scene {
        fixture,
        queue,
        monitor,
        ..
    } = &mut scene;
    let error = queue.service(monitor).map(|_| ()).expect_err("planned");
    assert_eq!(error.operation, crake::Operation::Sample);
    assert_eq!(fixture.low(), [false, false]);
    queue.update(monitor.sample().expect("a part that answers"));
    assert_eq!(count(&events(queue), OVER_CURRENT), 1);
}

/// The same flag again between a look and its sample: the sample shows it over, so what set it
/// until then is one excursion with what was told; the look after the sample clears it.
#[test]
fn what_recurs_after_the_look_and_before_the_sample_is_part_of_it() {
    let mut scene = Scene::new(1);
    scene.excursion();
    let flags = AlertFlags::of(OVER_CURRENT);
    let found = scene.queue.read_alerts(&mut scene.monitor);
    assert_eq!(found.ok(), Some(flags));
    scene.excursion();
    let Scene {
        fixture,
        queue,
        monitor,
        ..
    } = &mut scene;
    assert_eq!(fixture.low(), [true, false]);
    queue.update(monitor.sample().expect("a part that answers"));
    assert_eq!(count(&events(queue), OVER_CURRENT), 1);
    assert_eq!(fixture.low(), [true, false]);
    assert_eq!(queue.next_in(), Some(Duration::ZERO));
    queue.settle(monitor).expect("a part that answers");
    assert_eq!(fixture.low(), [false, false]);
    assert!(queue.lasting().is_empty());
    let sample = monitor.sample().expect("a part that answers");
    queue.update(sample);
    assert!(events(queue).is_empty());
    // A new one is told.
    scene.excursion();
    let told = serve(&scene.fixture, &mut scene.queue, &mut scene.monitor);
    assert_eq!(count(&told, OVER_CURRENT), 1);
}

/// A refused look asked nothing of the part, and what an earlier one found and cleared need not
/// wait for another.
#[test]
fn a_look_at_a_part_without_supply_is_refused_and_holds_nothing_back() {
    let mut scene = Scene::new(1);
    scene.excursion();
    let Scene { queue, monitor, .. } = &mut scene;
    assert!(queue.read_alerts(monitor).is_ok());
    let sample = monitor.sample().expect("a part that answers");
    let stamp = crake::TimedSample::timestamp(sample);
    monitor.set_powered(false);
    let error = queue.read_alerts(monitor).expect_err("no supply");
    assert_eq!(error.operation, crake::Operation::ReadAlerts);
    assert_eq!(error.fault(), Fault::Unpowered);
    queue.update(monitor.last_sample());
    let told = events(queue);
    assert_eq!(count(&told, OVER_CURRENT), 1);
    // The sample stands, but has no readings any more.
    assert_eq!(told[0].timestamp(), Some(stamp));
    assert_eq!(told[0].value(), None);
}

/// A look asks for what is wanted, and leaves alone what is not.
#[test]
fn a_look_leaves_what_was_not_asked_for() {
    let fixture = Fixture::new();
    for hand in &fixture.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    let mut monitor = fixture.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut seen = AlertFlags::empty();
    monitor
        .set_limits(&LIMITS, &mut seen)
        .expect("limits that can be");
    fixture.hands[0].set(MUCH.0, MUCH.1);
    fixture.hands[1].set(LOW.0, LOW.1);
    fixture.scans(2);
    for hand in &fixture.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    fixture.next_scan();
    let mut seen = AlertFlags::empty();
    let of_one = AlertFlags::of(OVER_CURRENT);
    let nothing = AlertFlags::empty();
    assert_eq!(monitor.read_alerts(of_one, &mut seen), Ok(of_one));
    assert_eq!(seen, of_one);
    assert_eq!(monitor.read_alerts(of_one, &mut seen), Ok(nothing));
    assert_eq!(seen, of_one);
    // Channel 1's under-voltage still stands, and pulls the line.
    assert_eq!(fixture.low(), [true, false]);
    let other = AlertFlags::of(UNDER_VOLTAGE);
    let limits = AlertFlags::LIMITS;
    assert_eq!(monitor.read_alerts(limits, &mut seen), Ok(other));
    assert_eq!(seen, of_one | other);
    assert_eq!(fixture.low(), [false, false]);
}
