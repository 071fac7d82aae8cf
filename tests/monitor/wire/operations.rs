//! Operations that succeed.

use crake::config::Mode;
use crake::part::ResumeToken;
use crake::units::{Current, Power};
use crake::{Channel, NoReading, Sample, Saturation, ShuntMonitor, TimedSample, Timestamp};

use super::*;

/// The examples are what `configure` below writes out.
#[test]
fn init_is_the_examples() {
    let steps = init();
    for (place, number) in [(0, 1), (3, 8), (7, 4), (9, 5), (11, 6), (13, 2)] {
        assert_eq!(steps[place], example(number), "example {number}");
    }
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("as the document has it");
        assert_eq!(monitor.token().writes, u32::from(WRITES));
    });
}

/// Example 3: channel 2 is left out, and keeps the coarsest rail range (reset value of RANGES,
/// section 3).
#[test]
fn configure_stops_writes_reads_back_and_starts() {
    let mut steps = init();
    steps.extend(configure(false, 0x0B, [0x62, 0x41], 10, 0x14));
    let channels = init().len() + 4;
    assert_eq!(steps[channels], example(3));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        let mode = Mode::Continuous(ScanRate::every_seconds(1));
        let other = config().without(Channel::C2).averaging(10).with_mode(mode);
        monitor.configure(&other).expect("configure");
    });
}

/// Mode bytes of section 3.3. A single shot is started by each sample.
#[test]
fn modes_of_run() {
    let rates = [2_000, 500, 100, 10, 1].map(ScanRate::per_second);
    let rates = (0x10..).zip(rates.map(Mode::Continuous));
    for (byte, mode) in rates.chain([(0x00, Mode::Idle), (0x00, Mode::SingleShot)]) {
        let steps = configure(true, 0x0F, [0x60, 0x41], 4, byte);
        perform(&steps, |monitor| {
            monitor.init(&config().with_mode(mode)).expect("a mode");
        });
    }
}

#[test]
fn latches_count_their_tags_and_say_what_was_seen() {
    let mut steps = init();
    steps.extend(latch(1, 0, &good(1)));
    steps.extend(latch(2, 1, &good(2)));
    let delays = perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        for tick in [1, 3] {
            let sample = monitor.sample().expect("a sample");
            let Timestamp {
                before_us,
                after_us,
            } = sample.timestamp();
            // The latch is done after the scan in progress.
            let latched = after_us - (tick + 1);
            assert!(SCAN_US.contains(&(latched as u32)), "{latched}");
            assert_eq!(before_us, tick);
        }
    });
    assert!(delays.len() == 2 && delays.iter().all(|us| SCAN_US.contains(us)));
}

/// From 255 tags go on with 1: 0 is that of a part after its reset (section 3.2).
#[test]
fn tags_go_round_without_0() {
    let mut steps = init();
    for tag in 1..=255 {
        steps.extend(latch(tag, tag - 1, &good(tag)));
    }
    steps.extend(latch(1, 255, &good(1)));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        for _ in 0..256 {
            monitor.sample().expect("a sample");
        }
    });
}

/// RUN starts the shot, which lasts a wake-up and 16 scans; then the block is latched. No start
/// counts as a write (section 3.3), tried again or not.
#[test]
fn a_single_shot_is_started_then_latched() {
    let mut steps = configure(true, 0x0F, [0x60, 0x41], 4, 0x00);
    let shot = || write(&[0x04, 0x20]);
    steps.push(shot());
    steps.extend(latch(1, 0, &block(1, WRITES, 0x00, COMPLETE)));
    steps.extend([shot().with_error(NACK), shot()]);
    steps.extend(latch(2, 1, &block(2, WRITES, 0x00, COMPLETE)));
    let delays = perform(&steps, |monitor| {
        monitor
            .init(&config().with_mode(Mode::SingleShot))
            .expect("init");
        for _ in 0..2 {
            let sample = monitor.sample().expect("a sample");
            assert!(sample.reading(Channel::C0).is_ok());
            let writes = u32::from(WRITES);
            assert_eq!(monitor.token().writes, writes);
        }
    });
    // 150 µs, and 16 times 508 µs (section 6).
    assert!(
        delays.iter().all(|us| (8_278..9_000).contains(us)),
        "{delays:?}"
    );
}

/// The block of 10.1, byte for byte; every field is what 10.1 lists, and quantities follow by
/// section 4.
#[test]
fn the_block_of_10_1_means_what_the_document_lists() {
    let document = Document::corncrake();
    let listed = sample_block(&document);
    let value = |field: &str| listed.fields[field];
    let mut steps = configure(true, 0x0F, [0x60, 0x41], 4, 0x11);
    let writes = steps.len() - 2;
    steps[writes] = read(0x01, &[0x01, 0x23]);
    for tag in 1..0x5A {
        steps.extend(latch(tag, tag - 1, &block(tag, 0x123, 0x11, COMPLETE)));
    }
    steps.extend([write(&[0x03, 0x5A, 0x59]), transaction(&listed.transfer)]);
    perform(&steps, |monitor| {
        let rate = Mode::Continuous(ScanRate::per_second(500));
        monitor.init(&config().with_mode(rate)).expect("init");
        for _ in 1..0x5A {
            monitor.sample().expect("a sample");
        }
        let sample = monitor.sample().expect("a sample");
        assert_eq!(i128::from(sample.scans()), value("scans"));
        for channel in Channel::first(4) {
            let field = |name: &str| value(&format!("{name} {}", channel.number()));
            let codes = sample.codes(channel);
            let got = [
                i128::from(codes.sense),
                i128::from(codes.rail),
                i128::from(codes.power),
            ];
            assert_eq!(got, ["sense", "rail", "power"].map(field));
            let sums = sample.sums(channel);
            let got = [i128::from(sums.charge), i128::from(sums.energy)];
            assert_eq!(got, ["charge", "energy"].map(field));
            // Flag bit 4 is sense of channel 2.
            let clipped = (codes.sense_clipped, codes.rail_clipped);
            assert_eq!(clipped, (channel == Channel::C2, false));
        }
        assert_eq!(sample.clipped_samples(), 1);
        let reading = sample.reading(Channel::C0).expect("in range");
        // 84000 × 500 nV ÷ 10 mΩ, 33000 × 250 µV, 2 772 000 000 × 500 nV × 250 µV ÷ 10 mΩ.
        assert_eq!(reading.current, Current::from_milliamps(4_200));
        assert_eq!(reading.voltage, Voltage::from_millivolts(8_250));
        assert_eq!(reading.power, Power::from_milliwatts(34_650));
        let reading = sample.reading(Channel::C1).expect("in range");
        // -7500 × 200 nV, 48250 × 100 µV, -361 875 000 × 200 nV × 100 µV ÷ 10 mΩ.
        assert_eq!(reading.current, Current::from_milliamps(-150));
        assert_eq!(reading.voltage, Voltage::from_millivolts(4_825));
        assert_eq!(reading.power, Power::from_microwatts(-723_750));
        let clipped = sample.reading(Channel::C2).expect_err("clipped");
        let NoReading::Clipped {
            reading,
            current,
            voltage,
            ..
        } = clipped
        else {
            panic!("{clipped:?}");
        };
        // Of the load nothing is declared, so current may have flowed either way.
        assert_eq!((current, voltage), (Saturation::Unknown, Saturation::None));
        // 131071 × 500 nV ÷ 12.5 mΩ.
        assert_eq!(reading.current, Current::from_nanoamps(5_242_840_000));
    });
}

#[test]
fn no_mean_is_no_reading() {
    let mut steps = init();
    steps.extend(latch(1, 0, &block(1, WRITES, 0x10, 0)));
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        let sample = monitor.sample().expect("a sample");
        for channel in Channel::first(4) {
            assert_eq!(sample.reading(channel), Err(NoReading::NotComplete));
        }
        let none = NoReading::NoSuchChannel(Channel::new(4));
        assert_eq!(sample.reading(Channel::new(4)), Err(none));
    });
}

/// Nothing is written but a latch, with a tag that no sample has; then comes the first sample.
#[test]
fn resume_compares_and_samples() {
    let mut steps = vec![example(1), read(0x01, &[0x01, 0x23])];
    steps.extend([
        read(0x05, &[0x0F]),
        read(0x06, &[0x60, 0x41]),
        read(0x07, &[0x04]),
        read(0x04, &[0x10]),
        write(&[0x03, 0x00, 0x00]),
    ]);
    steps.extend(latch(1, 0, &block(1, 0x123, 0x10, COMPLETE)));
    let delays = perform(&steps, |monitor| {
        let token = ResumeToken {
            writes: 0x123,
            configuration: ResumeToken::KEPT,
        };
        let sample = monitor.resume(&config(), token).expect("it runs");
        assert!(sample.reading(Channel::C0).is_ok());
        assert_eq!(monitor.token(), token);
    });
    assert!(delays.len() == 2 && delays.iter().all(|us| SCAN_US.contains(us)));
}

/// Pieces of the controller's length; the last has the check byte, and a byte of the block with it.
#[test]
fn a_cap_on_reads_splits_the_block() {
    for cap in [2, 3, 16, 32, 55, 56, 110, 111, 112, 255_u8] {
        let mut steps = init();
        steps.push(write(&[0x03, 1, 0]));
        let block = good(1);
        let mut from = 0;
        while block.len() + 1 - from > usize::from(cap) {
            let length = usize::from(cap).min(block.len() - 1 - from);
            let piece = block[from..from + length].to_vec();
            steps.push(Transaction::write_read(
                ADDRESS,
                vec![0x80 + from as u8],
                piece,
            ));
            from += length;
        }
        steps.push(read(0x80 + from as u8, &block[from..]));
        perform(&steps, |monitor| {
            monitor.set_read_max(cap);
            monitor.init(&config()).expect("init");
            let sample = monitor.sample().expect("a sample");
            let energy = sample.sums(Channel::C3).energy;
            assert_eq!(energy, -576_460_752_303_423_488, "cap {cap}");
        });
    }
}

/// Without the bus's check byte the block's own guards it.
#[test]
fn a_block_can_come_with_its_own_check_value_alone() {
    let mut steps = init();
    let read = Transaction::write_read(ADDRESS, vec![0x80], good(1));
    steps.extend([write(&[0x03, 1, 0]), read]);
    let part = Corncrake::new(Address::Strap0).with_block_check_alone();
    let mut monitor = Monitor::new(Mock::new(&steps), Delays::default(), part, &BOARD);
    monitor.init(&config()).expect("init");
    assert!(
        monitor
            .sample()
            .expect("a sample")
            .reading(Channel::C0)
            .is_ok()
    );
    monitor.release().0.done();
}

/// Examples 29 to 32.
#[test]
fn a_fast_capture_is_the_examples() {
    let mut steps = init();
    steps.extend([
        example(8),
        read(0x06, &[0x60, 0x41]),
        example(29),
        example(2),
    ]);
    steps.extend([
        example(30),
        example(30),
        example(31),
        read(0x79, &[0x03, 0xFD, 0x03]),
    ]);
    steps.extend([example(32), read(0x0A, &[0x00]), example(2)]);
    perform(&steps, |monitor| {
        monitor.init(&config()).expect("init");
        monitor.start_capture(Channel::C1).expect("a capture");
        let mut codes = [0; 3];
        let capture = monitor.fetch_capture(1_021, &mut codes).expect("codes");
        assert_eq!(capture.codes(), [84_000, -7_500, 1]);
    });
}
