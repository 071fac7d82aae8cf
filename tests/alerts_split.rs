//! A service in pieces, with time and other traffic between them, loses no cause and tells none twice.

mod alerts_desk;

use std::time::Duration;

use alerts_desk::faults::*;
use alerts_desk::sweep::{recurs_anywhere, rises_anywhere};
use alerts_desk::{CAUSES, Desk, LEVELS, LIMITS, events};
use crake::old::alert::{Causes, Event, Station, Watches};
use crake::old::exchange::Misuse;
use crake::old::{Condition, ShuntMonitor, Task};

/// Between two pieces: more than a round, so that each piece may find what came in the pause, and a transfer of another user of the bus.
fn pause(desk: &Desk) {
    desk.bench.run_for(Duration::from_micros(700));
    desk.register(LEVELS);
}

/// What firmware does that has others to look after.
fn serve_in_pieces(desk: &Desk, station: &mut Stationed, monitor: Told<'_>) -> Vec<Event> {
    let mut told = Vec::new();
    for _ in 0..20 {
        if !desk.low()[0] {
            return told;
        }
        for _ in 0..Task::LOOKS {
            let more = station.look(monitor).expect("a part that answers");
            pause(desk);
            if !more {
                break;
            }
        }
        let frame = monitor.latch().expect("a part that answers");
        pause(desk);
        station.report(&frame);
        told.extend(events(station));
    }
    panic!("the line stays low");
}

#[test]
fn a_cause_that_rises_anywhere_in_the_pieces_is_told_once() {
    rises_anywhere(7_500_000, serve_in_pieces);
}

#[test]
fn a_cause_that_recurs_anywhere_in_the_pieces_merges_or_is_told_again() {
    recurs_anywhere(7_500_000, serve_in_pieces);
}

/// A watched over-current that was over after one conversion, and stands in the part.
fn alerted() -> (Desk, FailingMonitor, Stationed) {
    let (desk, _, monitor, station, rail) = failing(0);
    excursion_of_one_conversion(&desk, &rail);
    assert_eq!(desk.low(), [true, false]);
    (desk, monitor, station)
}

#[test]
fn what_a_look_found_waits_for_its_frame_however_long_that_takes() {
    let (desk, mut monitor, mut station) = alerted();
    assert_eq!(station.look(&mut monitor).ok(), Some(true));
    assert_eq!(station.pending(), Causes::of(OVER_CURRENT));
    assert_eq!(desk.register(CAUSES) & LIMITS, 0, "cleared");
    assert_eq!(desk.low(), [false, false]);
    assert_eq!(station.look(&mut monitor).ok(), Some(false));
    desk.bench.run_for(Duration::from_secs(5));
    assert!(events(&mut station).is_empty());
    let asked_us = desk.bench.now_ns() / 1_000;
    let frame = monitor.latch().expect("a part that answers");
    station.report(&frame);
    let told = events(&mut station);
    assert_eq!(count(&told, OVER_CURRENT), 1);
    assert_eq!(told.len(), 1);
    assert!(told[0].stamp.before_us >= asked_us);
    assert!(station.pending().is_empty());
}

/// Goal: nothing twice even if firmware does not care whether a look came through, and shows every frame. The cause waits for a look that does.
#[test]
fn a_failure_at_any_transfer_of_the_pieces_loses_nothing_and_tells_nothing_twice() {
    for repeats in [0, 2] {
        for took_effect in [false, true] {
            let mut number = 0;
            loop {
                let name = format!("transfer {number}, {took_effect}, {repeats} repeats");
                let (desk, plan, mut monitor, mut station, rail) = failing(repeats);
                excursion_of_one_conversion(&desk, &rail);
                *plan.borrow_mut() = Failures::at(number, took_effect);
                let mut told = Vec::new();
                let mut failed = true;
                while failed || desk.low()[0] {
                    failed = station.look(&mut monitor).is_err();
                    pause(&desk);
                    match monitor.latch() {
                        Ok(frame) => station.report(&frame),
                        Err(_) => failed = true,
                    }
                    told.extend(events(&mut station));
                }
                assert_eq!(count(&told, OVER_CURRENT), 1, "{name}");
                assert_eq!(told.len(), 1, "{name}");
                assert_eq!(desk.register(CAUSES) & LIMITS, 0, "{name}");
                assert!(station.pending().is_empty(), "{name}");
                if plan.borrow().count <= number {
                    break;
                }
                number += 1;
            }
            // Read, clear, latch, block.
            assert_eq!(number, 4, "transfers of the pieces");
        }
    }
}

/// A service whose frame did not come through had cleared what it saw: any frame may tell it, and no further look is needed while the line is high.
#[test]
fn what_a_service_found_whose_latch_failed_is_told_by_the_next_frame() {
    let (desk, plan, mut monitor, mut station, rail) = failing(0);
    excursion_of_one_conversion(&desk, &rail);
    // Read, clear, read again, latch.
    *plan.borrow_mut() = Failures::at(3, false);
    let error = station
        .service(&mut monitor)
        .map(|_| ())
        .expect_err("planned");
    assert_eq!(error.task, Task::Latch);
    assert_eq!(desk.low(), [false, false]);
    station.report(&monitor.latch().expect("a part that answers"));
    assert_eq!(count(&events(&mut station), OVER_CURRENT), 1);
}

/// The same cause again between a look and its frame: a held cause is set anew, and the line is low for it.
#[test]
fn what_recurs_after_the_look_and_before_the_frame_is_told_by_the_next_service() {
    let (desk, _, mut monitor, mut station, rail) = failing(0);
    excursion_of_one_conversion(&desk, &rail);
    assert_eq!(station.look(&mut monitor).ok(), Some(true));
    excursion_of_one_conversion(&desk, &rail);
    assert_eq!(desk.low(), [true, false]);
    station.report(&monitor.latch().expect("a part that answers"));
    assert_eq!(count(&events(&mut station), OVER_CURRENT), 1);
    assert_eq!(desk.low(), [true, false]);
    assert_eq!(
        count(
            &serve_in_pieces(&desk, &mut station, &mut monitor),
            OVER_CURRENT
        ),
        1
    );
}

/// A refused look asked nothing of the part, and what an earlier one found and cleared need not wait for another.
#[test]
fn a_look_at_a_part_without_supply_is_refused_and_holds_nothing_back() {
    let (_, mut monitor, mut station) = alerted();
    assert_eq!(station.look(&mut monitor).ok(), Some(true));
    monitor.declare_powered(false);
    let error = station.look(&mut monitor).expect_err("no supply");
    assert_eq!(
        (error.task, error.misuse()),
        (Task::Look, Some(Misuse::Unpowered))
    );
    let frame = monitor.latch().expect("no transfer");
    assert_eq!(frame.condition(), Condition::Unpowered);
    station.report(&frame);
    assert_eq!(count(&events(&mut station), OVER_CURRENT), 1);
}

/// A look asks for what is watched, and leaves alone what is not: the same as the service that it is a piece of.
#[test]
fn a_look_leaves_what_was_not_asked_for() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&FAST).expect("a part that answers");
    let mut station: Stationed = Station::new(FAST, Watches::limits(&WATCHES));
    for hand in &desk.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    station.arm(&mut monitor).expect("watches that can be");
    desk.hands[0].set(MUCH.0, MUCH.1);
    desk.hands[1].set(LOW.0, LOW.1);
    desk.next_round();
    desk.next_round();
    for hand in &desk.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    desk.next_round();
    let mut found = Causes::empty();
    let of_one = Causes::of(OVER_CURRENT);
    assert_eq!(monitor.look(of_one, &mut found), Ok(true));
    assert_eq!(found, of_one);
    assert_eq!(monitor.look(of_one, &mut found), Ok(false));
    assert_eq!(found, of_one);
    // Channel 1's under-voltage still stands, and pulls the line.
    assert_eq!(desk.low(), [true, false]);
    assert_eq!(monitor.look(Causes::LIMITS, &mut found), Ok(true));
    assert_eq!(found, of_one | Causes::of(UNDER_VOLTAGE));
    assert_eq!(desk.low(), [false, false]);
}
