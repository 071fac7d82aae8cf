//! The proof test of the alert path: every finding, and that it leaves nothing behind.

mod alerts_desk;

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use alerts_desk::faults::{Failing, Failures};
use alerts_desk::{CAUSES, Desk, LIMITS, SETUP, events};
use crake::old::alert::{
    Cause, Finding, Kind, Limit, Outputs, Proof, Station, Watch, Watches, prove,
};
use crake::old::part::corncrake::{BUS_6_V, PACE_10, SENSE_26_MV};
use crake::old::units::Current;
use crake::old::{Channel, Mode, Ranges, Setup, ShuntMonitor};
use crake_sim::bus::BusError;

type Stationed<'w> = Station<'w, 4, 8>;

static WATCHES: [Watch; 1] =
    [
        Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(10)))
            .held()
            .to(Outputs::A),
    ];

/// Proves through a wiring that turns the part's outputs (low or not) into the host's lines.
fn proved(
    desk: &Desk,
    station: &mut Stationed<'_>,
    monitor: &mut dyn ShuntMonitor<4, BusError = BusError>,
    wiring: fn([bool; 2]) -> [bool; 2],
) -> Result<Proof, crake::old::Error<BusError>> {
    prove(
        station,
        monitor,
        &mut |output| {
            let [a, b] = wiring(desk.low());
            if output == Outputs::A { a } else { b }
        },
        &mut |us| desk.bench.run_for(Duration::from_micros(us.into())),
    )
}

fn desk() -> Desk {
    let desk = Desk::new();
    for hand in &desk.hands {
        hand.set(5_000_000, 3_000_000_000);
    }
    desk
}

#[test]
fn every_wiring_has_its_finding() {
    use Finding::*;
    type Wiring = fn([bool; 2]) -> [bool; 2];
    let cases: [(&str, Wiring, [Finding; 2]); 11] = [
        ("as it should be", |[a, b]| [a, b], [Works, Works]),
        ("A broken", |[_, b]| [false, b], [NeverLow, Works]),
        ("B broken", |[a, _]| [a, false], [Works, NeverLow]),
        ("both broken", |_| [false, false], [NeverLow, NeverLow]),
        (
            "A shorted to ground",
            |[_, b]| [true, b],
            [NeverHigh, Works],
        ),
        (
            "B held by another part",
            |[a, _]| [a, true],
            [Works, NeverHigh],
        ),
        ("both shorted", |_| [true, true], [NeverHigh, NeverHigh]),
        ("crossed", |[a, b]| [b, a], [Swapped, Swapped]),
        ("joined", |[a, b]| [a | b, a | b], [Joined, Joined]),
        ("A hears both", |[a, b]| [a | b, b], [Joined, Works]),
        (
            "A hears B, B broken",
            |[_, b]| [b, false],
            [Swapped, NeverLow],
        ),
    ];
    for paced in [SETUP.mode, Mode::Paced(PACE_10)] {
        for (name, wiring, [a, b]) in cases {
            let desk = desk();
            let mut monitor = desk.monitor();
            let setup = Setup {
                mode: paced,
                ..SETUP
            };
            monitor.init(&setup).expect("a part that answers");
            let mut station: Stationed<'_> = Station::new(setup, Watches::limits(&WATCHES));
            station.arm(&mut monitor).expect("watches that can be");
            let proof = proved(&desk, &mut station, &mut monitor, wiring).expect("a good bus");
            assert_eq!(proof, Proof { a, b }, "{name}");
            assert_eq!(proof.passed(), name == "as it should be");
            leaves_nothing_behind(&desk, &mut station, &mut monitor);
        }
    }
}

/// No event of the test's own trips, no line low, and the station's watch at work.
fn leaves_nothing_behind(
    desk: &Desk,
    station: &mut Stationed<'_>,
    monitor: &mut dyn ShuntMonitor<4, BusError = BusError>,
) {
    desk.next_round();
    assert_eq!(desk.low(), [false, false]);
    assert_eq!(desk.register(CAUSES) & LIMITS, 0);
    station.service(monitor).expect("a good bus");
    let told = events(station);
    assert!(told.is_empty(), "{told:?}");
    desk.hands[0].set(20_000_000, 3_000_000_000);
    desk.next_round();
    desk.next_round();
    assert_eq!(desk.low(), [true, false]);
    station.service(monitor).expect("a good bus");
    let told = events(station);
    assert_eq!(told.len(), 1);
    let limit = Limit::OverCurrent(Current::from_milliamps(10));
    assert_eq!(told[0].in_force, Some(limit));
}

#[test]
fn a_cause_that_stood_before_the_test_is_told_after_it() {
    let desk = desk();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let watches = [
        WATCHES[0].to(Outputs::B),
        Watch::new(Channel::C2, Limit::OverCurrent(Current::from_milliamps(10)))
            .held()
            .to(Outputs::B),
    ];
    let mut station: Stationed<'_> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    for channel in [0, 2] {
        desk.hands[channel].set(20_000_000, 0);
    }
    desk.next_round();
    desk.next_round();
    for channel in [0, 2] {
        desk.hands[channel].set(5_000_000, 0);
    }
    desk.next_round();
    let proof = proved(&desk, &mut station, &mut monitor, |lines| lines).expect("a good bus");
    assert!(proof.passed());
    let told: Vec<Cause> = events(&mut station)
        .iter()
        .map(|event| event.cause)
        .collect();
    let expected = [Channel::C0, Channel::C2].map(|at| Cause::Limit(at, Kind::OverCurrent));
    assert_eq!(told, expected);
    assert_eq!(desk.low(), [false, false]);
}

/// The station's set-up is another than the one that the part runs in: the test's limit must be the end of the range it will be in.
#[test]
fn the_test_works_in_the_stations_own_ranges() {
    let fine = SETUP.with(
        Channel::C0,
        Some(Ranges {
            sense: SENSE_26_MV,
            bus: BUS_6_V,
        }),
    );
    for (runs, is_to_be) in [
        (SETUP, fine),
        (fine, SETUP),
        // The first enabled channel is not enabled yet.
        (SETUP.with(Channel::C0, None), SETUP),
    ] {
        let desk = desk();
        // Full reverse current of the fine range, and beyond.
        desk.hands[0].set(-40_000_000, 0);
        let mut monitor = desk.monitor();
        monitor.init(&runs).expect("a part that answers");
        desk.bench.run_for(Duration::from_millis(10));
        let mut station: Stationed<'_> = Station::new(is_to_be, Watches::limits(&WATCHES));
        let proof = proved(&desk, &mut station, &mut monitor, |lines| lines).expect("a good bus");
        // A code at the very end of the range passes no limit: there the test cannot trip.
        if is_to_be == fine {
            assert_eq!(proof.a, Finding::NeverLow);
        } else {
            assert!(proof.passed(), "{proof:?}");
        }
    }
    let desk = desk();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let mut station: Stationed<'_> = Station::new(fine, Watches::limits(&WATCHES));
    let proof = proved(&desk, &mut station, &mut monitor, |lines| lines).expect("a good bus");
    assert!(proof.passed(), "{proof:?}");
}

/// The bus fails somewhere in the test; firmware arms the station, as it is told to. The trips of the test are never taken for events, nor are true ones dropped.
#[test]
fn a_test_that_failed_half_way_leaves_nothing_behind_either() {
    let mut failures = 0;
    for transfer in 0.. {
        let desk = desk();
        let plan = Rc::new(RefCell::new(Failures::default()));
        let bus = Failing {
            inner: desk.bench.i2c(),
            plan: plan.clone(),
        };
        let mut monitor = desk.monitor_on(bus).with_repeats(0);
        monitor.init(&SETUP).expect("a part that answers");
        let mut station: Stationed<'_> = Station::new(SETUP, Watches::limits(&WATCHES));
        station.arm(&mut monitor).expect("watches that can be");
        desk.hands[0].set(20_000_000, 0);
        desk.next_round();
        desk.next_round();
        desk.hands[0].set(5_000_000, 0);
        desk.next_round();
        *plan.borrow_mut() = Failures::at(transfer, false);
        let outcome = proved(&desk, &mut station, &mut monitor, |lines| lines);
        let through = plan.borrow().count <= transfer;
        plan.borrow_mut().after = None;
        if outcome.is_err() {
            failures += 1;
            station.arm(&mut monitor).expect("one failure alone");
        }
        let told: Vec<Cause> = events(&mut station)
            .iter()
            .map(|event| event.cause)
            .collect();
        assert_eq!(
            told,
            [Cause::Limit(Channel::C0, Kind::OverCurrent)],
            "transfer {transfer}"
        );
        leaves_nothing_behind(&desk, &mut station, &mut monitor);
        if through {
            break;
        }
    }
    assert!(failures > 60, "{failures}");
}
