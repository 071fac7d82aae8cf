//! What goes over the bus, worked out by hand from sections 2 and 3 of the datasheet; examples by
//! number are of section 9.

use crake::old::alert::{Causes, Kind, Limit, Outputs, Watch, Watches};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::moorhen::{BUS_7_V, BUS_28_V, Moorhen, SENSE_18_MV, SENSE_73_MV, SPEC};
use crake::old::part::{Joint, Source};
use crake::old::units::{Current, Power, Resistance, Tolerance, Voltage};
use crake::old::{
    Came, Channel, Clock, Condition, Fault, Misuse, Mode, Monitor, NoReading, Ranges, Setup,
    ShuntMonitor,
};
use embedded_hal::delay::DelayNs;
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

const ADDRESS: u8 = 0x17;
/// 2.2 ms after a reset; 90 µs and four conversions of 170 µs, 3 % slow, are 791.03 µs (section 5).
const RESET_US: std::ops::Range<u64> = 2_200..2_700;
const SINGLE_SHOT_US: std::ops::Range<u64> = 792..850;

fn read(pointer: u8, word: u16) -> Transaction {
    Transaction::write_read(ADDRESS, vec![pointer], word.to_le_bytes().to_vec())
}

fn write(pointer: u8, word: u16) -> Transaction {
    let [low, high] = word.to_le_bytes();
    Transaction::write(ADDRESS, vec![pointer, low, high])
}

fn put(pointer: u8, word: u16) -> [Transaction; 2] {
    [write(pointer, word), read(pointer, word)]
}

/// A single-shot and what is read of it: PROGRESS, RANGES, sense and bus of each channel, and MARK
/// last: section 3.2, a reset before that is found.
fn sample(progress: u16, mark: u16, results: [u16; 4]) -> Vec<Transaction> {
    let [sense_0, bus_0, sense_1, bus_1] = results;
    vec![
        write(0x53, 0x0001), // example 11
        read(0x5C, progress),
        read(0x39, 0x0180), // example 4
        read(0xA6, sense_0),
        read(0xA5, bus_0),
        read(0xB6, sense_1),
        read(0xB5, bus_1),
        read(0x36, mark),
    ]
}

/// Of the words of examples 14, 18, 16 and 19, with another count where it has to be the same in
/// all: code 1000, 1886, 2047 and 4095.
fn results(count: u16) -> [u16; 4] {
    [0x1F40, 0x3AF0, 0xBFF8, 0xFFF8].map(|word| word | count & 7)
}

/// Marks of the first set-up and of the next one; and what stands there while each is being made.
const FIRST: u16 = 0x0101;
const SECOND: u16 = 0x0102;
const BEFORE_FIRST: u16 = 0x8081;
const BEFORE_SECOND: u16 = 0x8080;

fn init() -> Vec<Transaction> {
    let mut steps = vec![
        Transaction::write_read(ADDRESS, vec![0x35], vec![0xE4, 0x91]), // example 1
        read(0x36, 0),                                                  // example 2
        Transaction::write(ADDRESS, vec![0x65, 0x5A, 0xC3]),            // example 27
    ];
    steps.extend(put(0x36, BEFORE_FIRST));
    steps.extend(put(0x39, 0x0180));
    steps.push(read(0x36, BEFORE_FIRST));
    steps.extend(put(0x36, FIRST));
    steps.extend(sample(1, FIRST, results(1)));
    steps
}

/// Notes what it is asked for.
#[derive(Default)]
struct Delays(Vec<u64>);

impl DelayNs for Delays {
    fn delay_ns(&mut self, ns: u32) {
        self.0.push(u64::from(ns / 1_000));
    }
}

/// A hundred microseconds later each time.
struct Ticks(u64);

impl Clock for Ticks {
    fn now_us(&mut self) -> u64 {
        self.0 += 100;
        self.0
    }
}

/// Narrow ranges for the bus of channel 0 and the sense of channel 1, as in example 4.
const SETUP: Setup<2> = Setup {
    channels: [
        Some(Ranges {
            sense: SENSE_73_MV,
            bus: BUS_7_V,
        }),
        Some(Ranges {
            sense: SENSE_18_MV,
            bus: BUS_28_V,
        }),
    ],
    mode: Mode::Paced(crake::old::part::Pace(2)),
    averaging: 0,
};

/// Resistors of examples 14 and 16.
fn board() -> Board<2> {
    let rail = |milliohms| {
        let shunt = Shunt::new(Resistance::from_milliohms(milliohms), Tolerance::ZERO);
        Rail::new(shunt, Load::smooth(Current::from_amps(7)).both_ways())
    };
    Board::new(&SPEC, [rail(10), rail(100)]).expect("a board")
}

type TestMonitor<'b> = Monitor<'b, Mock, Delays, Ticks, Moorhen, 2>;

fn with_monitor(steps: &[Transaction], act: impl FnOnce(&mut TestMonitor<'_>)) -> Vec<u64> {
    let board = board();
    let mut mock = Mock::new(steps);
    let mut monitor = Monitor::new(
        mock.clone(),
        Delays::default(),
        Ticks(0),
        Moorhen::new(),
        ADDRESS,
        &board,
    )
    .with_repeats(0);
    act(&mut monitor);
    let (_, delays, _) = monitor.release();
    mock.done();
    delays.0
}

fn joined(parts: &[&[Transaction]]) -> Vec<Transaction> {
    parts.concat()
}

#[test]
fn set_up_and_read_as_the_worked_examples() {
    let steps = joined(&[&init(), &sample(2, FIRST, results(2))]);
    let waits = with_monitor(&steps, |monitor| {
        let frame = monitor.init(&SETUP).expect("a part that answers");
        assert_eq!(frame.condition(), Condition::Boundary);
        assert_eq!(frame.reading(Channel::C0), Err(NoReading::NotComplete));
        let frame = monitor.latch().expect("a part that answers");
        assert_eq!(frame.condition(), Condition::Steady);
        let first = frame.reading(Channel::C0).expect("a reading");
        // Examples 14 and 18.
        assert_eq!(first.current, Current::from_nanoamps(3_600_000_000));
        assert_eq!(first.voltage, Voltage::from_nanovolts(3_300_500_000));
        // 3.6 A × 3.3005 V.
        assert_eq!(first.power, Power::from_nanowatts(11_881_800_000));
        let second = frame.reading(Channel::C1).expect("a reading");
        // Examples 16 and 19.
        assert_eq!(second.current, Current::from_nanoamps(184_230_000));
        assert_eq!(second.voltage, Voltage::from_nanovolts(28_665_000_000));
        assert_eq!(
            frame.ranges(Channel::C1),
            SETUP.channels[1],
            "as RANGES has it"
        );
    });
    assert!(RESET_US.contains(&waits[0]), "{waits:?}");
    assert!(
        waits[1..].iter().all(|wait| SINGLE_SHOT_US.contains(wait)),
        "{waits:?}"
    );
    assert_eq!(waits.len(), 3);
}

/// Examples 15 and 17: all ones below the sign, and the least code; section 3.5: the sign is bit
/// 14.
#[test]
fn signs_and_clipped_flags() {
    // Count 13 is 5 modulo 8; sense of channel 0 clipped as in example 13.
    let words = [0x7FFD, 0x0005, 0xC005, 0x8005];
    let steps = joined(&[&init(), &sample(0x004D, FIRST, words)]);
    with_monitor(&steps, |monitor| {
        monitor.init(&SETUP).expect("a part that answers");
        let frame = monitor.latch().expect("a part that answers");
        let (first, second) = (frame.codes(Channel::C0), frame.codes(Channel::C1));
        assert_eq!((first.sense, first.bus), (-1, 0));
        assert_eq!((second.sense, second.bus), (-2_048, 0));
        assert_eq!((first.sense_clipped, first.bus_clipped), (true, false));
        assert_eq!((second.sense_clipped, second.bus_clipped), (false, false));
        assert!(matches!(
            frame.reading(Channel::C0),
            Err(NoReading::Clipped { .. })
        ));
    });
}

/// Busy, results of another single-shot, and one that belongs to the other channel: read again, and
/// given up after three times.
#[test]
fn results_that_do_not_belong_together_are_not_taken() {
    let good = results(2);
    let [sense, bus, other_sense, other_bus] = good;
    let spoiled: [(u16, [u16; 4]); 4] = [
        (0x0402, good),
        (2, [sense ^ 1, bus, other_sense, other_bus]),
        (2, [sense, bus, other_sense, other_bus ^ 4]),
        (2, [sense | 0x8000, bus, other_sense, other_bus]),
    ];
    for (progress, words) in spoiled {
        let bad = sample(progress, FIRST, words);
        let again = &bad[1..];
        let steps = joined(&[&init(), &bad, again, again]);
        with_monitor(&steps, |monitor| {
            monitor.init(&SETUP).expect("a part that answers");
            let error = monitor.latch().expect_err("results of no single-shot");
            assert_eq!(
                error.came,
                Came::Fault(Fault::Busy),
                "{progress:#06x} {words:04x?}"
            );
        });
        let steps = joined(&[&init(), &bad, again, &sample(2, FIRST, good)[1..]]);
        with_monitor(&steps, |monitor| {
            monitor.init(&SETUP).expect("a part that answers");
            assert!(monitor.latch().is_ok(), "in time");
        });
    }
}

/// Section 2.2: a write that came through crippled is acknowledged and ignored.
#[test]
fn a_single_shot_that_never_took_place_is_found() {
    let stale = sample(1, FIRST, results(1));
    let again = &stale[1..];
    let steps = joined(&[&init(), &stale, again, again]);
    with_monitor(&steps, |monitor| {
        monitor.init(&SETUP).expect("a part that answers");
        let error = monitor.latch().expect_err("old results");
        assert!(
            matches!(error.came, Came::Fault(Fault::Stale { got: 1, .. })),
            "{error:?}"
        );
    });
}

/// Section 3.2: the mark is zero after a reset, and another's if somebody else has set the part up.
#[test]
fn a_reset_and_a_stranger_are_told_apart() {
    // Fresh from a reset the count has begun anew, and is what it was when it was read last.
    let steps = joined(&[&init(), &sample(1, 0, results(1))]);
    with_monitor(&steps, |monitor| {
        monitor.init(&SETUP).expect("a part that answers");
        let frame = monitor.latch().expect("a part that answers");
        assert_eq!(frame.condition(), Condition::Reset);
        assert_eq!(frame.reading(Channel::C0), Err(NoReading::NotRunning));
    });
    let steps = joined(&[&init(), &sample(2, 0x2B07, results(2))]);
    with_monitor(&steps, |monitor| {
        monitor.init(&SETUP).expect("a part that answers");
        let error = monitor.latch().expect_err("another's mark");
        let expected = Fault::SetUpChanged {
            expected: FIRST,
            got: 0x2B07,
        };
        assert_eq!(error.came, Came::Fault(expected));
    });
}

/// A part that runs is joined by its mark; its sums were kept by the firmware that is gone, so
/// nothing vouches for them.
#[test]
fn joining_compares_the_mark_and_claims_no_sums() {
    let steps = joined(&[&[read(0x35, 0x91E4)], &sample(9, 7, results(9))]);
    with_monitor(&steps, |monitor| {
        let frame = monitor.attach(&Joint { serial: 7 }).expect("its mark");
        assert!(!frame.unbroken());
        assert_eq!(frame.head().serial, 7);
    });
    let steps = joined(&[&[read(0x35, 0x91E4)], &sample(9, 6, results(9))]);
    with_monitor(&steps, |monitor| {
        let error = monitor.attach(&Joint { serial: 7 }).expect_err("another's");
        assert!(matches!(
            error.came,
            Came::Fault(Fault::SetUpChanged { .. })
        ));
    });
    with_monitor(&[read(0x35, 0x91E5)], |monitor| {
        let error = monitor
            .attach(&Joint { serial: 7 })
            .expect_err("another part");
        let expected = Fault::Identity {
            expected: 0x91E4,
            got: 0x91E5,
        };
        assert_eq!(error.came, Came::Fault(expected));
    });
}

/// Upper limits without debounce go to the part (example 7: 1.8 A on 10 mΩ is code 500), the rest
/// is judged here; the one output stands for both.
#[test]
fn limits_go_to_the_part_as_far_as_it_has_them() {
    let watches = [
        Watch::new(
            Channel::C0,
            Limit::OverCurrent(Current::from_milliamps(1_800)),
        )
        .held()
        .to(Outputs::B),
        // Example 9: 12.6 V is code 1800 of channel 1's range, and a code below it is told by the
        // driver.
        Watch::new(
            Channel::C1,
            Limit::UnderVoltage(Voltage::from_millivolts(12_600)),
        )
        .held()
        .silent(),
        Watch::new(
            Channel::C1,
            Limit::OverVoltage(Voltage::from_millivolts(12_600)),
        )
        .held()
        .to(Outputs::A),
    ];
    assert_eq!(SPEC.judged_by(&watches[0]), Source::Part);
    assert_eq!(SPEC.judged_by(&watches[1]), Source::Driver);
    assert_eq!(SPEC.judged_by(&watches[2].debounce(2)), Source::Driver);
    let low = |count: u16| {
        [
            0x0FA0 | count,
            0x3AF0 | count,
            0x8000 | count,
            0xB838 | count,
        ]
    };
    let arm = joined(&[
        &[read(0x36, FIRST)],
        &put(0x36, BEFORE_SECOND),
        &put(0x3A, 0), // nothing reaches the output
        &put(0xA1, 0x7FF8),
        &put(0xA2, 0x3FF8),
        &put(0xB1, 0x7FF8),
        &put(0xB2, 0x3FF8),
        &[read(0x3C, 0x0080), write(0x3C, 0x0080)], // what stands, and is nobody's, goes
        &sample(2, BEFORE_SECOND, low(2)),
        &put(0x39, 0x0180),
        &put(0xA2, 0x0FA0), // example 7
        &put(0xB1, 0x3840), // example 9
        &put(0x3A, 0x0240), // sense of channel 0, bus of channel 1
        &[read(0x36, BEFORE_SECOND)],
        &put(0x36, SECOND),
    ]);
    let over = Causes::of(crake::old::alert::Cause::Limit(
        Channel::C0,
        Kind::OverCurrent,
    ));
    let under = Causes::of(crake::old::alert::Cause::Limit(
        Channel::C1,
        Kind::UnderVoltage,
    ));
    // One below 12.6 V: code 1799 is 0x3838.
    let service = joined(&[
        &[read(0x3C, 0x01C0), write(0x3C, 0x0040), read(0x3C, 0x0180)], // that of channel 0 alone is watched
        &sample(3, SECOND, low(3)),
    ]);
    let steps = joined(&[&init(), &arm, &service]);
    with_monitor(&steps, |monitor| {
        monitor.init(&SETUP).expect("a part that answers");
        let mut found = Causes::empty();
        let watches = Watches::limits(&watches);
        monitor
            .arm(&SETUP, &watches, &mut found)
            .expect("a part that answers");
        assert_eq!(found, Causes::empty());
        monitor
            .service(watches.interest(), &mut found)
            .expect("a part that answers");
        assert_eq!(found, over | under);
        assert_eq!(monitor.joint().serial, SECOND);
    });
}

#[test]
fn what_the_part_cannot_do_is_refused_before_a_byte_is_sent() {
    with_monitor(&[], |monitor| {
        let burst = Setup {
            mode: Mode::Burst(Channel::C0),
            ..SETUP
        };
        let error = monitor.init(&burst).expect_err("no bursts");
        assert_eq!(error.came, Came::Fault(Fault::Misuse(Misuse::NoBurst)));
    });
    with_monitor(&init(), |monitor| {
        monitor.init(&SETUP).expect("a part that answers");
        let watches = Watches::limits(&[]).rollover_ahead(Outputs::A);
        let error = monitor
            .arm(&SETUP, &watches, &mut Causes::empty())
            .expect_err("no sums");
        let cause = crake::old::alert::Cause::RolloverAhead;
        assert_eq!(
            error.came,
            Came::Fault(Fault::Misuse(Misuse::NotTold(cause)))
        );
    });
}
