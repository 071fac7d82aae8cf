//! Section 2.2: what a transfer may look like, and which of them do something.

use crate::old_moorhen::desk::{ADDRESS, Desk};

#[test]
fn a_write_needs_exactly_two_data_bytes_but_every_byte_is_acknowledged() {
    let desk = Desk::ideal();
    for bytes in [
        &[0x36][..],
        &[0x36, 0x01],
        &[0x36, 0x01, 0x02, 0x03],
        &[0x36, 0x01, 0x02, 0x03, 0x04],
        &[0x36, 1, 2, 3, 4, 5, 6, 7, 8, 9],
    ] {
        let acknowledged = desk.raw_write(bytes);
        assert_eq!(acknowledged, vec![true; 1 + bytes.len()]);
        assert_eq!(desk.read(0x36), 0, "{bytes:02X?}");
    }
    assert_eq!(desk.raw_write(&[0x36, 0x01, 0x02]), [true; 4]);
    assert_eq!(desk.read(0x36), 0x0201);
}

#[test]
fn a_write_takes_effect_at_a_repeated_start_as_well() {
    let desk = Desk::ideal();
    desk.wire.start();
    for byte in [ADDRESS << 1, 0x36, 0xCD, 0xAB] {
        assert!(desk.wire.send(byte));
    }
    assert_eq!(desk.read_on(2), [0xCD, 0xAB]);
}

#[test]
fn a_write_broken_off_inside_a_byte_is_ignored() {
    for bits in 0..=8 {
        let desk = Desk::ideal();
        desk.wire.start();
        for byte in [ADDRESS << 1, 0x36, 0xCD, 0xAB] {
            assert!(desk.wire.send(byte));
        }
        if bits > 0 {
            desk.wire.break_off(bits);
        }
        desk.wire.stop();
        assert_eq!(desk.read(0x36), if bits == 0 { 0xABCD } else { 0 });
    }
}

#[test]
fn the_pointer_survives_stop_and_reading_and_begins_at_identity() {
    let desk = Desk::ideal();
    assert_eq!(desk.read_on(2), [0xE4, 0x91]);
    desk.write(0x36, 0x2B07);
    assert_eq!(desk.read_on(3), [0x07, 0x2B, 0x07]);
    assert_eq!(desk.read_on(5), [0x07, 0x2B, 0x07, 0x2B, 0x07]);
    assert_eq!(desk.raw_write(&[0xA1]), [true; 2]);
    assert_eq!(desk.read_on(2), [0xF8, 0x7F]);
    // A pointer that is written counts, even where the write does not.
    desk.raw_write(&[0x35, 0x00]);
    assert_eq!(desk.read_on(2), [0xE4, 0x91]);
}

#[test]
fn a_word_is_sampled_when_the_read_address_is_acknowledged() {
    let desk = Desk::ideal();
    let began_ns = desk.trigger();
    desk.wire.start();
    assert!(desk.wire.send(ADDRESS << 1));
    assert!(desk.wire.send(0x5C));
    desk.wire.start();
    assert!(desk.wire.send(ADDRESS << 1 | 1));
    let low = desk.wire.receive(true);
    desk.bench.run_until(began_ns + 2_000_000);
    // Busy still, though the single-shot has ended.
    assert_eq!([low, desk.wire.receive(true)], [0x00, 0x04]);
    assert_eq!(
        [desk.wire.receive(true), desk.wire.receive(false)],
        [0x00, 0x04]
    );
    desk.wire.stop();
    assert_eq!(desk.named("PROGRESS"), 1);
}

#[test]
fn it_answers_its_own_address_alone() {
    let desk = Desk::ideal();
    desk.set("BUS_LIMIT_0", 0);
    desk.set("MASK", 0x0080);
    desk.steady(0, 0.0, 1e9);
    desk.shoot();
    assert!(desk.part.is_low(crake_sim::old::moorhen::Output::Alert));
    // While it alerts: not the general call, nor the alert response address.
    for byte in 0..=0xFF_u8 {
        desk.wire.start();
        assert_eq!(desk.wire.send(byte), byte >> 1 == ADDRESS, "{byte:#04x}");
        desk.wire.stop();
    }
}
