//! Sections 3.2, 2.4 and 5: tags, seen, over-range flags, the window.

use crake_sim::bus::Speed;

use crate::corncrake::fixture::{Fixture, Sample};

/// In a scan that lasts 500 µs, once a second.
fn in_a_scan() -> Fixture {
    let fixture = Fixture::ideal();
    fixture.run(0x14);
    fixture.run_until_conversions(1);
    assert_eq!(fixture.state(), 0x81);
    fixture
}

/// Reads of the window that are still open: the part has sampled the block.
fn open_window(fixture: &Fixture) {
    fixture.wire.start();
    assert!(fixture.wire.send(0x64) && fixture.wire.send(0x80));
    fixture.wire.start();
    assert!(fixture.wire.send(0x65));
}

#[test]
fn a_latch_waits_for_the_end_of_the_scan() {
    let fixture = in_a_scan();
    fixture.latch(2, 1);
    assert_eq!(fixture.state(), 0xC1);
    assert_eq!(
        fixture.read(0x80, 111)[0],
        0,
        "the reading began before the end of the scan"
    );
    assert_eq!((fixture.sample().tag(), fixture.sample().scans()), (2, 1));
}

#[test]
fn a_latch_is_done_at_once_where_no_scan_is_in_progress() {
    let tag_in = |mode: u8, conversions: u64| {
        let fixture = Fixture::ideal();
        fixture.run(mode);
        fixture.run_until_conversions(conversions);
        let state = fixture.state();
        fixture.latch(7, 0);
        (state, fixture.state(), fixture.raw_read(0x80, 1)[0])
    };
    assert_eq!(tag_in(0x00, 0), (0x00, 0x00, 7), "idle");
    assert_eq!(tag_in(0x14, 0), (0x01, 0x01, 7), "waking up");
    assert_eq!(tag_in(0x14, 8), (0x01, 0x01, 7), "resting");
    assert_eq!(tag_in(0x32, 10), (0x83, 0x83, 7), "in a capture");
}

#[test]
fn a_known_tag_has_no_effect_and_no_latch_counts_in_writes() {
    let fixture = Fixture::ideal();
    // Sense of channel 0 goes over range: a latch would take the flag.
    fixture.steady(0, 1e9, 0.0);
    fixture.run(0x20);
    fixture.run_conversions(12);
    fixture.latch(0x00, 0x55);
    assert_eq!(fixture.sample().scans(), 0, "tag 0 after a reset");
    fixture.latch(1, 0);
    let first = fixture.sample();
    assert_eq!(
        (first.tag(), first.scans(), first.flags() & 0xFF),
        (1, 1, 1)
    );
    fixture.run(0x20);
    fixture.run_conversions(12);
    fixture.latch(1, 0);
    assert_eq!(fixture.sample(), first, "a repeat copies nothing");
    assert_eq!(fixture.writes(), 0);

    let fixture = in_a_scan();
    fixture.latch(2, 0);
    fixture.latch(2, 0);
    fixture.run_until_conversions(8);
    assert_eq!(fixture.sample().tag(), 2, "tag of the latch not yet done");
    assert_eq!(fixture.writes(), 1);
}

#[test]
fn a_second_request_replaces_tag_and_seen_of_the_first() {
    let fixture = Fixture::ideal();
    // Sense of channel 0 beyond its range in the first scan only.
    fixture.listed(0, &[200_000, 0, 1, 0]);
    fixture.run(0x11);
    fixture.run_until_conversions(8);
    fixture.latch(1, 0);
    assert_eq!(fixture.sample().flags() & 0xFF, 1);
    fixture.run_until_conversions(9);
    fixture.latch(2, 0);
    fixture.latch(3, 1);
    fixture.run_until_conversions(16);
    let block = fixture.sample();
    assert_eq!((block.tag(), block.scans()), (3, 2));
    assert_eq!(block.flags() & 0xFF, 0, "block 1 was seen, says the second");
}

#[test]
fn over_range_is_carried_until_a_block_was_seen() {
    let fixture = Fixture::ideal();
    // Sense of channel 0 beyond its range in the first conversion only.
    fixture.listed(0, &[200_000, 0, 1, 0]);
    fixture.run(0x20);
    fixture.run_conversions(12);
    let flags = |tag, seen| {
        fixture.latch(tag, seen);
        fixture.sample().flags() & 0xFF
    };
    assert_eq!(flags(2, 1), 1, "live");
    assert_eq!(flags(3, 1), 1, "block 2 was not seen");
    assert_eq!(flags(4, 0x99), 1, "nor block 3");
    assert_eq!(flags(5, 4), 0, "block 4 was");
    assert_eq!(flags(6, 1), 0, "and nothing comes back");
    // Again in two scans, of whose blocks the first was not seen.
    fixture.steady(0, 1e9, 0.0);
    for tag in [7, 8] {
        fixture.run(0x20);
        fixture.run_conversions(12);
        assert_eq!(flags(tag, 6), 1, "both live and carried at last");
    }
    assert_eq!(flags(9, 8), 0);
}

#[test]
fn a_latch_that_falls_due_during_a_window_read_takes_effect_after_its_stop() {
    let fixture = in_a_scan();
    let before = fixture.part.conversions();
    fixture.latch(2, 0);
    // 112 bytes at 1 MHz take 1 ms: the scan ends meanwhile.
    let read = fixture.sample();
    assert!(before < 8 && fixture.part.conversions() == 8);
    assert_eq!((read.tag(), read.scans()), (0, 0));
    assert_eq!(Sample(fixture.read_on(111)).tag(), 2);

    // A read of another register puts nothing off.
    let fixture = in_a_scan();
    fixture.bench.set_bus_speed(Speed::Standard);
    fixture.latch(2, 0);
    fixture.wire.start();
    assert!(fixture.wire.send(0x64) && fixture.wire.send(0x74));
    fixture.wire.start();
    assert!(fixture.wire.send(0x65));
    fixture.run_conversions(8);
    fixture.wire.receive(false);
    open_window(&fixture);
    assert_eq!(fixture.wire.receive(false), 2);
    fixture.wire.stop();
}

#[test]
fn a_latch_written_while_the_window_is_held_waits_for_the_stop() {
    let fixture = Fixture::ideal();
    open_window(&fixture);
    fixture.wire.receive(false);
    fixture.wire.start();
    for byte in [0x64, 0x03, 0x07, 0x00] {
        assert!(fixture.wire.send(byte));
    }
    open_window(&fixture);
    assert_eq!(fixture.wire.receive(false), 0x00);
    fixture.wire.stop();
    assert_eq!(fixture.sample().tag(), 0x07);
}

/// A latch that is due and put off stays due under the tag that replaces its own, though a further
/// scan has begun.
#[test]
fn a_latch_put_off_and_then_replaced_takes_effect_right_after_the_stop() {
    let fixture = Fixture::ideal();
    fixture.run(0x10);
    fixture.run_conversions(20);
    fixture.latch(2, 0);
    open_window(&fixture);
    fixture.run_conversions(9);
    fixture.wire.receive(false);
    fixture.wire.start();
    for byte in [0x64, 0x03, 0x03, 0x00] {
        assert!(fixture.wire.send(byte));
    }
    fixture.wire.stop();
    assert_eq!(fixture.state(), 0x81);
    assert_eq!(fixture.sample().tag(), 3);
}

#[test]
fn the_block_tells_configuration_writes_and_flags_as_they_stand() {
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[0x05]);
    fixture.write(0x06, &[0x61, 0x41]);
    fixture.write(0x07, &[0x03]);
    fixture.latch(1, 0);
    let block = fixture.sample();
    assert_eq!(
        (block.mode(), block.configuration(), &block.0[5..7]),
        (0x00, 0x35, &[0x61, 0x41][..]),
        "in force at once"
    );
    assert_eq!((block.writes(), block.flags()), (3, 0x8000));
    fixture.run(0x10);
    fixture.latch(2, 1);
    let block = fixture.sample();
    assert_eq!((block.mode(), block.writes()), (0x10, 4));
    fixture.run_until_conversions(4 * 7 + 1);
    fixture.latch(3, 2);
    fixture.run_until_conversions(4 * 8);
    assert_eq!(fixture.sample().flags(), 0xC000, "a mean of 8 scans");
    fixture.write(0x0A, &[1]);
    fixture.latch(4, 3);
    fixture.run_conversions(16);
    assert_eq!(fixture.sample().flags(), 0x4000);
}
