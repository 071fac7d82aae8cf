use crake::units::{Current, Power, Voltage};
use crake::{Channel, Condition, NoReading, ShuntMonitor};

use crate::desk::{Desk, board, setup};

/// Examples 5 to 7, 9, 11, 15 to 17 of the document, in microunits, by our codes: 500 µV, 100 µV, 1 mV and 1 mV; 500 µA and 1 mA.
#[test]
fn readings_are_those_of_the_document() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(&board);
    let frame = monitor.init(&setup()).unwrap();
    assert_eq!(frame.condition(), Condition::Boundary);
    assert_eq!(frame.reading(Channel::C0), Err(NoReading::NotComplete));
    desk.run_ms(20);
    let frame = monitor.latch().unwrap();
    assert_eq!(frame.condition(), Condition::Steady);
    let reading = |channel| frame.reading(channel).unwrap();
    // 3.30078125 V, 4.203125 A, 13.859375 W.
    assert_eq!(
        reading(Channel::C0).voltage,
        Voltage::from_microvolts(3_301_000)
    );
    assert_eq!(
        reading(Channel::C0).current,
        Current::from_microamps(4_203_000)
    );
    assert_eq!(
        reading(Channel::C0).power,
        Power::from_nanowatts(13_859_375_000)
    );
    // 1.199951171875 V and 1.5 A; no power: the product of the two.
    assert_eq!(
        reading(Channel::C1).voltage,
        Voltage::from_microvolts(1_200_000)
    );
    assert_eq!(
        reading(Channel::C1).current,
        Current::from_microamps(1_500_000)
    );
    assert_eq!(
        reading(Channel::C1).power,
        Power::from_nanowatts(1_800_000_000)
    );
    // 48 V, 1.25 A, 60 W.
    assert_eq!(
        reading(Channel::C2).voltage,
        Voltage::from_microvolts(48_000_000)
    );
    assert_eq!(
        reading(Channel::C2).current,
        Current::from_microamps(1_250_000)
    );
    assert_eq!(
        reading(Channel::C2).power,
        Power::from_nanowatts(60_000_000_000)
    );
    // 54 V, 0.69921875 A, 37.8125 W.
    assert_eq!(
        reading(Channel::C3).voltage,
        Voltage::from_microvolts(54_000_000)
    );
    assert_eq!(
        reading(Channel::C3).current,
        Current::from_microamps(699_000)
    );
    assert_eq!(
        reading(Channel::C3).power,
        Power::from_nanowatts(37_812_500_000)
    );
}
