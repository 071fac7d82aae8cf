//! SMBALERT#, its masks and the alert response (B2.3, B3.4).

use crake_sim::part::AlertOutputs;
use crake_sim::part::pmbus::{Description, Device, SmbAlert};
use embedded_hal::digital::PinState;

use crate::pmbus::{
    desk::{ADDRESS, Desk, pec},
    document::table,
};

/// The reply to an alert response with its PEC judged, or None if nobody answers.
fn respond(desk: &Desk) -> Option<u8> {
    desk.wire.start();
    let answered = desk.wire.send(0x19);
    let reply = answered.then(|| {
        let reply = [desk.wire.receive(true), desk.wire.receive(false)];
        assert_eq!(reply[1], pec(&[0x19, reply[0]]));
        reply[0]
    });
    desk.wire.stop();
    reply
}

fn raise(desk: &Desk, page: usize, register: u8, bits: u8) {
    assert!(desk.part.with(|model| model.raise(page, register, bits)));
}

#[test]
fn after_a_reset_faults_pull_and_warnings_do_not() {
    for row in table("| register | pages | mask after reset | what it lets through |") {
        let mask = u8::from_str_radix(row[2], 16).expect("a mask");
        let register = match row[0] {
            "STATUS_VOUT" => 0x7A,
            "STATUS_IOUT" => 0x7B,
            "STATUS_INPUT" => 0x7C,
            _ => 0x7E,
        };
        let pages = if row[1] == "common" {
            "0, 1, 2, 3"
        } else {
            row[1]
        };
        for page in pages
            .split(", ")
            .map(|page| page.parse::<u8>().expect("a page"))
        {
            for bit in 0..8 {
                let desk = Desk::ideal();
                desk.select(page);
                assert_eq!(desk.call(0x1B, &[1, register], 2), [1, mask]);
                raise(&desk, page.into(), register, 1 << bit);
                assert_eq!(
                    desk.is_low(),
                    mask >> bit & 1 == 0,
                    "bit {bit} of {}",
                    row[0]
                );
                assert_eq!(desk.byte(register), 1 << bit);
            }
        }
    }
}

#[test]
fn a_mask_is_of_one_register_of_one_page() {
    let desk = Desk::ideal();
    desk.select(1);
    desk.mask(0x7A, 0x12);
    desk.mask(0x7E, 0x34);
    for (page, register, mask) in [
        (0, 0x7A, 0x60),
        (1, 0x7A, 0x12),
        (1, 0x7B, 0x21),
        (2, 0x7A, 0x60),
        (2, 0x7E, 0x34),
        (3, 0x7C, 0x63),
    ] {
        desk.select(page);
        assert_eq!(
            desk.call(0x1B, &[1, register], 2),
            [1, mask],
            "{register:02X} of page {page}"
        );
    }
    desk.select(0xFF);
    desk.mask(0x7A, 0x56);
    assert_eq!(desk.call(0x1B, &[1, 0x7E], 2), [1, 0x34]);
    desk.read_nothing(0x1B, &[1, 0x7A]);
    assert_eq!(desk.take_cml(), 0x40);
    for page in 0..3 {
        desk.select(page);
        assert_eq!(desk.call(0x1B, &[1, 0x7A], 2), [1, 0x56]);
    }
}

#[test]
fn masks_of_what_is_not_there_are_not_allowed() {
    let desk = Desk::ideal();
    for (page, register) in [
        (0, 0x78),
        (0, 0x79),
        (0, 0x7C),
        (3, 0x7A),
        (3, 0x7B),
        (0, 0x7D),
        (0, 0x42),
        (0xFF, 0x78),
    ] {
        desk.select(page);
        desk.mask(register, 0x00);
        assert_eq!(desk.take_cml(), 0x40, "{register:02X} on page {page}");
    }
}

/// Whether anything could pull the line: any bit of any register of any page that is not masked.
#[test]
fn the_line_is_reached_as_long_as_one_bit_is_not_masked() {
    let desk = Desk::ideal();
    let is_reached = || desk.part.with(|model| model.is_reached(SmbAlert));
    let registers = [(0xFF, 0x7A), (0xFF, 0x7B), (3, 0x7C), (0, 0x7E)];
    for (page, register) in registers {
        assert!(is_reached());
        desk.select(page);
        desk.mask(register, 0xFF);
    }
    // Pages of an input have no STATUS_VOUT, outputs no STATUS_INPUT: nothing is left there.
    assert!(!is_reached());
    for (page, register, mask) in [(1, 0x7B, 0xFE), (3, 0x7C, 0x7F), (0, 0x7E, 0xFD)] {
        desk.select(page);
        desk.mask(register, mask);
        assert!(is_reached(), "{register:#04x}");
        desk.mask(register, 0xFF);
        assert!(!is_reached(), "{register:#04x}");
    }
}

#[test]
fn masking_and_unmasking_a_bit_that_is_set_moves_the_line_at_once() {
    let mut desk = Desk::ideal();
    desk.alert.set_recording(true);
    raise(&desk, 0, 0x7A, 0x40);
    assert!(!desk.is_low());
    desk.mask(0x7A, 0x00);
    assert!(desk.is_low());
    desk.mask(0x7A, 0x40);
    assert!(!desk.is_low());
    let edges: Vec<_> = desk.alert.edges().iter().map(|edge| edge.to).collect();
    assert_eq!(edges, [PinState::Low, PinState::High]);
    assert_eq!(
        embedded_hal::digital::InputPin::is_high(&mut desk.alert),
        Ok(true)
    );
}

#[test]
fn the_alert_response_lets_go_until_a_bit_is_set_anew() {
    let desk = Desk::ideal();
    assert_eq!(respond(&desk), None);
    raise(&desk, 0, 0x7A, 0x80);
    assert_eq!(respond(&desk), Some(ADDRESS << 1));
    assert!(!desk.is_low());
    assert_eq!(respond(&desk), None);
    // The same bit, still set: nothing new.
    raise(&desk, 0, 0x7A, 0x80);
    assert!(!desk.is_low());
    // Another one.
    raise(&desk, 2, 0x7B, 0x10);
    assert!(desk.is_low());
    assert_eq!(respond(&desk), Some(ADDRESS << 1));
    // Clearing the first ends its mark; setting it again pulls.
    desk.write(0x7A, &[0x80]);
    assert!(!desk.is_low());
    raise(&desk, 0, 0x7A, 0x80);
    assert!(desk.is_low());
}

#[test]
fn a_cause_that_stands_pulls_again_when_its_bit_is_cleared_but_not_sample_by_sample() {
    let desk = Desk::ideal();
    desk.rail(0, 3.0, 1.0);
    desk.mask(0x7A, 0x00);
    desk.write_word(0x42, 512);
    desk.sample();
    assert_eq!(respond(&desk), Some(ADDRESS << 1));
    desk.sample();
    desk.sample();
    assert!(!desk.is_low());
    desk.write(0x7A, &[0x40]);
    assert!(desk.is_low());
    assert_eq!(desk.byte(0x7A), 0x40);
}

#[test]
fn marks_are_of_the_bits_that_pulled_not_of_those_masked_then() {
    let desk = Desk::ideal();
    raise(&desk, 0, 0x7A, 0xC0);
    assert_eq!(respond(&desk), Some(ADDRESS << 1));
    desk.mask(0x7A, 0x00);
    assert!(desk.is_low());
}

#[test]
fn the_alert_response_needs_no_check_byte() {
    let desk = Desk::ideal();
    raise(&desk, 0, 0x7A, 0x80);
    desk.wire.start();
    assert!(desk.wire.send(0x19));
    assert_eq!(desk.wire.receive(false), ADDRESS << 1);
    desk.wire.stop();
    assert!(!desk.is_low());
}

#[test]
fn clearing_the_last_bit_lets_go_without_an_alert_response() {
    let desk = Desk::ideal();
    raise(&desk, 3, 0x7C, 0x90);
    desk.select(3);
    desk.write(0x7C, &[0x80]);
    assert!(desk.is_low());
    desk.write(0x7C, &[0x10]);
    assert!(!desk.is_low());
}

#[test]
fn of_two_devices_the_lower_address_is_served_first_and_both_share_a_line() {
    let desk = Desk::ideal();
    let order = Device::ideal(Description::gallinule(), 0x5B).expect("sound");
    let other = desk.bench.part(order).expect("free");
    desk.alert.wire(&other, SmbAlert);
    raise(&desk, 0, 0x7A, 0x80);
    assert!(other.with(|model| model.raise(0, 0x7A, 0x80)));
    let level = || desk.alert.level();
    // Who has lost, and who has no more to say, leave the wire alone.
    desk.wire.start();
    assert!(desk.wire.send(0x19));
    let answer = [(); 3].map(|()| desk.wire.receive(true));
    desk.wire.stop();
    assert_eq!(answer, [0x58 << 1, pec(&[0x19, 0x58 << 1]), 0xFF]);
    assert_eq!(level(), PinState::Low);
    assert!(!desk.is_low() && other.is_low(SmbAlert));
    assert_eq!((respond(&desk), level()), (Some(0x5B << 1), PinState::High));
    assert_eq!(respond(&desk), None);
}

#[test]
fn asking_for_a_command_that_is_not_there_pulls_unless_masked() {
    let desk = Desk::ideal();
    desk.raw_write(&[0x88]);
    assert!(desk.is_low());
    desk.write(0x7E, &[0x80]);
    desk.mask(0x7E, 0xFF);
    desk.raw_write(&[0x88]);
    assert!(!desk.is_low());
    assert_eq!(desk.byte(0x7E), 0x80);
}
