//! Sections 3.2, 3.3, 2.4 and 5: tags, seen, the window, and the take-over by RUN.

use core::time::Duration;

use crake_sim::bus::Speed;

use crate::old_corncrake::desk::{CONVERSION_NS, Desk};

/// In a round that lasts 500 µs, once a second.
fn in_a_round() -> Desk {
    let desk = Desk::ideal();
    desk.run(0x14, 1, 0);
    desk.bench.run_for(Duration::from_micros(200));
    assert_eq!(desk.state(), 0x81);
    desk
}

#[test]
fn a_latch_waits_for_the_end_of_the_round() {
    let desk = in_a_round();
    desk.latch(2, 1);
    assert_eq!(desk.read(0x80, 111)[0], 1, "read over the round's end");
    assert_eq!((desk.frame().tag(), desk.frame().rounds()), (2, 1));
    desk.latch(3, 2);
    assert_eq!(
        (desk.frame().tag(), desk.frame().rounds()),
        (3, 1),
        "at rest, at once"
    );
}

#[test]
fn known_tags_have_no_effect() {
    let desk = Desk::ideal();
    desk.latch(0x00, 0x55);
    desk.run(0x10, 0x00, 0x55);
    assert_eq!(
        (desk.state(), desk.unsigned(0x01, 2), desk.unsigned(0x04, 3)),
        (0, 0, 0),
        "tag 0 after a reset"
    );
    desk.run(0x14, 1, 0);
    let awake_ns = desk.part.next_event_ns().expect("the wake-up");
    desk.run(0x10, 1, 0);
    assert_eq!(
        (desk.unsigned(0x01, 2), desk.unsigned(0x04, 3)),
        (1, 0x140100)
    );

    // A repeated RUN does not start the mode again.
    desk.run(0x14, 1, 0);
    let next_ns = desk.part.next_event_ns().expect("a conversion");
    assert!(next_ns > awake_ns && (next_ns - awake_ns).is_multiple_of(CONVERSION_NS));

    let desk = in_a_round();
    desk.run(0x12, 2, 1);
    desk.run(0x00, 2, 1);
    assert_eq!(desk.unsigned(0x01, 2), 2, "tag of the latch not yet done");
    desk.run_conversions(8);
    assert_eq!(desk.read(0x04, 3), [0x12, 2, 1]);
    assert_eq!(desk.state() & 0x0F, 1);
}

#[test]
fn a_second_request_replaces_tag_and_seen_of_the_first() {
    let desk = in_a_round();
    desk.run(0x11, 2, 1);
    desk.latch(3, 1);
    desk.run_conversions(8);
    assert_eq!(desk.frame().tag(), 3);
    desk.latch(4, 3);
    desk.run_conversions(40);
    assert_eq!(
        desk.frame().mode(),
        0x11,
        "the mode of RUN was taken over with it"
    );
}

#[test]
fn over_range_is_carried_until_a_block_was_seen() {
    let desk = Desk::ideal();
    // Sense of channel 0 beyond its range in the first conversion only.
    desk.listed(0, &[200_000, 0, 1, 0]);
    desk.run(0x20, 1, 0);
    desk.run_conversions(12);
    let flags = |tag, seen| {
        desk.latch(tag, seen);
        desk.frame().flags() & 0xFF
    };
    assert_eq!(flags(2, 1), 1, "live");
    assert_eq!(flags(3, 1), 1, "block 2 was not seen");
    assert_eq!(flags(4, 0x99), 1, "nor block 3");
    assert_eq!(flags(5, 4), 0, "block 4 was");
    assert_eq!(flags(6, 1), 0, "and nothing comes back");
}

#[test]
fn a_latch_that_falls_due_during_a_window_read_takes_effect_after_its_stop() {
    let desk = in_a_round();
    let before = desk.part.conversions();
    desk.latch(2, 1);
    // 112 bytes at 1 MHz take 1 ms: the round ends meanwhile.
    let read = desk.frame();
    assert!(before < 8 && desk.part.conversions() == 8);
    assert_eq!((read.tag(), read.rounds()), (1, 0));
    assert_eq!(
        crate::old_corncrake::desk::Frame(desk.read_on(111)).tag(),
        2
    );

    // A read of another register puts nothing off.
    let desk = in_a_round();
    desk.bench.set_bus_speed(Speed::Standard);
    desk.latch(2, 1);
    desk.wire.start();
    desk.wire.send(0x64);
    desk.wire.send(0x74);
    desk.wire.start();
    desk.wire.send(0x65);
    desk.run_conversions(8);
    desk.wire.receive(false);
    desk.wire.start();
    desk.wire.send(0x64);
    desk.wire.send(0x80);
    desk.wire.start();
    desk.wire.send(0x65);
    assert_eq!(desk.wire.receive(false), 2);
    desk.wire.stop();
}

#[test]
fn a_latch_written_while_the_window_is_held_waits_for_the_stop() {
    let desk = Desk::ideal();
    desk.wire.start();
    desk.wire.send(0x64);
    desk.wire.send(0x80);
    desk.wire.start();
    desk.wire.send(0x65);
    desk.wire.receive(false);
    desk.wire.start();
    for byte in [0x64, 0x03, 0x07, 0x00] {
        assert!(desk.wire.send(byte));
    }
    desk.wire.start();
    for byte in [0x64, 0x80] {
        assert!(desk.wire.send(byte));
    }
    desk.wire.start();
    desk.wire.send(0x65);
    assert_eq!(desk.wire.receive(false), 0x00);
    desk.wire.stop();
    assert_eq!(desk.frame().tag(), 0x07);
}

/// A latch that is due and put off stays due under the tag that replaces its own, though a further
/// round has begun.
#[test]
fn a_latch_put_off_and_then_replaced_takes_effect_right_after_the_stop() {
    let desk = Desk::ideal();
    desk.run(0x10, 1, 0);
    desk.run_conversions(20);
    desk.latch(2, 1);
    desk.wire.start();
    desk.wire.send(0x64);
    desk.wire.send(0x80);
    desk.wire.start();
    desk.wire.send(0x65);
    desk.run_conversions(9);
    desk.wire.receive(false);
    desk.wire.start();
    for byte in [0x64, 0x03, 0x03, 0x01] {
        assert!(desk.wire.send(byte));
    }
    desk.wire.stop();
    assert_eq!(desk.state(), 0x81);
    assert_eq!(desk.frame().tag(), 3);
}

/// RUN put off by a window read neither cuts a round short nor loses one.
#[test]
fn a_run_put_off_by_the_window_waits_for_the_round_then_in_progress() {
    let desk = Desk::ideal();
    desk.run(0x10, 1, 0);
    desk.run_conversions(20);
    desk.run(0x14, 2, 1);
    assert_eq!(desk.frame().tag(), 1);
    // Rounds follow back to back: one is in progress again.
    assert_eq!(desk.state(), 0xC1);
    desk.run_conversions(8);
    assert_eq!((desk.frame().tag(), desk.frame().mode()), (2, 0x10));
    desk.run_conversions(8);
    assert_eq!(desk.part.conversions(), 8 * desk.unsigned(0x74, 4));
}

#[test]
fn set_up_is_taken_over_by_run_and_the_block_still_tells_of_the_one_before() {
    let desk = Desk::ideal();
    desk.run(0x10, 1, 0);
    desk.run_conversions(30);
    desk.write(0x05, &[0x05]);
    desk.write(0x06, &[0x61, 0x41]);
    desk.write(0x07, &[0x03]);
    desk.run_conversions(16);
    desk.latch(2, 1);
    desk.run_conversions(8);
    let block = desk.frame();
    assert_eq!(
        (block.set_up(), &block.0[5..7], block.flags()),
        (0x0F, &[0x22, 0x22][..], 0xC000)
    );
    desk.run(0x12, 3, 2);
    desk.run_conversions(8);
    let block = desk.frame();
    assert_eq!(
        (block.tag(), block.mode(), block.set_up(), &block.0[5..7]),
        (3, 0x10, 0x0F, &[0x22, 0x22][..])
    );
    assert_eq!((block.serial(), block.flags()), (5, 0xC000));
    desk.latch(4, 3);
    desk.run_conversions(8);
    let block = desk.frame();
    assert_eq!(
        (block.tag(), block.mode(), block.set_up(), &block.0[5..7]),
        (4, 0x12, 0x35, &[0x61, 0x41][..])
    );
    assert_eq!(block.flags(), 0x8000, "no mean of 8 rounds is complete yet");
    desk.write(0x0A, &[1]);
    desk.bench.run_for(Duration::from_millis(90));
    desk.latch(5, 4);
    assert_eq!(desk.frame().flags(), 0x4000);
}

/// Two hundred take-overs at whatever moment they fall: every conversion ends up in a round, every
/// round is counted once.
#[test]
fn no_round_is_lost_or_counted_twice_over_run() {
    let desk = Desk::ideal();
    desk.steady(0, 3.0 * 500.0, 0.0);
    desk.run(0x10, 1, 0);
    for tag in 2..=200 {
        desk.bench
            .run_for(Duration::from_nanos(u64::from(tag) * 7_919));
        desk.run([0x10, 0x11, 0x20, 0x12][usize::from(tag) % 4], tag, tag - 1);
    }
    desk.run(0x00, 201, 200);
    desk.run_conversions(8);
    let rounds = desk.unsigned(0x74, 4);
    assert!(rounds > 150);
    assert_eq!(desk.part.conversions(), 8 * rounds);
    assert_eq!(desk.signed(0x6C, 6), 3 * rounds as i64);
}

#[test]
fn run_at_the_end_of_a_round_begins_the_next_round_at_that_moment() {
    let desk = in_a_round();
    let ends_ns = 8 * CONVERSION_NS - desk.part.conversions() * CONVERSION_NS
        + (desk.part.next_event_ns().expect("a conversion") - CONVERSION_NS);
    desk.run(0x10, 2, 1);
    desk.bench.run_until(ends_ns + CONVERSION_NS - 1);
    assert_eq!(desk.part.conversions(), 8);
    desk.bench.run_until(ends_ns + CONVERSION_NS);
    assert_eq!(desk.part.conversions(), 9);
}
