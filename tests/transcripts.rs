//! Exact bytes of the driver's operations on Corncrake: from the worked examples of section 10 where one matches, otherwise worked out with crate `crc`.

use crake::board::{Board, Load, Rail, Shunt};
use crake::part::corncrake::{self, Corncrake};
use crake::part::{BusRange, Joint, SenseRange};
use crake::units::{Current, Power, Resistance, Tolerance, Voltage};
use crake::{
    Came, Channel, Clock, Condition, Error, Fault, Mode, Monitor, NoReading, Ranges, Setup,
    ShuntMonitor, Side, Stamp, Task,
};
use crake_suite::{
    examples::{Transfer, examples},
    frame::{frame, reset_frame},
    markdown::Document,
};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

const ADDRESS: u8 = 0x32;
const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);
const NACK: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data);
/// Section 6: 1 ms after a reset; a round of 8 conversions of 62.5 µs, 1.5 % slow, is 507.6 µs.
const RESET_US: std::ops::Range<u64> = 1_000..1_200;
const ROUND_US: std::ops::Range<u64> = 508..600;

/// A write with its check byte.
fn write(bytes: &[u8]) -> Transaction {
    let check = PEC.checksum(&[&[ADDRESS << 1], bytes].concat());
    Transaction::write(ADDRESS, [bytes, &[check]].concat())
}

/// A read with its check byte.
fn read(pointer: u8, data: &[u8]) -> Transaction {
    let check = PEC.checksum(&[&[ADDRESS << 1, pointer, ADDRESS << 1 | 1], data].concat());
    Transaction::write_read(ADDRESS, vec![pointer], [data, &[check]].concat())
}

/// A write that is read back.
fn put(bytes: &[u8]) -> [Transaction; 2] {
    [write(bytes), read(bytes[0], &bytes[1..])]
}

/// A worked example by its number, as the driver does it.
fn example(number: u32) -> Transaction {
    let found = examples(&Document::corncrake())
        .into_iter()
        .find(|example| example.number == number);
    transaction(&found.expect("a worked example").transfer)
}

fn transaction(transfer: &Transfer) -> Transaction {
    match &transfer.parts()[..] {
        [write] => Transaction::write(write[0] >> 1, write[1..].to_vec()),
        [write, read] => {
            Transaction::write_read(write[0] >> 1, write[1..].to_vec(), read[1..].to_vec())
        }
        _ => panic!("{transfer:?}"),
    }
}

/// The block of 10.1 with another tag, set-up serial and flags.
fn block(tag: u8, serial: u16, flags: u16) -> Vec<u8> {
    let mut block = frame(&Document::corncrake()).block;
    block[0] = tag;
    block[1..3].copy_from_slice(&serial.to_be_bytes());
    block[7..9].copy_from_slice(&flags.to_be_bytes());
    let check = GENIBUS.checksum(&block[..109]);
    block[109..].copy_from_slice(&check.to_be_bytes());
    block
}

const COMPLETE: u16 = 0x4000;

/// Notes what it is asked for.
#[derive(Default)]
struct Delays(Vec<u64>);

impl DelayNs for Delays {
    fn delay_ns(&mut self, ns: u32) {
        self.0.push(u64::from(ns / 1_000));
    }
}

/// One microsecond later each time.
struct Ticks(u64);

impl Clock for Ticks {
    fn now_us(&mut self) -> u64 {
        self.0 += 1;
        self.0
    }
}

fn board<const N: usize>() -> Board<N> {
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
    Board::new(
        &corncrake::SPEC,
        [Rail::new(shunt, Load::smooth(Current::from_amps(7))); N],
    )
    .expect("a board")
}

/// That of example 4, with paces and means of examples 5 and 6.
fn setup() -> Setup<4> {
    let ranges = |sense, bus| {
        Some(Ranges {
            sense: SenseRange(sense),
            bus: BusRange(bus),
        })
    };
    Setup {
        channels: [ranges(0, 1), ranges(1, 0), ranges(0, 0), ranges(1, 2)],
        mode: Mode::Paced(corncrake::PACE_2000),
        averaging: 4,
    }
}

/// The registers of [`setup`], then RUN with example 6's tag.
fn set_up() -> Vec<Transaction> {
    let mut steps = put(&[0x05, 0x0F]).to_vec();
    steps.extend([
        example(4),
        read(0x06, &[0x60, 0x41]),
        example(5),
        read(0x07, &[0x04]),
    ]);
    steps
}

fn init() -> Vec<Transaction> {
    let mut steps = vec![example(1), write(&[0x09, 0xA5])];
    steps.extend(put(&[0x08, 0x01]));
    steps.push(write(&[0x0A, 0x01]));
    steps.extend(set_up());
    steps.extend([example(6), read(0x80, &block(1, 5, 0))]);
    steps
}

/// Example 7 with the check byte that the driver always sends, and the block that comes of it.
fn latch(tag: u8, seen: u8, block: &[u8]) -> [Transaction; 2] {
    [write(&[0x03, tag, seen]), read(0x80, block)]
}

type TestMonitor<'b, const N: usize> = Monitor<'b, Mock, Delays, Ticks, Corncrake, N>;

/// Lets `run` work on the transcript; fails where it leaves some of it undone. Returns the delays in order.
fn perform<const N: usize>(
    steps: &[Transaction],
    run: impl FnOnce(&mut TestMonitor<'_, N>),
) -> Vec<u64> {
    let board = board();
    let mock = Mock::new(steps);
    let mut monitor = Monitor::new(
        mock,
        Delays::default(),
        Ticks(0),
        Corncrake::new(),
        ADDRESS,
        &board,
    );
    run(&mut monitor);
    let (mut mock, delays, _) = monitor.release();
    mock.done();
    delays.0
}

#[test]
fn init_is_identity_reset_set_up_and_run() {
    let delays = perform(&init(), |monitor| {
        let frame = monitor.init(&setup()).expect("as the document has it");
        assert_eq!(frame.condition(), Condition::Boundary);
        assert!(!frame.unbroken());
        assert_eq!(
            frame.stamp(),
            Stamp {
                before_us: 1,
                after_us: 2
            }
        );
        assert_eq!(monitor.joint(), Joint { serial: 5 });
    });
    assert!(
        matches!(delays[..], [reset, round] if RESET_US.contains(&reset) && ROUND_US.contains(&round)),
        "{delays:?}"
    );
}

/// Example 3: channel 2 is left out, and keeps the coarsest ranges (reset value of RANGES, section 3).
#[test]
fn configure_writes_the_registers_then_runs() {
    let mut steps = init();
    steps.extend([example(3), read(0x05, &[0x0B])]);
    steps.extend(put(&[0x06, 0x62, 0x41]));
    steps.extend(put(&[0x07, 0x0A]));
    steps.extend([
        write(&[0x04, 0x14, 2, 1]),
        read(0x80, &block(2, 9, COMPLETE)),
    ]);
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        let setup = Setup {
            mode: Mode::Paced(corncrake::PACE_1),
            ..setup()
        };
        let setup = setup.with(Channel::C2, None).averaging(10);
        let frame = monitor.configure(&setup).expect("configure");
        assert_eq!(
            (frame.condition(), frame.unbroken()),
            (Condition::Boundary, true)
        );
        assert_eq!(monitor.joint(), Joint { serial: 9 });
    });
}

/// Mode bytes of section 3.3.
#[test]
fn modes_of_run() {
    let paces = [
        corncrake::PACE_2000,
        corncrake::PACE_500,
        corncrake::PACE_100,
        corncrake::PACE_10,
        corncrake::PACE_1,
    ];
    let paced = (0x10..).zip(paces.map(Mode::Paced));
    let bursts = (0x30..).zip(Channel::first(4).map(Mode::Burst));
    for (byte, mode) in paced
        .chain(bursts)
        .chain([(0, Mode::Idle), (0x20, Mode::SingleShot)])
    {
        let mut steps = init();
        let (run, _) = (steps.len() - 2, steps.pop());
        steps[run] = write(&[0x04, byte, 1, 0]);
        let mut answer = block(1, 5, 0);
        answer[3] = byte;
        let check = GENIBUS.checksum(&answer[..109]);
        answer[109..].copy_from_slice(&check.to_be_bytes());
        steps.push(read(0x80, &answer));
        perform(&steps, |monitor| {
            let frame = monitor
                .init(&Setup { mode, ..setup() })
                .expect("a mode of the part");
            assert_eq!(frame.head().mode, mode);
        });
    }
}

#[test]
fn latches_count_their_tags_and_say_what_was_seen() {
    let mut steps = init();
    steps.extend(latch(2, 1, &block(2, 5, COMPLETE)));
    steps.extend(latch(3, 2, &block(3, 5, COMPLETE)));
    let delays = perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        for stamp in [3, 5] {
            let frame = monitor.latch().expect("latch");
            assert_eq!(
                (frame.condition(), frame.unbroken()),
                (Condition::Steady, true)
            );
            assert_eq!(
                frame.stamp(),
                Stamp {
                    before_us: stamp,
                    after_us: stamp + 1
                }
            );
        }
    });
    assert!(delays[2..].iter().all(|us| ROUND_US.contains(us)) && delays.len() == 4);
}

/// The block of 10.1, byte for byte, is what stands in the part when the driver joins; that of the driver's own latch differs in tag and check value alone.
/// Every field is what 10.1 lists, and quantities follow by section 4.
#[test]
fn the_frame_of_10_1_means_what_the_document_lists() {
    let document = Document::corncrake();
    let listed = frame(&document);
    let value = |field: &str| listed.fields[field];
    let mut steps = vec![example(1), transaction(&listed.transfer)];
    // Tag after 0x5A; seen is none that the part ever had in place, so that flags unseen by the predecessor are carried over (3.2).
    steps.extend(latch(0x5B, 0x5B, &block(0x5B, 0x123, 0x4010)));
    perform::<4>(&steps, |monitor| {
        let frame = monitor.attach(&Joint { serial: 0x123 }).expect("attach");
        assert_eq!(
            (frame.condition(), frame.unbroken()),
            (Condition::Steady, true)
        );
        let head = frame.head();
        assert_eq!(i128::from(head.serial), value("serial"));
        assert_eq!(head.mode, Mode::Paced(corncrake::PACE_500)); // 0x11
        assert_eq!(
            (head.averaging, head.reset_seen, head.complete),
            (4, false, true)
        ); // 0x4F, 0x4010
        assert_eq!(i128::from(head.rounds), value("rounds"));
        for channel in Channel::first(4) {
            let field = |name: &str| value(&format!("{name} {}", channel.number()));
            let codes = frame.codes(channel);
            assert_eq!(
                [
                    i128::from(codes.sense),
                    i128::from(codes.bus),
                    i128::from(codes.power)
                ],
                ["sense", "bus", "power"].map(field)
            );
            let counters = frame.counters(channel);
            assert_eq!(
                [i128::from(counters.charge), i128::from(counters.energy)],
                ["charge", "energy"].map(field)
            );
            // Flag bit 4 is sense of channel 2.
            assert_eq!(
                (codes.sense_clipped, codes.bus_clipped),
                (channel == Channel::C2, false)
            );
        }
        assert_eq!(
            Channel::first(4)
                .map(|c| frame.ranges(c))
                .collect::<Vec<_>>(),
            setup().channels
        );

        let reading = frame.reading(Channel::C0).expect("in range");
        // 84000 × 500 nV ÷ 10 mΩ, 33000 × 250 µV, 2 772 000 000 × 500 nV × 250 µV ÷ 10 mΩ.
        assert_eq!(reading.current, Current::from_milliamps(4_200));
        assert_eq!(reading.voltage, Voltage::from_millivolts(8_250));
        assert_eq!(reading.power, Power::from_milliwatts(34_650));
        let reading = frame.reading(Channel::C1).expect("in range");
        // -7500 × 200 nV, 48250 × 100 µV, -361 875 000 × 200 nV × 100 µV ÷ 10 mΩ.
        assert_eq!(reading.current, Current::from_milliamps(-150));
        assert_eq!(reading.voltage, Voltage::from_millivolts(4_825));
        assert_eq!(reading.power, Power::from_microwatts(-723_750));
        let NoReading::Clipped {
            reading,
            current,
            voltage,
            ..
        } = frame.reading(Channel::C2).expect_err("clipped")
        else {
            panic!("not clipped");
        };
        assert_eq!((current, voltage), (Side::AtLeast, Side::Near));
        // 131071 × 500 nV ÷ 10 mΩ.
        assert_eq!(reading.current, Current::from_microamps(6_553_550));
        assert_eq!(monitor.joint(), Joint { serial: 0x123 });
    });
}

/// The block of 10.2 instead of the one asked for: the part was reset.
#[test]
fn the_frame_of_10_2_says_that_the_part_was_reset() {
    let document = Document::corncrake();
    let reset = transaction(&reset_frame(&document).transfer);
    let mut steps = init();
    steps.extend([write(&[0x03, 2, 1]), reset.clone()]);
    // What comes next begins with the tag of a part fresh from reset.
    steps.extend(latch(1, 0, &block(1, 0, 0x8000)));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        let frame = monitor.latch().expect("a frame that says so");
        assert_eq!(frame.condition(), Condition::Reset);
        assert_eq!(frame.head().mode, Mode::Idle);
        let coarsest = Ranges {
            sense: corncrake::SENSE_65_MV,
            bus: corncrake::BUS_65_V,
        };
        assert!(Channel::first(4).all(|channel| frame.ranges(channel) == Some(coarsest)));
        assert_eq!(frame.reading(Channel::C0), Err(NoReading::NotRunning));
        assert_eq!(
            monitor.latch().expect("still").condition(),
            Condition::Reset
        );
    });
    perform::<1>(&[example(1), reset], |monitor| {
        let error = monitor
            .attach(&Joint { serial: 0 })
            .expect_err("nothing to join");
        assert_eq!(error.came, Came::Fault(Fault::ResetSeen));
    });
}

/// Goal: blocks in pieces of the controller's length; the last has the check byte if there is room for it.
#[test]
fn a_cap_on_reads_splits_the_block() {
    let block = block(2, 5, COMPLETE);
    for cap in [1, 2, 16, 32, 55, 56, 110, 111, 112, 255_u8] {
        let mut steps = init();
        let run = steps.len() - 1;
        steps.truncate(run);
        for (tag, block) in [(1, self::block(1, 5, 0)), (2, block.clone())] {
            if tag == 2 {
                steps.push(write(&[0x03, 2, 1]));
            }
            for (piece, bytes) in block.chunks(cap.into()).enumerate() {
                let pointer = 0x80 + piece as u8 * cap;
                let last = usize::from(pointer - 0x80) + bytes.len() == 111;
                steps.push(if last && bytes.len() < usize::from(cap) {
                    read(pointer, bytes)
                } else {
                    Transaction::write_read(ADDRESS, vec![pointer], bytes.to_vec())
                });
            }
        }
        let board = board();
        let monitor = Monitor::new(
            Mock::new(&steps),
            Delays::default(),
            Ticks(0),
            Corncrake::new(),
            ADDRESS,
            &board,
        );
        let mut monitor = monitor.with_read_max(cap);
        monitor.init(&setup()).expect("init");
        let frame = monitor.latch().expect("latch");
        assert_eq!(
            frame.counters(Channel::C3).energy,
            -576_460_752_303_423_488,
            "cap {cap}"
        );
        monitor.release().0.done();
    }
}

#[test]
fn wrong_check_bytes_are_read_again_twice() {
    let wrong = |transaction: Transaction, times: usize| {
        // Example 1 with its check byte spoilt.
        let spoilt =
            Transaction::write_read(ADDRESS, vec![0x00], vec![0x9E, 0x37, 0xC4, 0x01, 0x0A]);
        let mut steps = vec![spoilt; times];
        steps.push(transaction);
        steps
    };
    let mut steps = wrong(example(1), 2);
    steps.extend(init().into_iter().skip(1));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("the third was right");
    });
    let mut steps = wrong(example(1), 3);
    steps.pop();
    perform(&steps, |monitor| {
        let fault = Fault::CheckByte {
            expected: 0x0B,
            got: 0x0A,
        };
        let error = monitor.init(&setup()).expect_err("three wrong ones");
        assert_eq!(
            error,
            Error {
                task: Task::Init,
                address: ADDRESS,
                register: 0,
                came: Came::Fault(fault)
            }
        );
        assert!(error.is_worth_repeating());
    });
}

/// Goal: a block that is not whole, or not the one asked for, is read three times in all; the latch is asked for once, and the next call goes on without a gap.
#[test]
fn bad_blocks_are_read_three_times() {
    let good = block(2, 5, COMPLETE);
    let mut torn = good.clone();
    torn[40] ^= 0x10;
    let (expected, got) = (
        GENIBUS.checksum(&torn[..109]),
        GENIBUS.checksum(&good[..109]),
    );
    let stale = block(1, 5, 0);
    let cases = [
        (torn, Fault::BlockCheck { expected, got }),
        (
            stale,
            Fault::Stale {
                expected: 2,
                got: 1,
            },
        ),
    ];
    for (bad, fault) in cases {
        let mut steps = init();
        steps.push(write(&[0x03, 2, 1]));
        steps.extend([read(0x80, &bad), read(0x80, &bad), read(0x80, &good)]);
        let delays = perform(&steps, |monitor| {
            monitor.init(&setup()).expect("init");
            assert!(monitor.latch().expect("the third was right").unbroken());
        });
        assert_eq!(delays.len(), 2 + 3);

        let mut steps = init();
        steps.push(write(&[0x03, 2, 1]));
        steps.extend([read(0x80, &bad), read(0x80, &bad), read(0x80, &bad)]);
        // Never seen: 1 remains what was seen last.
        steps.extend(latch(3, 1, &block(3, 5, COMPLETE)));
        perform(&steps, |monitor| {
            monitor.init(&setup()).expect("init");
            let error = monitor.latch().expect_err("three bad ones");
            assert_eq!((error.task, error.came), (Task::Latch, Came::Fault(fault)));
            assert!(monitor.latch().expect("the next").unbroken());
        });
    }
}

/// Goal: a latch that may have arrived is repeated with the same tag, which section 3.2 makes harmless; its bracket spans all attempts.
#[test]
fn a_latch_not_acknowledged_is_repeated_with_its_tag() {
    let refused = || write(&[0x03, 2, 1]).with_error(NACK);
    let mut steps = init();
    steps.extend([refused(), refused()]);
    steps.extend(latch(2, 1, &block(2, 5, COMPLETE)));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        let frame = monitor.latch().expect("the third was acknowledged");
        assert_eq!(
            frame.stamp(),
            Stamp {
                before_us: 3,
                after_us: 6
            }
        );
    });
    let mut steps = init();
    steps.extend([refused(), refused(), refused()]);
    steps.extend(latch(3, 1, &block(3, 5, COMPLETE)));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        let error = monitor.latch().expect_err("never acknowledged");
        assert_eq!(
            (error.register, error.came, error.bus_kind()),
            (0x03, Came::Bus(NACK), Some(NACK))
        );
        assert!(monitor.latch().expect("the next").unbroken());
    });
}

#[test]
fn what_does_not_read_back_is_written_again() {
    let before = init().into_iter().take(5).collect::<Vec<_>>();
    let differs = [write(&[0x05, 0x0F]), read(0x05, &[0x0B])];
    let mut steps = before.clone();
    steps.extend(differs.clone());
    steps.extend(init().into_iter().skip(5));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("the second read back");
    });
    let mut steps = before;
    steps.extend([differs.clone(), differs.clone(), differs].concat());
    perform(&steps, |monitor| {
        let error = monitor.init(&setup()).expect_err("never");
        assert_eq!(
            (error.register, error.came),
            (
                0x05,
                Came::Fault(Fault::ReadBack {
                    wrote: 0x0F,
                    read: 0x0B
                })
            )
        );
    });
}

/// Goal: a stranger's write is told at each latch, and the block that told, not handed over, does not count as seen: its flags come again.
#[test]
fn a_set_up_that_somebody_changed_is_refused() {
    let mut steps = init();
    steps.extend(latch(2, 1, &block(2, 6, COMPLETE | 0x10)));
    steps.extend(latch(3, 1, &block(3, 6, COMPLETE | 0x10)));
    steps.extend(set_up());
    steps.extend([
        write(&[0x04, 0x10, 4, 1]),
        read(0x80, &block(4, 10, COMPLETE | 0x10)),
    ]);
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        for _ in 0..2 {
            let error = monitor.latch().expect_err("a stranger's set-up");
            assert_eq!(
                error.came,
                Came::Fault(Fault::SetUpChanged {
                    expected: 5,
                    got: 6
                })
            );
            assert!(!error.is_worth_repeating());
        }
        let frame = monitor.configure(&setup()).expect("ours again");
        assert!(!frame.unbroken() && frame.codes(Channel::C2).sense_clipped);
    });
}

/// Goal: of a configure that fails before RUN nothing took effect (3.3); one that fails after it may have taken over at any time since. Either way the next latch tells.
#[test]
fn a_failed_configure_is_told_by_the_next_frame() {
    let mut steps = init();
    steps.extend(put(&[0x05, 0x0F]));
    steps.extend([
        example(4).with_error(NACK),
        example(4).with_error(NACK),
        example(4).with_error(NACK),
    ]);
    // CHANNELS was accepted, and counted.
    steps.extend(latch(2, 1, &block(2, 6, COMPLETE)));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        let error = monitor.configure(&setup()).expect_err("refused");
        assert_eq!((error.task, error.register), (Task::Configure, 0x06));
        assert!(monitor.latch().expect("the old set-up runs on").unbroken());
        assert_eq!(monitor.joint(), Joint { serial: 6 });
    });

    let run = || write(&[0x04, 0x10, 2, 1]).with_error(ErrorKind::ArbitrationLoss);
    let mut steps = init();
    steps.extend(set_up());
    steps.extend([run(), run(), run()]);
    steps.extend(latch(3, 1, &block(3, 9, COMPLETE)));
    steps.extend(latch(4, 3, &block(4, 9, COMPLETE)));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        monitor.configure(&setup()).expect_err("lost");
        assert!(!monitor.latch().expect("one of the two runs").unbroken());
        assert!(monitor.latch().expect("and goes on").unbroken());
    });
}

/// Goal: sums may be zero after an init that failed, even where the block afterwards looks as before it.
#[test]
fn a_failed_init_is_told_by_the_next_frame() {
    let mut steps = init();
    let mut again = init();
    again.pop();
    steps.extend(again);
    let lost = || read(0x80, &block(1, 5, 0)).with_error(ErrorKind::Bus);
    steps.extend([lost(), lost(), lost()]);
    steps.extend(latch(2, 0, &block(2, 5, COMPLETE)));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
        monitor
            .init(&setup())
            .expect_err("the bus failed at the end");
        assert!(!monitor.latch().expect("a part that runs").unbroken());
    });
}

#[test]
fn mistakes_of_the_caller_send_nothing() {
    perform(&[], |monitor| {
        let error = monitor
            .init(&setup().averaging(11))
            .expect_err("no such averaging");
        assert!(error.misuse().is_some() && !error.is_worth_repeating());
        let error = monitor
            .configure(&Setup {
                channels: [None; 4],
                ..setup()
            })
            .expect_err("no channel");
        assert!(error.misuse().is_some());
        monitor.declare_powered(false);
        assert!(
            monitor
                .init(&setup())
                .expect_err("no supply")
                .misuse()
                .is_some()
        );
        assert_eq!(
            monitor.latch().expect("a state, no error").condition(),
            Condition::Unpowered
        );
    });
}

/// The machinery reports: a transcript that goes on is a failure.
#[test]
#[should_panic(expected = "Not all expectations consumed")]
fn steps_left_undone_fail_the_test() {
    let mut steps = init();
    steps.push(example(1));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
    });
}
