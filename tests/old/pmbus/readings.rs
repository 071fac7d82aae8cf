use crake::old::part::pmbus::gallinule::{Gallinule, ranges};
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Channel, Condition, Misuse, NoReading, Reading, Setup, ShuntMonitor};

use super::desk::{Desk, board, setup, steps};

pub fn reading(microvolts: i64, microamps: i64, microwatts: i64) -> Reading {
    Reading {
        voltage: Voltage::from_microvolts(microvolts),
        current: Current::from_microamps(microamps),
        power: Power::from_nanowatts(microwatts * 1_000),
    }
}

/// Examples 5 to 7, 9, 11, 15 to 17 of the document, by our codes of 500 µV, 100 µV, 1 mV and 1 mV,
/// 500 µA and 1 mA.
pub fn usual() -> [Reading; 4] {
    [
        reading(3_301_000, 4_203_000, 13_859_375), // 3.30078125 V, 4.203125 A, 13.859375 W
        reading(1_200_000, 1_500_000, 1_800_000), // 1.199951171875 V, 1.5 A; the product of the two
        reading(48_000_000, 1_250_000, 60_000_000), // 48 V, 1.25 A, 60 W
        reading(54_000_000, 699_000, 37_812_500), // 54 V, 0.69921875 A, 37.8125 W
    ]
}

#[test]
fn readings_are_those_of_the_document() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    let frame = monitor.init(&setup()).unwrap();
    assert_eq!(frame.condition(), Condition::Boundary);
    assert_eq!(frame.reading(Channel::C0), Err(NoReading::NotComplete));
    desk.run_ms(20);
    let frame = monitor.latch().unwrap();
    assert_eq!(frame.condition(), Condition::Steady);
    for (channel, expected) in Channel::first(4).zip(usual()) {
        let got = frame.reading(channel).unwrap();
        assert_eq!(
            (got.voltage, got.current),
            (expected.voltage, expected.current)
        );
        // Power codes are of 250 nW, 50 nW, 500 nW and 1 µW.
        let apart = got
            .power
            .as_nanowatts()
            .abs_diff(expected.power.as_nanowatts());
        assert!(apart <= 500, "{channel}: {}", got.power);
    }
}

/// Examples 8, 13 and 14: backwards; and a voltage below zero, which the DIRECT format of page 2
/// can show, is none.
#[test]
fn currents_that_flow_backwards() {
    let (desk, board) = (Desk::ideal(), board());
    desk.rail(0, steps(3.3, &[]), steps(-24.0, &[]));
    desk.rail(2, steps(48.0, &[]), steps(-1.25, &[]));
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    let frame = monitor.latch().unwrap();
    let page_0 = frame.reading(Channel::C0).unwrap();
    assert_eq!(page_0.current, Current::from_amps(-24));
    let page_2 = frame.reading(Channel::C2).unwrap();
    assert_eq!(page_2, reading(48_000_000, -1_250_000, -60_000_000));
}

/// Example 8: −25 A is the end of the range; so are 16 V and 60 V. What is shown there may have
/// been cut off.
#[test]
fn readings_at_an_end_are_limits() {
    let (desk, board) = (Desk::ideal(), board());
    desk.rail(0, steps(3.3, &[]), steps(-30.0, &[]));
    desk.rail(2, steps(70.0, &[]), steps(1.25, &[]));
    desk.rail(3, steps(54.0, &[]), steps(49.9, &[]));
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    let frame = monitor.latch().unwrap();
    for (channel, sense, bus) in [
        (Channel::C0, true, false),
        (Channel::C1, false, false),
        (Channel::C2, false, true),
        (Channel::C3, false, false),
    ] {
        let codes = frame.codes(channel);
        assert_eq!(
            (codes.sense_clipped, codes.bus_clipped),
            (sense, bus),
            "{channel}"
        );
    }
    assert_eq!(frame.codes(Channel::C0).sense, -50_000);
    assert_eq!(frame.codes(Channel::C2).bus, 60_000);
}

/// Pages that are not enabled are not even selected, and a page has no ranges but its own.
#[test]
fn channels_that_are_left_out() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    let few = setup().with(Channel::C1, None).with(Channel::C3, None);
    monitor.init(&few).unwrap();
    desk.run_ms(20);
    desk.tape.borrow_mut().rewind();
    let frame = monitor.latch().unwrap();
    assert_eq!(
        frame.reading(Channel::C1),
        Err(NoReading::NotEnabled(Channel::C1))
    );
    assert!(frame.reading(Channel::C2).is_ok());
    let tape = desk.tape.borrow();
    let selected: Vec<_> = tape
        .transfers
        .iter()
        .filter(|(bytes, read)| bytes[0] == 0x00 && *read == 0)
        .map(|(bytes, _)| bytes[1])
        .collect();
    assert_eq!(selected, [0, 2, 2]); // the last ends the stamp
    drop(tape);
    let wrong = Setup {
        channels: [3, 1, 2, 0].map(|page| Some(ranges(page))),
        ..setup()
    };
    desk.tape.borrow_mut().rewind();
    let error = monitor.configure(&wrong).unwrap_err();
    assert_eq!(error.misuse(), Some(Misuse::NoSuchSenseRange(Channel::C0)));
    assert!(desk.tape.borrow().transfers.is_empty());
    // In force with the frame after.
    let frame = monitor.configure(&setup()).unwrap();
    assert_eq!(frame.ranges(Channel::C1), None);
    desk.run_ms(20);
    let frame = monitor.latch().unwrap();
    assert_eq!(frame.reading(Channel::C1).unwrap(), usual()[1]);
}

/// The stamp spans every reading of the frame.
#[test]
fn a_frame_is_stamped_around_all_its_readings() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    let before_us = desk.bench.now_ns() / 1_000;
    let stamp = monitor.latch().unwrap().stamp();
    assert!(stamp.before_us >= before_us && stamp.before_us <= before_us + 1);
    // 4 × (PAGE twice read back, 3 or 2 words), counts of pages 0, 2, 3 and a last PAGE; at 400
    // kHz, 22.5 µs a byte.
    let bytes = 4 * (4 + 2 * 5) + 11 * 6 + 3 * 11 + 4;
    assert!(
        stamp.bracket_us() * 1_000 >= bytes * 22_500,
        "{}",
        stamp.bracket_us()
    );
}
