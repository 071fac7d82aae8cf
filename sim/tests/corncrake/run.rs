//! Sections 3.3 and 3.4: RUN, and the configuration that is written while the part is idle.

use core::time::Duration;

use crate::corncrake::{
    datasheet::{number, registers, table},
    fixture::{CONVERSION_NS, Fixture},
};

/// The mode bytes of section 3.3 without idle.
fn modes() -> Vec<u8> {
    let modes: Vec<u8> = table("| mode byte | mode |")
        .iter()
        .map(|row| number(row[0]) as u8)
        .collect();
    assert_eq!((modes.len(), modes[0]), (11, 0x00));
    modes[1..].to_vec()
}

#[test]
fn every_mode_starts_from_idle_and_only_a_stop_leads_to_another() {
    for mode in modes() {
        let fixture = Fixture::ideal();
        fixture.run(mode);
        // The start of a single-shot is the one that does not count.
        let started = u64::from(mode != 0x20);
        assert_eq!(
            (fixture.read(0x04, 1), fixture.writes()),
            (vec![mode], started)
        );
        for other in modes().into_iter().filter(|&other| other != mode) {
            fixture.refuse(0x04, &[other]);
        }
        assert_eq!(
            (fixture.read(0x04, 1), fixture.writes()),
            (vec![mode], started)
        );
        fixture.stop();
        assert_eq!(
            (fixture.read(0x04, 1), fixture.writes()),
            (vec![0x00], started + 1)
        );
        assert_eq!((fixture.state(), fixture.part.next_event_ns()), (0, None));
        // Idle already: no effect, and not counted.
        fixture.stop();
        assert_eq!(fixture.writes(), started + 1);
    }
}

#[test]
fn values_that_are_no_mode_are_refused_idle_and_running() {
    let allowed = modes();
    let fixture = Fixture::ideal();
    for running in [false, true] {
        if running {
            fixture.run(0x14);
        }
        for value in (0x01..=0xFF).filter(|value| !allowed.contains(value)) {
            fixture.refuse(0x04, &[value]);
        }
    }
    assert_eq!((fixture.read(0x04, 1), fixture.writes()), (vec![0x14], 1));
}

/// The scans of a part whose RUN is written again are those of a part where it is not.
#[test]
fn the_active_mode_written_again_has_no_effect() {
    for (mode, conversions) in [(0x11, 0), (0x11, 3), (0x11, 9), (0x20, 3), (0x31, 500)] {
        let fixture = Fixture::ideal();
        fixture.write(0x2A, &[0, 0, 0]);
        fixture.steady(3, 1e6, 0.0);
        fixture.run(mode);
        fixture.run_until_conversions(conversions);
        let before = (fixture.unsigned(0x38, 3), fixture.part.next_event_ns());
        let writes = fixture.writes();
        let at_once = fixture.raw_write(&[0x04, mode]);
        assert_eq!(at_once, [true; 3], "{mode:#04x}");
        let after = (fixture.unsigned(0x38, 3), fixture.part.next_event_ns());
        assert_eq!(fixture.writes(), writes, "{mode:#04x}");
        assert!(fixture.part.conversions() >= conversions);
        let (before_ns, after_ns) = (before.1.expect("an event"), after.1.expect("an event"));
        assert!(
            (after_ns - before_ns).is_multiple_of(CONVERSION_NS),
            "{mode:#04x}, {conversions}"
        );
    }
}

/// A single-shot that has ended is idle: the same mode starts again. No such start counts.
#[test]
fn the_mode_of_a_single_shot_that_has_ended_starts_anew() {
    let fixture = Fixture::ideal();
    for shot in 1..=3 {
        fixture.run(0x20);
        assert_eq!(
            fixture.part.next_event_ns(),
            Some(fixture.bench.now_ns() + 150_000)
        );
        fixture.run_conversions(12);
        assert_eq!(fixture.read(0x04, 1), [0x00]);
        assert_eq!((fixture.writes(), fixture.unsigned(0x74, 4)), (0, shot));
        fixture.latch(shot as u8, 0);
        assert_eq!(fixture.sample().writes(), 0);
    }
}

#[test]
fn a_stop_abandons_the_scan_in_progress() {
    for conversions in 17..24 {
        let fixture = Fixture::ideal();
        fixture.write(0x06, &[0, 0]);
        fixture.steady(0, 3.0 * 500.0, 2.0 * 100_000.0);
        fixture.run(0x10);
        fixture.run_until_conversions(conversions);
        fixture.stop();
        let stopped = fixture.part.conversions();
        assert!(stopped < 24, "the stop came too late");
        fixture.bench.run_for(Duration::from_secs(1));
        assert_eq!(fixture.part.conversions(), stopped);
        assert_eq!(fixture.unsigned(0x74, 4), 2, "scans");
        assert_eq!((fixture.signed(0x6C, 6), fixture.signed(0x70, 8)), (6, 12));
        // The next scan begins at its first conversion.
        fixture.run(0x20);
        fixture.run_conversions(12);
        assert_eq!(fixture.part.conversions(), stopped + 8);
        assert_eq!((fixture.unsigned(0x74, 4), fixture.signed(0x6C, 6)), (3, 9));
    }
}

/// Two hundred stops at whatever moment they fall: each scan that was finished is counted once, and
/// none that was not.
#[test]
fn no_scan_is_lost_or_counted_twice_over_stops_and_starts() {
    let fixture = Fixture::ideal();
    fixture.steady(0, 3.0 * 500.0, 0.0);
    let mut scans = 0;
    for i in 2..=200_u64 {
        let before = fixture.part.conversions();
        fixture.run([0x10, 0x11, 0x20, 0x12][i as usize % 4]);
        fixture.bench.run_for(Duration::from_nanos(i * 31_337));
        fixture.stop();
        scans += (fixture.part.conversions() - before) / 8;
    }
    assert!(scans > 150);
    assert_eq!(fixture.unsigned(0x74, 4), scans);
    assert_eq!(fixture.signed(0x6C, 6), 3 * scans as i64);
}

#[test]
fn a_stop_does_a_latch_that_is_pending_and_the_block_says_idle() {
    let fixture = Fixture::ideal();
    fixture.steady(0, 3.0 * 500.0, 0.0);
    fixture.run(0x10);
    fixture.run_until_conversions(9);
    fixture.latch(5, 0);
    assert_eq!(fixture.state(), 0xC1);
    fixture.stop();
    assert_eq!(fixture.state(), 0x00);
    let block = fixture.sample();
    assert_eq!((block.tag(), block.mode(), block.scans()), (5, 0x00, 1));
    assert_eq!(block.flags(), 0xC000, "results stay complete");
}

#[test]
fn a_latch_that_waits_for_the_end_of_a_single_shot_finds_the_part_idle() {
    let fixture = Fixture::ideal();
    fixture.run(0x20);
    fixture.run_until_conversions(2);
    fixture.latch(5, 0);
    assert_eq!(fixture.state(), 0xC2);
    fixture.run_until_conversions(8);
    let block = fixture.sample();
    assert_eq!((block.tag(), block.mode(), block.scans()), (5, 0x00, 1));
    assert_eq!(block.flags(), 0xC000);
}

#[test]
fn while_stopped_the_block_can_be_latched_and_sums_stand() {
    let fixture = Fixture::ideal();
    fixture.steady(0, 3.0 * 500.0, 0.0);
    fixture.run(0x10);
    fixture.run_until_conversions(4 * 8);
    fixture.stop();
    let scans = fixture.unsigned(0x74, 4);
    fixture.bench.run_for(Duration::from_secs(1));
    fixture.latch(1, 0);
    let block = fixture.sample();
    assert_eq!((block.tag(), block.mode()), (1, 0x00));
    assert_eq!(block.scans(), scans);
    assert_eq!(fixture.signed(0x6C, 6), 3 * scans as i64);
    assert_eq!(block.flags(), 0xC000);
}

/// Over-range flags, alert flags and sums go on over a stop and a start; results stand, and are
/// complete no more.
#[test]
fn a_start_clears_what_section_3_3_says_and_nothing_else() {
    let fixture = Fixture::ideal();
    fixture.write(0x06, &[0, 0]);
    fixture.write(0x07, &[0x01]);
    fixture.write(0x12, &[0, 0, 0]);
    fixture.write(0x34, &[0x70, 0x00, 0x04]);
    fixture.steady(0, 200_000.0 * 500.0, 0.0);
    fixture.run(0x20);
    fixture.run_conversions(20);
    assert_eq!(
        fixture.unsigned(0x38, 3),
        0x04,
        "stands after a single-shot"
    );
    let flags = fixture.part.snapshot().flags;
    assert_eq!(flags & 0x0F_FFFF, 0x04);
    fixture.run(0x12);
    // A look inside takes no time: the part still wakes up.
    let inside = fixture.part.snapshot();
    assert_eq!((inside.conditions, inside.flags), (0, flags));
    fixture.latch(1, 0);
    let block = fixture.sample();
    assert_eq!(
        (block.tag(), block.mode(), block.flags()),
        (1, 0x12, 0x8001),
        "over range, but not complete"
    );
    assert_eq!((block.scans(), block.sense(0)), (2, 131_071));
    assert_eq!(block.charge(0), 2 * 131_071);
    // The mean of two scans: only the second of this run completes it.
    fixture.run_until_conversions(16 + 8);
    fixture.latch(2, 1);
    assert_eq!(fixture.sample().flags() & 0x4000, 0);
    fixture.run_until_conversions(16 + 16);
    fixture.latch(3, 2);
    assert_eq!(fixture.sample().flags() & 0x4000, 0x4000);
}

#[test]
fn a_stop_clears_conditions_and_counts() {
    let fixture = Fixture::ideal();
    fixture.write(0x06, &[0, 0]);
    // Channel 1 needs two conversions in a row.
    fixture.write(0x31, &[0x01, 0x12, 0x11]);
    fixture.write(0x12, &[0, 0, 0]);
    fixture.write(0x1A, &[0, 0, 0]);
    fixture.steady(0, 9.0 * 500.0, 0.0);
    fixture.steady(1, 9.0 * 500.0, 0.0);
    for _ in 0..3 {
        fixture.run(0x12);
        fixture.run_until_conversions(fixture.part.conversions() + 8);
        assert_eq!(fixture.unsigned(0x38, 3), 0x04);
        assert_eq!(fixture.unsigned(0x37, 3) & 0x0F_FFFF, 0x04);
        fixture.stop();
        assert_eq!(fixture.unsigned(0x38, 3), 0);
        assert_eq!(fixture.unsigned(0x37, 3) & 0x0F_FFFF, 0, "it follows");
    }
}

#[test]
fn configuration_is_refused_while_the_part_is_not_idle() {
    let allowed: [(u8, &[u8]); 3] = [(0x05, &[0x07]), (0x06, &[0x11, 0x11]), (0x07, &[0x02])];
    let idle_only: Vec<u8> = registers()
        .iter()
        .filter(|row| row.idle_only)
        .map(|row| row.pointer)
        .collect();
    assert_eq!(idle_only, allowed.map(|(pointer, _)| pointer));
    for mode in modes() {
        // In the wake-up, in a conversion, and at rest or further on.
        for conversions in [0, 1, 9] {
            let fixture = Fixture::ideal();
            fixture.write(0x07, &[0x05]);
            fixture.run(mode);
            fixture.run_until_conversions(conversions);
            for (pointer, data) in allowed {
                let before = fixture.read(pointer, data.len());
                fixture.refuse(pointer, data);
                assert_eq!(fixture.read(pointer, data.len()), before, "{mode:#04x}");
            }
            let started = u64::from(mode != 0x20);
            assert_eq!(fixture.writes(), 1 + started, "{mode:#04x}");
            fixture.stop();
            for (pointer, data) in allowed {
                fixture.write(pointer, data);
                assert_eq!(fixture.read(pointer, data.len()), data, "{mode:#04x}");
            }
            assert_eq!(fixture.writes(), 5 + started, "{mode:#04x}");
        }
    }
}

/// Limits, debounce, latching, masks and GUARD, by the access column: all that is writable and does
/// not say "idle".
#[test]
fn everything_else_that_is_counted_is_taken_while_the_part_runs() {
    let fixture = Fixture::ideal();
    fixture.run(0x10);
    let mut writes = 1;
    for row in registers() {
        if row.counted && !row.idle_only && row.name != "RUN" {
            fixture.write(row.pointer, &row.reset);
            writes += 1;
        }
    }
    assert_eq!((fixture.writes(), writes), (writes, 29));
}

#[test]
fn a_new_configuration_makes_results_count_as_not_complete() {
    for (pointer, data) in [(0x05, &[0x03][..]), (0x06, &[0, 0]), (0x07, &[0])] {
        let fixture = Fixture::ideal();
        fixture.run(0x20);
        fixture.run_conversions(12);
        fixture.latch(1, 0);
        assert_eq!(fixture.sample().flags(), 0xC000);
        fixture.write(pointer, data);
        fixture.latch(2, 1);
        assert_eq!(fixture.sample().flags(), 0x8000);
    }
}

/// The part is idle when the last data byte comes, and when it is judged.
#[test]
fn a_single_shot_that_ends_inside_a_transfer_is_judged_at_the_last_data_byte() {
    let fixture = Fixture::ideal();
    fixture.run(0x20);
    fixture.wire.start();
    assert!(fixture.wire.send(0x64) && fixture.wire.send(0x07));
    fixture.bench.run_for(Duration::from_millis(2));
    assert!(fixture.wire.send(0x01), "idle by now");
    fixture.wire.stop();
    assert_eq!(fixture.read(0x07, 1), [1]);

    fixture.run(0x20);
    fixture.wire.start();
    assert!(fixture.wire.send(0x64) && fixture.wire.send(0x07));
    assert!(!fixture.wire.send(0x02), "not idle yet");
    fixture.bench.run_for(Duration::from_millis(2));
    fixture.wire.stop();
    assert_eq!(fixture.read(0x07, 1), [1]);

    // The active mode, which has ended when the write takes effect: it starts again.
    fixture.run(0x20);
    let writes = fixture.writes();
    fixture.wire.start();
    assert!(fixture.wire.send(0x64) && fixture.wire.send(0x04) && fixture.wire.send(0x20));
    fixture.bench.run_for(Duration::from_millis(2));
    assert_eq!(fixture.part.next_event_ns(), None);
    fixture.wire.stop();
    assert_eq!(
        (fixture.read(0x04, 1), fixture.writes()),
        (vec![0x20], writes)
    );
}
