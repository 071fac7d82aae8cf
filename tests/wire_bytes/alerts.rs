//! Arming and serving alerts, with the limits, debounce, masks and causes of examples 2 and 19 to 25, and the alert response of example 27.

use super::*;
use crake::old::alert::{
    Answer, Cause, Causes, Kind, Limit, Outputs, Watch, Watches, alert_response,
};

/// Sense resistors and ranges as examples 19 to 21 have them; channel 3 in the fine range and 65.536 V.
fn setup_of_examples() -> Setup<4> {
    let ranges = |sense, bus| {
        Some(Ranges {
            sense: SenseRange(sense),
            bus: BusRange(bus),
        })
    };
    Setup {
        channels: [ranges(0, 1), ranges(0, 0), ranges(0, 1), ranges(1, 2)],
        ..setup()
    }
}

fn board_of_examples() -> Board<4> {
    let rails = [10_000, 10_000, 12_500, 10_000].map(|microohms| {
        let shunt = Shunt::new(Resistance::from_microohms(microohms), Tolerance::ZERO);
        Rail::new(shunt, Load::smooth(Current::from_amps(6)))
    });
    Board::new(&corncrake::SPEC, rails).expect("a board")
}

fn watches() -> [Watch; 9] {
    let to = |channel, limit, outputs| Watch::new(channel, limit).to(outputs);
    let (a, b) = (Outputs::A, Outputs::B);
    let c3 = Channel::C3;
    [
        to(
            Channel::C0,
            Limit::UnderVoltage(Voltage::from_millivolts(3_300)),
            b,
        ),
        to(Channel::C0, Limit::OverCurrent(Current::from_amps(5)), a),
        to(
            Channel::C1,
            Limit::OverCurrent(Current::from_milliamps(3_200)),
            b,
        ),
        to(Channel::C2, Limit::OverPower(Power::from_watts(10)), b),
        // Debounce of example 22.
        to(c3, Limit::OverVoltage(Voltage::from_volts(48)), b).debounce(1),
        to(c3, Limit::UnderVoltage(Voltage::from_volts(40)), b).debounce(4),
        to(c3, Limit::OverCurrent(Current::from_amps(2)), a).debounce(15),
        to(c3, Limit::UnderCurrent(Current::from_amps(-1)), b).debounce(2),
        to(c3, Limit::OverPower(Power::from_watts(50)), b).debounce(3),
    ]
}

/// An example's write, and its read-back.
fn put_example(number: u32, bytes: &[u8]) -> [Transaction; 2] {
    [example(number), read(bytes[0], &bytes[1..])]
}

fn init_of_examples() -> Vec<Transaction> {
    let mut steps = init();
    let ranges = steps
        .iter()
        .position(|step| *step == example(4))
        .expect("ranges");
    steps.splice(ranges..ranges + 2, put(&[0x06, 0x61, 0x01]));
    steps
}

/// The whole of arming after `init`: the part holds over-current of channel 3 (example 24), and its serial is that of example 2 at the end.
fn arm() -> Vec<Transaction> {
    let mut steps = [put(&[0x35, 0, 0, 0]), put(&[0x36, 0, 0, 0])].concat();
    steps.extend([example(24), example(24), example(25)]);
    steps.extend([put(&[0x05, 0x0F]), put(&[0x06, 0x61, 0x01])].concat());
    steps.extend([example(5), read(0x07, &[0x04]), write(&[0x04, 0x10, 2, 1])]);
    for channel in 0..3 {
        steps.extend(put(&[0x30 + channel, 0x01, 0x11, 0x11]));
    }
    steps.extend(put_example(22, &[0x33, 0x03, 0x2F, 0x41]));
    steps.extend(put(&[0x34, 0x70, 0, 0]));
    steps.extend(put_example(20, &[0x11, 0x33, 0x90]));
    steps.extend(put(&[0x12, 0x01, 0x86, 0xA0])); // 5 A ÷ 50 µA = 100 000
    steps.extend(put_example(19, &[0x1A, 0x00, 0xFA, 0x00]));
    steps.extend(put_example(21, &[0x24, 0x00, 0x3B, 0x9A, 0xCA, 0x00]));
    steps.extend(put(&[0x28, 0xBB, 0x80])); // 48 V ÷ 1 mV = 48 000
    steps.extend(put(&[0x29, 0x9C, 0x40])); // 40 000
    steps.extend(put(&[0x2A, 0x01, 0x86, 0xA0])); // 2 A ÷ 20 µA = 100 000
    steps.extend(put(&[0x2B, 0xFF, 0x3C, 0xB0])); // -50 000
    steps.extend(put(&[0x2C, 0x00, 0x95, 0x02, 0xF9, 0x00])); // 50 W ÷ 20 nW = 2 500 000 000
    steps.extend(put_example(23, &[0x35, 0x42, 0x00, 0x04]));
    // Bits 1, 7, 14, 15, 16, 18 and 19.
    steps.extend(put(&[0x36, 0x0D, 0xC0, 0x82]));
    steps.extend([example(2), read(0x80, &block(2, 40, COMPLETE))]);
    steps
}

/// Plays expected bytes on the board of the examples, the watches armed.
fn armed(more: &[Transaction], run: impl FnOnce(&mut TestMonitor<'_, 4>)) {
    let (board, limits) = (board_of_examples(), watches());
    let watches = Watches {
        reset_seen: Outputs::A,
        ..Watches::limits(&limits)
    };
    let steps = [init_of_examples(), arm(), more.to_vec()].concat();
    let mut monitor = Monitor::new(
        Mock::new(&steps),
        Delays::default(),
        Ticks(0),
        Corncrake::new(),
        ADDRESS,
        &board,
    );
    monitor.init(&setup_of_examples()).expect("init");
    let mut found = Causes::empty();
    let frame = monitor
        .arm(&setup_of_examples(), &watches, &mut found)
        .expect("arm");
    assert_eq!(frame.condition(), Condition::Boundary);
    assert_eq!(found, over_current_of_channel_3());
    // Example 2, not the block's: that was copied before the limits were written.
    assert_eq!(monitor.joint(), Joint { serial: 7 });
    run(&mut monitor);
    let (mut mock, _, _) = monitor.release();
    mock.done();
}

fn over_current_of_channel_3() -> Causes {
    Causes::of(Cause::Limit(Channel::C3, Kind::OverCurrent))
}

#[test]
fn arming_writes_the_examples() {
    armed(&[], |_| {});
}

#[test]
fn a_service_reads_and_clears_the_example_then_latches() {
    let none = read(0x37, &[0, 0, 0]);
    let steps = [
        vec![example(24), example(25), none],
        latch(3, 2, &block(3, 7, COMPLETE)).to_vec(),
    ]
    .concat();
    armed(&steps, |monitor| {
        let mut found = Causes::empty();
        let frame = monitor
            .service(over_current_of_channel_3(), &mut found)
            .expect("service");
        assert_eq!(
            (frame.condition(), found),
            (Condition::Steady, over_current_of_channel_3())
        );
    });
}

/// Example 27, and the address that nobody answers.
#[test]
fn alert_response_of_the_example() {
    let found = examples(&Document::old_corncrake())
        .into_iter()
        .find(|example| example.number == 27);
    let bytes = found.expect("a worked example").transfer.parts().concat();
    assert_eq!(bytes[0], 0x19);
    let address_refused = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
    let mut mock = Mock::new(&[
        Transaction::read(0x0C, bytes[1..].to_vec()),
        Transaction::read(0x0C, vec![0, 0]).with_error(address_refused),
    ]);
    assert_eq!(alert_response(&mut mock), Ok(Answer::From(ADDRESS)));
    assert_eq!(alert_response(&mut mock), Ok(Answer::Nobody));
    mock.done();
}
