//! Operations that meet errors, and what comes after them.

use super::*;

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

/// The machinery reports: a exact bytes that goes on is a failure.
#[test]
#[should_panic(expected = "Not all expectations consumed")]
fn steps_left_undone_fail_the_test() {
    let mut steps = init();
    steps.push(example(1));
    perform(&steps, |monitor| {
        monitor.init(&setup()).expect("init");
    });
}
