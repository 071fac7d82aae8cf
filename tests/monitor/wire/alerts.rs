//! Setting limits and serving alerts, with limits, debounce and flags of examples 21 to 27.

use crake::Channel;
use crake::ShuntMonitor;
use crake::alert::{
    AlertFlag, AlertFlags, Answer, Kind, Limit, Limits, Outputs, Threshold, alert_response,
};
use crake::units::{Current, Power};

use super::*;

/// Ranges of examples 21 to 23; channel 3 in the fine range and 65.536 V.
fn config_of_examples() -> Config<4> {
    config()
        .with(Channel::C1, full_scale(65, 6_500))
        .with(Channel::C2, full_scale(65, 16_000))
}

fn limits() -> [Limit; 9] {
    let volts = Voltage::from_volts;
    let c3 = Channel::C3;
    [
        Limit::new(
            Channel::C0,
            Threshold::UnderVoltage(Voltage::from_millivolts(3_300)),
        )
        .to(Outputs::B),
        Limit::new(Channel::C0, Threshold::OverCurrent(Current::from_amps(5))).to(Outputs::A),
        Limit::new(
            Channel::C1,
            Threshold::OverCurrent(Current::from_milliamps(3_200)),
        )
        .to(Outputs::B),
        Limit::new(Channel::C2, Threshold::OverPower(Power::from_watts(10))).to(Outputs::B),
        // Debounce of example 24.
        Limit::new(c3, Threshold::OverVoltage(volts(48))).to(Outputs::B),
        Limit::new(c3, Threshold::UnderVoltage(volts(40)))
            .debounce(4)
            .to(Outputs::B),
        Limit::new(c3, Threshold::OverCurrent(Current::from_amps(2)))
            .debounce(15)
            .to(Outputs::A),
        Limit::new(c3, Threshold::UnderCurrent(Current::from_amps(-1)))
            .debounce(2)
            .to(Outputs::B),
        Limit::new(c3, Threshold::OverPower(Power::from_watts(50)))
            .following()
            .debounce(3)
            .to(Outputs::B),
    ]
}

/// An example's write, and its read-back.
fn put_example(number: u32, bytes: &[u8]) -> [Transaction; 2] {
    [example(number), read(bytes[0], &bytes[1..])]
}

/// Before the first limit the part holds over-current of channel 3 (example 26).
fn set_limits() -> Vec<Transaction> {
    let mut steps = vec![example(26)];
    steps.extend([put(&[0x35, 0, 0, 0]), put(&[0x36, 0, 0, 0])].concat());
    for channel in 0..3 {
        steps.extend(put(&[0x30 + channel, 0x01, 0x11, 0x11]));
    }
    steps.extend(put_example(24, &[0x33, 0x03, 0x2F, 0x41]));
    steps.extend([example(26), example(27)]);
    // All but bit 19 latch, of those that there are; the part's own three always do (section 3.6).
    steps.extend(put(&[0x34, 0x77, 0xC0, 0x86]));
    steps.extend(put_example(22, &[0x11, 0x33, 0x90]));
    steps.extend(put(&[0x12, 0x01, 0x86, 0xA0])); // 5 A ÷ 50 µA = 100 000
    steps.extend(put_example(21, &[0x1A, 0x00, 0xFA, 0x00]));
    steps.extend(put_example(23, &[0x24, 0x00, 0x3B, 0x9A, 0xCA, 0x00]));
    steps.extend(put(&[0x28, 0xBB, 0x80])); // 48 V ÷ 1 mV = 48 000
    steps.extend(put(&[0x29, 0x9C, 0x40])); // 40 000
    steps.extend(put(&[0x2A, 0x01, 0x86, 0xA0])); // 2 A ÷ 20 µA = 100 000
    steps.extend(put(&[0x2B, 0xFF, 0x3C, 0xB0])); // -50 000
    steps.extend(put(&[0x2C, 0x00, 0x95, 0x02, 0xF9, 0x00])); // 50 W ÷ 20 nW = 2 500 000 000
    // Bits 2 and 17; bits 1, 7, 14, 15, 16, 18 and 19.
    steps.extend(put(&[0x35, 0x02, 0x00, 0x04]));
    steps.extend(put(&[0x36, 0x0D, 0xC0, 0x82]));
    steps.extend([read(0x01, &[0x00, 0x28]), read(0x0A, &[0x00])]);
    steps
}

fn over_current_of_channel_3() -> AlertFlags {
    AlertFlags::of(AlertFlag::Limit(Channel::C3, Kind::OverCurrent))
}

/// Plays expected bytes with the limits set.
fn armed(more: &[Transaction], run: impl FnOnce(&mut TestMonitor)) {
    let init = configure(true, 0x0F, [0x61, 0x01], 4, 0x10);
    let steps = [init, set_limits(), more.to_vec()].concat();
    perform(&steps, |monitor| {
        monitor.init(&config_of_examples()).expect("init");
        let limits = limits();
        let mut seen = AlertFlags::empty();
        monitor
            .set_limits(&Limits::new(&limits), &mut seen)
            .expect("limits");
        assert_eq!(seen, over_current_of_channel_3());
        assert!(monitor.is_armed());
        assert_eq!(monitor.token().writes, 40);
        run(monitor);
    });
}

#[test]
fn setting_limits_writes_the_examples() {
    armed(&[], |_| {});
}

#[test]
fn reading_alerts_reads_and_clears_the_example() {
    let none = read(0x37, &[0, 0, 0]);
    armed(&[example(26), example(27), none], |monitor| {
        let mut seen = AlertFlags::empty();
        let found = monitor
            .read_alerts(AlertFlags::LIMITS, &mut seen)
            .expect("flags");
        assert_eq!((found, seen), (over_current_of_channel_3(), found));
        let found = monitor
            .read_alerts(AlertFlags::LIMITS, &mut seen)
            .expect("none");
        assert_eq!(
            (found, seen),
            (AlertFlags::empty(), over_current_of_channel_3())
        );
    });
}

/// Flags are cleared once: a repeat could clear one that was set in between. What was read stays
/// seen.
#[test]
fn clearing_is_not_repeated() {
    armed(&[example(26), example(27).with_error(NACK)], |monitor| {
        let mut seen = AlertFlags::empty();
        let error = monitor
            .read_alerts(AlertFlags::LIMITS, &mut seen)
            .expect_err("refused");
        assert_eq!((error.register, error.bus_kind()), (0x37, Some(NACK)));
        assert!(error.may_repeat());
        assert_eq!(seen, over_current_of_channel_3());
    });
}

/// Flags that nobody asked for stay in the part.
#[test]
fn what_is_not_wanted_is_not_cleared() {
    armed(&[read(0x37, &[0x22, 0x00, 0x01]), example(27)], |monitor| {
        let mut seen = AlertFlags::empty();
        let wanted = over_current_of_channel_3();
        assert_eq!(monitor.read_alerts(wanted, &mut seen), Ok(wanted));
        assert_eq!(seen, wanted);
    });
}

#[test]
fn masks_are_written_and_read_back() {
    let mut steps = put(&[0x35, 0x02, 0x00, 0x00]).to_vec();
    steps.extend(put(&[0x36, 0x00, 0x00, 0x00]));
    steps.push(read(0x01, &[0x00, 0x2A]));
    armed(&steps, |monitor| {
        let masks = [over_current_of_channel_3(), AlertFlags::empty()];
        monitor.set_masks(&masks).expect("masks");
        assert_eq!(monitor.token().writes, 42);
    });
}

#[test]
fn alert_response_is_the_example() {
    let found = examples(&Document::corncrake())
        .into_iter()
        .find(|example| example.number == 28);
    let bytes = found.expect("a worked example").transfer.parts().concat();
    // The read address of the SMBus alert response, 0x0C.
    assert_eq!(bytes[0], 0x19);
    let nobody = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
    let mut mock = Mock::new(&[
        Transaction::read(0x0C, bytes[1..].to_vec()),
        Transaction::read(0x0C, vec![0, 0]).with_error(nobody),
    ]);
    assert_eq!(alert_response(&mut mock), Ok(Answer::From(ADDRESS)));
    assert_eq!(alert_response(&mut mock), Ok(Answer::Nobody));
    mock.done();
}
