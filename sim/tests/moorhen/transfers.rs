//! Section 2.2: what a transfer may look like, and which of them do something.

use crake_sim::part::moorhen::Output;

use crate::moorhen::{
    datasheet::{Input, busy, done, pointer},
    fixture::{ADDRESS, Fixture},
};

/// RAIL_LIMIT_0, a register that keeps what is written.
const KEPT: u8 = 0x8E;
const RESET: u16 = 0x0FFF;

#[test]
fn a_write_needs_exactly_two_data_bytes_but_every_byte_is_acknowledged() {
    assert_eq!(pointer("RAIL_LIMIT_0"), KEPT);
    let fixture = Fixture::ideal();
    for bytes in [
        &[KEPT][..],
        &[KEPT, 0x01],
        &[KEPT, 0x01, 0x02, 0x03],
        &[KEPT, 0x01, 0x02, 0x03, 0x04],
        &[KEPT, 1, 2, 3, 4, 5, 6, 7, 8, 9],
    ] {
        let acknowledged = fixture.raw_write(bytes);
        assert_eq!(acknowledged, vec![true; 1 + bytes.len()]);
        assert_eq!(fixture.read(KEPT), RESET, "{bytes:02X?}");
    }
    assert_eq!(fixture.raw_write(&[KEPT, 0x01, 0x02]), [true; 4]);
    assert_eq!(fixture.read(KEPT), 0x0201);
}

#[test]
fn a_write_takes_effect_at_a_repeated_start_as_well() {
    let fixture = Fixture::ideal();
    fixture.wire.start();
    for byte in [ADDRESS << 1, KEPT, 0xCD, 0x0B] {
        assert!(fixture.wire.send(byte));
    }
    assert_eq!(fixture.read_on(2), [0xCD, 0x0B]);
}

#[test]
fn a_write_broken_off_inside_a_byte_is_ignored() {
    for bits in 0..=8 {
        let fixture = Fixture::ideal();
        fixture.wire.start();
        for byte in [ADDRESS << 1, KEPT, 0xCD, 0x0B] {
            assert!(fixture.wire.send(byte));
        }
        if bits > 0 {
            fixture.wire.break_off(bits);
        }
        fixture.wire.stop();
        let expected = if bits == 0 { 0x0BCD } else { RESET };
        assert_eq!(fixture.read(KEPT), expected);
    }
}

#[test]
fn the_pointer_survives_stop_and_reading_and_begins_at_identity() {
    let fixture = Fixture::ideal();
    assert_eq!(fixture.read_on(2), [0x2D, 0x6B]);
    fixture.write(KEPT, 0x0B07);
    assert_eq!(fixture.read_on(3), [0x07, 0x0B, 0x07]);
    assert_eq!(fixture.read_on(5), [0x07, 0x0B, 0x07, 0x0B, 0x07]);
    let at = pointer("SENSE_LIMIT_1");
    assert_eq!(fixture.raw_write(&[at]), [true; 2]);
    assert_eq!(fixture.read_on(2), [0xFF, 0x07]);
    // A pointer that is written counts, even where the write does not.
    fixture.raw_write(&[pointer("IDENTITY"), 0x00]);
    assert_eq!(fixture.read_on(2), [0x2D, 0x6B]);
}

#[test]
fn a_word_is_sampled_when_the_read_address_is_acknowledged() {
    let fixture = Fixture::enabled();
    let began_ns = fixture.trigger();
    fixture.wire.start();
    assert!(fixture.wire.send(ADDRESS << 1));
    assert!(fixture.wire.send(pointer("STATUS")));
    fixture.wire.start();
    assert!(fixture.wire.send(ADDRESS << 1 | 1));
    let low = fixture.wire.receive(true);
    fixture.bench.run_until(began_ns + 2_000_000);
    // Busy still, though the single-shot has ended.
    let expected = busy().to_le_bytes();
    assert_eq!([low, fixture.wire.receive(true)], expected);
    let more = [fixture.wire.receive(true), fixture.wire.receive(false)];
    assert_eq!(more, expected);
    fixture.wire.stop();
    assert_eq!(fixture.named("STATUS"), done());
}

#[test]
fn it_answers_its_own_address_alone() {
    let fixture = Fixture::enabled();
    fixture.set("RAIL_LIMIT_0", 0);
    fixture.set("MASK", Input::all()[1].bit);
    fixture.steady(0, 0.0, 1e9);
    fixture.shoot();
    assert!(fixture.part.is_low(Output::Alert));
    // While it alerts: not the general call, nor the alert response address.
    for byte in 0..=0xFF_u8 {
        fixture.wire.start();
        let acknowledged = fixture.wire.send(byte);
        assert_eq!(acknowledged, byte >> 1 == ADDRESS, "{byte:#04x}");
        fixture.wire.stop();
    }
}
