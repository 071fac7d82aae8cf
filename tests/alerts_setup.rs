//! Mistakes in what is to be watched are named before a byte is sent; and what hysteresis keeps back and lets through.

mod alerts_desk;

use alerts_desk::{CAUSES, Desk, LIMITS, MASK_A, MASK_B, SETUP, events};
use crake::old::alert::{Event, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::old::part::corncrake::{BUS_6_V, BUS_16_V, PACE_2000, SENSE_26_MV, SENSE_65_MV};
use crake::old::part::{BusRange, Pace, SenseRange};
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Channel, Misuse, Mode, Ranges, Setup, ShuntMonitor, Task};
use crake_sim::bus::BusError;

const C0: Channel = Channel::C0;

fn over_voltage(millivolts: i64) -> Watch {
    Watch::new(C0, Limit::OverVoltage(Voltage::from_millivolts(millivolts))).to(Outputs::A)
}

fn under_voltage(microvolts: i64) -> Watch {
    Watch::new(
        C0,
        Limit::UnderVoltage(Voltage::from_microvolts(microvolts)),
    )
    .to(Outputs::A)
}

fn over_current(milliamps: i64) -> Watch {
    Watch::new(C0, Limit::OverCurrent(Current::from_milliamps(milliamps))).to(Outputs::A)
}

/// Arms on a part that runs, and finds the mistake, with not a byte on the bus and the part as it was.
fn refused(setup: Setup<4>, watches: &[Watch], expected: Misuse) {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let in_force = [over_current(10).to(Outputs::all())];
    let mut station: Station<'_, 4, 4> = Station::new(SETUP, Watches::limits(&in_force));
    station.arm(&mut monitor).expect("watches that can be");
    let (stats, now_ns) = (desk.bench.bus_stats(), desk.bench.now_ns());

    let error = station
        .rearm(&mut monitor, setup, Watches::limits(watches))
        .map(|_| ())
        .expect_err("a mistake");
    assert_eq!(error.misuse(), Some(expected), "{error}");
    assert_eq!(error.task, Task::Arm);
    assert!(!error.is_worth_repeating());
    assert_eq!(desk.bench.bus_stats(), stats, "{expected:?}");
    assert_eq!(desk.bench.now_ns(), now_ns, "{expected:?}");

    // The old watch is in force, and the station knows it.
    assert_eq!(station.watches(), &Watches::limits(&in_force));
    assert_eq!((desk.register(MASK_A), desk.register(MASK_B)), (4, 4));
    desk.hands[0].set(11_000_000, 0);
    desk.next_round();
    desk.next_round();
    assert_eq!(desk.low(), [true, true], "{expected:?}");
    station.service(&mut monitor).expect("a part that answers");
    let told = events(&mut station);
    let limit = Limit::OverCurrent(Current::from_milliamps(10));
    assert_eq!(told[0].in_force, Some(limit));
}

#[test]
fn watches_that_cannot_be_are_named_and_nothing_is_sent() {
    use Misuse::*;
    let beyond = |kind| LimitBeyondFullScale(C0, kind);
    let cases: [(&[Watch], Misuse); 15] = [
        // Nothing passes 6.5536 V, less one code, in a range that ends there; everything is above −1 V, and nothing below 0 V.
        (&[over_voltage(7_000)], beyond(Kind::OverVoltage)),
        (&[over_voltage(-1_000)], beyond(Kind::OverVoltage)),
        (&[under_voltage(0)], beyond(Kind::UnderVoltage)),
        (&[under_voltage(7_000_000)], beyond(Kind::UnderVoltage)),
        // 65.536 mV over 1 Ω.
        (&[over_current(66)], beyond(Kind::OverCurrent)),
        (&[over_current(-66)], beyond(Kind::OverCurrent)),
        (
            &[Watch::new(C0, Limit::OverPower(Power::from_watts(1))).to(Outputs::A)],
            beyond(Kind::OverPower),
        ),
        (
            &[over_voltage(3_000), under_voltage(3_001_000)],
            LimitsCrossed(C0, Kind::OverVoltage),
        ),
        // Not crossed, but no code of 100 µV lies between 3.00001 and 3.00009 V: whatever the reading, one of the two would stand.
        (
            &[
                Watch::new(C0, Limit::OverVoltage(Voltage::from_microvolts(3_000_090)))
                    .to(Outputs::A),
                under_voltage(3_000_010),
            ],
            LimitsCrossed(C0, Kind::OverVoltage),
        ),
        (
            &[
                over_current(1),
                Watch::new(C0, Limit::UnderCurrent(Current::from_milliamps(2))).to(Outputs::B),
            ],
            LimitsCrossed(C0, Kind::OverCurrent),
        ),
        (
            &[over_current(1), over_voltage(1_000), over_current(2)],
            WatchedTwice(C0, Kind::OverCurrent),
        ),
        (
            &[over_current(1).to(Outputs::empty())],
            ReachesNoOutput(C0, Kind::OverCurrent),
        ),
        (
            &[over_current(1).debounce(0)],
            NoSuchDebounce(C0, Kind::OverCurrent, 0),
        ),
        (
            &[over_current(1).debounce(16)],
            NoSuchDebounce(C0, Kind::OverCurrent, 16),
        ),
        (
            &[Watch::new(
                Channel::new(7),
                Limit::OverCurrent(Current::from_milliamps(1)),
            )
            .to(Outputs::A)],
            WatchedButNotEnabled(Channel::new(7)),
        ),
    ];
    for (watches, expected) in cases {
        refused(SETUP, watches, expected);
    }
}

#[test]
fn set_ups_that_cannot_be_are_named_and_nothing_is_sent() {
    let ranges = |sense, bus| Ranges {
        sense: SenseRange(sense),
        bus: BusRange(bus),
    };
    let watches = [over_current(1)];
    refused(
        SETUP.with(C0, None),
        &watches,
        Misuse::WatchedButNotEnabled(C0),
    );
    refused(
        SETUP.with(C0, Some(ranges(2, 0))),
        &watches,
        Misuse::NoSuchSenseRange(C0),
    );
    refused(
        SETUP.with(C0, Some(ranges(0, 3))),
        &watches,
        Misuse::NoSuchBusRange(C0),
    );
    refused(
        Setup {
            channels: [None; 4],
            ..SETUP
        },
        &[],
        Misuse::NoChannel,
    );
    refused(
        SETUP.averaging(11),
        &watches,
        Misuse::NoSuchAveraging { k: 11, max: 10 },
    );
    refused(
        Setup {
            mode: Mode::Paced(Pace(5)),
            ..SETUP
        },
        &watches,
        Misuse::NoSuchPace,
    );
    refused(
        Setup {
            mode: Mode::Burst(Channel::C2),
            ..SETUP.with(Channel::C2, None)
        },
        &watches,
        Misuse::BurstOnDisabled(Channel::C2),
    );
}

/// Limits exactly on one another leave one code; a silent watch needs no output.
#[test]
fn what_looks_like_a_mistake_and_is_none() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    for hand in &desk.hands {
        hand.set(0, 3_000_000_000);
    }
    let watches = [
        over_voltage(3_000),
        under_voltage(3_000_000),
        over_current(-1).to(Outputs::empty()).silent(),
    ];
    let mut station: Station<'_, 4, 4> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    desk.next_round();
    desk.next_round();
    assert_eq!(desk.low(), [false, false]);
    assert_eq!(desk.register(CAUSES) & LIMITS, 4, "silent, and set");
}

/// A range under a limit changes by arming alone, and a limit that was taken away binds no longer; nor does one that a reset took.
#[test]
fn ranges_do_not_change_under_limits() {
    let wider = SETUP.with(
        C0,
        Some(Ranges {
            sense: SENSE_65_MV,
            bus: BUS_16_V,
        }),
    );
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let watches = [over_current(1)];
    let mut station: Station<'_, 4, 4> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    let stats = desk.bench.bus_stats();
    let error = monitor
        .configure(&wider)
        .map(|_| ())
        .expect_err("a mistake");
    assert_eq!(error.misuse(), Some(Misuse::LimitsInForce(C0)));
    assert_eq!(desk.bench.bus_stats(), stats);
    // Another channel's range, and the pace, may change.
    let other = Setup {
        mode: Mode::Paced(PACE_2000),
        ..SETUP.with(
            Channel::C3,
            Some(Ranges {
                sense: SENSE_26_MV,
                bus: BUS_6_V,
            }),
        )
    };
    monitor.configure(&other).expect("no limit there");

    station
        .rearm(&mut monitor, other, Watches::default())
        .expect("nothing to watch");
    monitor.configure(&wider).expect("no limit any more");

    let mut station: Station<'_, 4, 4> = Station::new(wider, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    monitor.init(&wider).expect("a part that answers");
    monitor
        .configure(&SETUP)
        .expect("the reset took the limits");
}

/// The supply declared off: nothing is sent, and the mistake says why.
#[test]
fn a_part_without_supply_cannot_be_armed() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.declare_powered(false);
    let watches = [over_current(1)];
    let mut station: Station<'_, 4, 4> = Station::new(SETUP, Watches::limits(&watches));
    let error = station
        .arm(&mut monitor)
        .map(|_| ())
        .expect_err("no supply");
    assert_eq!(error.misuse(), Some(Misuse::Unpowered));
    let error = station
        .service(&mut monitor)
        .map(|_| ())
        .expect_err("no supply");
    assert_eq!(error.misuse(), Some(Misuse::Unpowered));
    assert_eq!(desk.bench.bus_stats().bytes, 0);
}

/// Limit 10 mA, margin 2 mA: reported again only after a frame at 8 mA or below.
#[test]
fn hysteresis_filters_events_until_a_reading_is_back_by_the_margin() {
    let watches = [over_current(10).held().hysteresis(2_000_000)];
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let mut station: Station<'_, 4, 8> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    let at = |microamps: i64,
              station: &mut Station<'_, 4, 8>,
              monitor: &mut dyn ShuntMonitor<4, BusError = BusError>| {
        desk.hands[0].set(microamps * 1_000, 0);
        desk.next_round();
        desk.next_round();
        let line = desk.low()[0];
        station.service(monitor).expect("a part that answers");
        let told: Vec<Event> = events(station);
        (line, told.len())
    };
    // The line goes low each time; events come when the sheet above says so.
    let (station, monitor) = (&mut station, &mut monitor);
    assert_eq!(at(10_500, station, monitor), (true, 1), "the first");
    assert_eq!(at(9_900, station, monitor), (true, 0), "back, not by 2 mA");
    assert_eq!(at(10_500, station, monitor), (true, 0), "kept back");
    assert_eq!(at(8_001, station, monitor), (true, 0), "all but back");
    assert_eq!(at(11_000, station, monitor), (true, 0), "kept back");
    assert_eq!(at(9_000, station, monitor), (true, 0), "held from before");
    assert_eq!(
        at(8_000, station, monitor),
        (false, 0),
        "back by the margin"
    );
    assert_eq!(at(10_500, station, monitor), (true, 1), "a new one");
}

/// A spike that is over before the host looks: the frame of its own event shows that it is back, so the next spike is told.
#[test]
fn spikes_that_are_back_at_once_are_each_told() {
    let watches = [over_current(10).held().hysteresis(2_000_000)];
    let desk = Desk::new();
    let rail = desk.excursion(0, (1_000_000, 0), (20_000_000, 0));
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let mut station: Station<'_, 4, 8> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    let spike = |rounds: u64| {
        desk.next_round();
        let now_ns = desk.bench.now_ns();
        rail.when_ns
            .borrow_mut()
            .push((now_ns, now_ns + rounds * 2_000_000));
        desk.next_round();
        assert!(desk.low()[0]);
    };
    for number in 0..5 {
        spike(1);
        // Two rounds later it is over, and the line still tells of it.
        desk.next_round();
        desk.next_round();
        station.service(&mut monitor).expect("a part that answers");
        assert_eq!(events(&mut station).len(), 1, "spike {number}");
    }
    // The next is served while it lasts: no frame since has shown the current back, but that of the event before did.
    spike(20);
    let frame = station.service(&mut monitor).expect("a part that answers");
    let reading = frame.reading(C0).expect("a reading");
    assert_eq!(reading.current, Current::from_milliamps(20));
    assert_eq!(events(&mut station).len(), 1);
}

/// The part held the cause of an excursion that was told while it lasted; a frame alone shows its end. It is one excursion, and one event.
#[test]
fn a_frame_between_does_not_make_two_events_of_one_excursion() {
    let watches = [over_current(10).held().hysteresis(2_000_000)];
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let mut station: Station<'_, 4, 8> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    let mut told = Vec::new();
    for milliamps in [20, 20, 1, 1, 20] {
        desk.hands[0].set(milliamps * 1_000_000, 0);
        desk.next_round();
        desk.next_round();
        let frame = monitor.latch().expect("a part that answers");
        station.report(&frame);
        station.service(&mut monitor).expect("a part that answers");
        told.push(events(&mut station).len());
        // It goes on after the look, and sets the cause again.
        desk.next_round();
        desk.next_round();
    }
    assert_eq!(told, [1, 0, 0, 0, 1]);
}

/// A brown-out under overload: the current is beyond its range in every frame, and the voltage is told each time that it dips.
#[test]
fn a_voltage_is_seen_to_be_back_while_the_current_is_clipped() {
    let watches = [under_voltage(3_000_000).held().hysteresis(100_000_000)];
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    let overload = 1_000_000_000_000; // 1 kA, in nA
    desk.hands[0].set(overload, 3_500_000_000);
    monitor.init(&SETUP).expect("a part that answers");
    let mut station: Station<'_, 4, 8> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    let mut told = Vec::new();
    for millivolts in [3_500, 2_900, 3_500, 3_500, 2_900] {
        desk.hands[0].set(overload, millivolts * 1_000_000);
        desk.next_round();
        desk.next_round();
        let frame = station.service(&mut monitor).expect("a part that answers");
        assert!(frame.codes(C0).sense_clipped);
        told.push(events(&mut station).len());
    }
    assert_eq!(told, [0, 1, 0, 0, 1]);
}

/// An under-limit is back above it.
#[test]
fn hysteresis_of_an_under_limit() {
    let watches = [under_voltage(3_000_000).held().hysteresis(100_000_000)];
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    for hand in &desk.hands {
        hand.set(0, 3_500_000_000);
    }
    monitor.init(&SETUP).expect("a part that answers");
    let mut station: Station<'_, 4, 8> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    let mut told = Vec::new();
    for millivolts in [
        3_500, 2_900, 3_050, 2_900, 3_099, 2_900, 3_100, 3_100, 2_900,
    ] {
        desk.hands[0].set(0, millivolts * 1_000_000);
        desk.next_round();
        desk.next_round();
        station.service(&mut monitor).expect("a part that answers");
        told.push(events(&mut station).len());
    }
    // 3.1 V is back by the margin. The cause that comes with it was set again by the 2.9 V before, which are told already.
    assert_eq!(told, [0, 1, 0, 0, 0, 0, 0, 0, 1]);
}
