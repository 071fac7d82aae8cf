//! Operations that succeed.

use super::*;

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
    let document = Document::old_corncrake();
    let listed = sample_block(&document);
    let value = |field: &str| listed.fields[field];
    let mut steps = vec![
        example(1),
        transaction(&listed.transfer),
        read(0x01, &[0x01, 0x23]), // SERIAL, as it stands now
    ];
    // Tag after 0x5A; seen is none that the part ever had in place, so that flags unseen by the predecessor are carried over (3.2).
    steps.extend(latch(0x5B, 0x00, &block(0x5B, 0x123, 0x4010)));
    let delays = perform::<4>(&steps, |monitor| {
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
    // Before the first read, too: a latch of the predecessor's may be due, and its tag be the one to come.
    assert!(delays.len() == 2 && delays.iter().all(|us| ROUND_US.contains(us)));
}

/// The block of 10.2 instead of the one asked for: the part was reset.
#[test]
fn the_frame_of_10_2_says_that_the_part_was_reset() {
    let document = Document::old_corncrake();
    let reset = transaction(&reset_sample_block(&document).transfer);
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
