//! Operations that meet errors, and what comes after them.

use crake::bus::Fault;
use crake::config::ConfigError;
use crake::part::ResumeToken;
use crake::{Channel, Error, ErrorKind as Kind, Operation, Sample, ShuntMonitor, TimedSample};

use super::*;

#[test]
fn wrong_check_bytes_are_read_again_twice() {
    // Example 1 with its check byte spoilt.
    let spoilt = || {
        let bytes = vec![0x9E, 0x37, 0xC4, 0x02, 0x03];
        Transaction::write_read(ADDRESS, vec![0x00], bytes)
    };
    let mut steps = vec![spoilt(), spoilt()];
    steps.extend(init());
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("the third was right");
    });
    perform(&[spoilt(), spoilt(), spoilt()], |monitor| {
        let error = monitor.init(&config()).expect_err("three wrong ones");
        let kind = Kind::Differs {
            fault: Fault::CheckByte,
            expected: 0x02,
            got: 0x03,
        };
        let expected = Error {
            operation: Operation::Init,
            address: ADDRESS,
            register: 0x00,
            kind,
        };
        assert_eq!(error, expected);
        assert!(!error.may_repeat(), "init starts over");
    });
    // As often as is set.
    perform(&[spoilt()], |monitor| {
        monitor.set_attempts(1);
        monitor.init(&config()).expect_err("the only one");
    });
}

/// A block that is not whole, or not the one asked for, is read three times in all; the latch is
/// asked for once, and the next call goes on.
#[test]
fn bad_blocks_are_read_three_times() {
    let mut torn = good(1);
    torn[40] ^= 0x10;
    let own = |block: &[u8]| u32::from(GENIBUS.checksum(&block[..109]));
    let cases = [
        (torn.clone(), Fault::BlockCheck, own(&torn), own(&good(1))),
        (good(9), Fault::Stale, 1, 9),
    ];
    for (bad, fault, expected, got) in cases {
        let mut steps = init();
        steps.push(write(&[0x03, 1, 0]));
        steps.extend([read(0x80, &bad), read(0x80, &bad), read(0x80, &good(1))]);
        let delays = perform(&steps, |monitor| {
            monitor.init(&config()).expect("init");
            monitor.sample().expect("the third was right");
        });
        assert_eq!(delays.len(), 3);

        let mut steps = init();
        steps.push(write(&[0x03, 1, 0]));
        steps.extend([read(0x80, &bad), read(0x80, &bad), read(0x80, &bad)]);
        // Never seen: 0 remains what was seen last.
        steps.extend(latch(2, 0, &good(2)));
        perform(&steps, |monitor| {
            monitor.init(&config()).expect("init");
            let error = monitor.sample().map(drop).expect_err("three bad ones");
            let kind = Kind::Differs {
                fault,
                expected,
                got,
            };
            assert_eq!((error.operation, error.kind), (Operation::Sample, kind));
            assert!(error.may_repeat());
            monitor.sample().expect("the next");
        });
    }
}

/// A latch that may have arrived is repeated with the same tag, which section 3.2 makes harmless;
/// its bracket spans all attempts.
#[test]
fn a_latch_not_acknowledged_is_repeated_with_its_tag() {
    let refused = || write(&[0x03, 1, 0]).with_error(NACK);
    let mut steps = init();
    steps.extend([refused(), refused()]);
    steps.extend(latch(1, 0, &good(1)));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        let sample = monitor.sample().expect("the third was acknowledged");
        assert_eq!(sample.timestamp().before_us, 1);
        assert!(sample.timestamp().width_us() > 507);
    });
    let mut steps = init();
    steps.extend([refused(), refused(), refused()]);
    steps.extend(latch(2, 0, &good(2)));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        let error = monitor.sample().map(drop).expect_err("never acknowledged");
        assert_eq!((error.register, error.kind), (0x03, Kind::Bus(NACK)));
        assert_eq!(error.bus_kind(), Some(NACK));
        monitor.sample().expect("the next");
    });
}

#[test]
fn what_does_not_read_back_is_told() {
    let mut steps = init();
    steps.truncate(5);
    steps.extend([write(&[0x05, 0x0F]), read(0x05, &[0x0B])]);
    perform(&steps, |monitor| {
        let error = monitor.init(&config()).expect_err("it does not read back");
        let kind = Kind::Differs {
            fault: Fault::ReadBack,
            expected: 0x0F,
            got: 0x0B,
        };
        assert_eq!((error.register, error.kind), (0x05, kind));
        let error = monitor.sample().map(drop).expect_err("half configured");
        assert_eq!(error.fault(), Fault::NotConfigured);
    });
}

#[test]
fn another_part_is_told_before_it_is_touched() {
    let other = read(0x00, &[0x9E, 0x37, 0xC4, 0x01]);
    perform(&[other], |monitor| {
        let error = monitor.init(&config()).expect_err("another part");
        let kind = Kind::Differs {
            fault: Fault::Identity,
            expected: 0x9E37_C402,
            got: 0x9E37_C401,
        };
        assert_eq!((error.register, error.kind), (0x00, kind));
    });
}

/// Somebody else's write, and each thing that a block tells besides.
#[test]
fn a_part_that_somebody_changed_is_given_up() {
    let mut averaging = good(1);
    averaging[4] = 0x3F;
    let mut ranges = good(1);
    ranges[6] = 0x42;
    let changed = [
        block(1, WRITES + 1, 0x10, COMPLETE),
        block(1, WRITES, 0x00, COMPLETE),
        averaging,
        ranges,
    ];
    for mut block in changed {
        let check = GENIBUS.checksum(&block[..109]);
        block[109..].copy_from_slice(&check.to_be_bytes());
        let mut steps = init();
        steps.extend(latch(1, 0, &block));
        perform(&steps, |monitor| {
            monitor.init(&config()).expect("init");
            let error = monitor.sample().map(drop).expect_err("a stranger's");
            assert_eq!(error.fault(), Fault::Changed);
            assert!(!error.may_repeat());
            // Nothing is sent until `init` starts over.
            let errors = [
                monitor.sample().map(drop).expect_err("unknown").fault(),
                monitor.configure(&config()).expect_err("unknown").fault(),
            ];
            assert_eq!(errors, [Fault::NotConfigured; 2]);
        });
    }
}

#[test]
fn a_part_that_was_reset_is_given_up() {
    let mut steps = init();
    steps.extend(latch(1, 0, &block(1, WRITES, 0x10, COMPLETE | RESET_SEEN)));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        let error = monitor.sample().map(drop).expect_err("a reset");
        assert_eq!(error.kind, Kind::State(Fault::Reset));
        let error = monitor.sample().map(drop).expect_err("unknown");
        assert_eq!(error.kind, Kind::State(Fault::NotConfigured));
    });
}

/// What was written before a reset is gone: the last look finds it.
#[test]
fn a_reset_within_init_is_told() {
    let mut steps = init();
    steps.pop();
    steps.push(read(0x0A, &[0x01]));
    perform(&steps, |monitor| {
        let error = monitor.init(&config()).expect_err("a reset");
        assert_eq!(error.fault(), Fault::Reset);
    });
}

#[test]
fn nothing_is_resumed_that_was_changed() {
    let token = ResumeToken {
        writes: 0x123,
        configuration: ResumeToken::KEPT,
    };
    let same = [
        example(1),
        read(0x01, &[0x01, 0x23]),
        read(0x05, &[0x0F]),
        read(0x06, &[0x60, 0x41]),
        read(0x07, &[0x04]),
    ];
    let other = [
        (1, read(0x01, &[0x01, 0x24])),
        (2, read(0x05, &[0x0E])),
        (3, read(0x06, &[0x60, 0x42])),
        (4, read(0x07, &[0x03])),
        (5, read(0x04, &[0x00])),
    ];
    for (place, other) in other {
        let mut steps = same[..place].to_vec();
        steps.push(other);
        perform(&steps, |monitor| {
            let resumed = monitor.resume(&config(), token).map(drop);
            assert_eq!(resumed.expect_err("changed").fault(), Fault::Changed);
            // What is kept stays what it was.
            assert_eq!(monitor.token(), token);
            let error = monitor.sample().map(drop).expect_err("not resumed");
            assert_eq!(error.fault(), Fault::NotConfigured);
        });
    }
}

#[test]
fn mistakes_of_the_caller_send_nothing() {
    perform(&[], |monitor| {
        let error = monitor
            .init(&config().averaging(11))
            .expect_err("no such averaging");
        let refused = ConfigError::Averaging {
            asked: 11,
            greatest: 10,
        };
        assert_eq!(error.kind, Kind::Config(refused));
        assert_eq!(error.fault(), Fault::Refused);
        let none = Channel::first(4).fold(config(), Config::without);
        let error = monitor.init(&none).expect_err("no channel");
        assert_eq!(error.kind, Kind::Config(ConfigError::NoChannel));
        // Section 3.3: 2000 a second are the most.
        let rate = ScanRate::per_second(5_000);
        let error = monitor
            .init(&Config::continuous([full_scale(20, 5_000); 4], rate))
            .expect_err("no such rate");
        let refused = ConfigError::ScanRate(rate);
        assert_eq!(error.kind, Kind::Config(refused));
        let text = "the part has no scan rate as high as one scan every 200 µs";
        assert_eq!(refused.to_string(), text);
        let error = monitor.configure(&config()).expect_err("not configured");
        assert_eq!(error.fault(), Fault::NotConfigured);
        monitor.set_powered(false);
        let error = monitor.init(&config()).expect_err("no supply");
        assert_eq!(error.fault(), Fault::Unpowered);
        let error = monitor.sample().map(drop).expect_err("no supply");
        assert_eq!(error.fault(), Fault::Unpowered);
    });
    // What stands goes on.
    let mut steps = init();
    steps.extend(latch(1, 0, &good(1)));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        monitor
            .configure(&config().averaging(11))
            .expect_err("no such averaging");
        assert!(
            monitor
                .sample()
                .expect("a sample")
                .reading(Channel::C0)
                .is_ok()
        );
    });
}

/// As many failures in a row as there are tags: an old block could pass for a new one.
#[test]
fn a_sample_that_fails_too_often_is_given_up() {
    let mut steps = init();
    for tag in 1..=254 {
        steps.push(write(&[0x03, tag, 0]).with_error(NACK));
    }
    perform(&steps, |monitor| {
        monitor.set_attempts(1);
        monitor.init(&config()).expect("init");
        for _ in 0..254 {
            assert!(
                monitor
                    .sample()
                    .map(drop)
                    .expect_err("no answer")
                    .may_repeat()
            );
        }
        let error = monitor.sample().map(drop).expect_err("too often");
        assert_eq!(error.fault(), Fault::NotConfigured);
    });
}

/// The machinery reports: expected bytes that do not come are a failure.
#[test]
#[should_panic(expected = "Not all expectations consumed")]
fn steps_left_undone_fail_the_test() {
    let mut steps = init();
    steps.push(example(1));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
    });
}
