//! Status bits: which cause sets which, how they go, and the summaries (A2.3, B3.3).

use crate::pmbus::{desk::Desk, document::commands};

/// Limit, page, and the register and bit of A2.3; a rail that passes it once the limit stands at 1
/// V, 1 A or 1 W.
const CAUSES: [(&str, u8, u8, u8, f64, f64); 24] = [
    ("VOUT_OV_FAULT_LIMIT", 0, 0x7A, 7, 3.0, 0.1),
    ("VOUT_OV_WARN_LIMIT", 0, 0x7A, 6, 3.0, 0.1),
    ("VOUT_UV_WARN_LIMIT", 0, 0x7A, 5, 0.5, 0.1),
    ("VOUT_UV_FAULT_LIMIT", 0, 0x7A, 4, 0.5, 0.1),
    ("IOUT_OC_FAULT_LIMIT", 0, 0x7B, 7, 0.1, 2.0),
    ("IOUT_OC_WARN_LIMIT", 0, 0x7B, 5, 0.1, 2.0),
    ("IOUT_UC_FAULT_LIMIT", 0, 0x7B, 4, 0.1, -2.0),
    ("POUT_OP_FAULT_LIMIT", 0, 0x7B, 1, 2.0, 2.0),
    ("POUT_OP_WARN_LIMIT", 0, 0x7B, 0, 2.0, 2.0),
    ("VOUT_OV_WARN_LIMIT", 1, 0x7A, 6, 3.0, 0.1),
    ("VOUT_UV_WARN_LIMIT", 1, 0x7A, 5, 0.5, 0.1),
    ("IOUT_OC_WARN_LIMIT", 1, 0x7B, 5, 0.1, 2.0),
    ("VOUT_OV_WARN_LIMIT", 2, 0x7A, 6, 3.0, 0.1),
    ("VOUT_UV_WARN_LIMIT", 2, 0x7A, 5, 0.5, 0.1),
    ("IOUT_OC_WARN_LIMIT", 2, 0x7B, 5, 0.1, 2.0),
    ("POUT_OP_WARN_LIMIT", 2, 0x7B, 0, 2.0, 2.0),
    ("VIN_OV_FAULT_LIMIT", 3, 0x7C, 7, 3.0, 0.1),
    ("VIN_OV_WARN_LIMIT", 3, 0x7C, 6, 3.0, 0.1),
    ("VIN_UV_WARN_LIMIT", 3, 0x7C, 5, 0.5, 0.1),
    ("VIN_UV_FAULT_LIMIT", 3, 0x7C, 4, 0.5, 0.1),
    ("IIN_OC_FAULT_LIMIT", 3, 0x7C, 2, 0.1, 2.0),
    ("IIN_OC_WARN_LIMIT", 3, 0x7C, 1, 0.1, 2.0),
    ("PIN_OP_WARN_LIMIT", 3, 0x7C, 0, 2.0, 2.0),
    ("IOUT_UC_FAULT_LIMIT", 2, 0x7B, 4, 0.1, -2.0),
];

/// The word of 1 V, 1 A or 1 W, by hand from B1.
fn one(page: u8, name: &str) -> u16 {
    match (page, &name[..4]) {
        (0, "VOUT") => 512,
        (1, "VOUT") => 4096,
        (2, "VOUT") => 380,  // 500 - 120
        (2, "IOUT") => 1275, // 800 + 475
        (2, "POUT") => 10,   // 13 - 3
        (1, "IOUT") => 0xD040,
        _ => 0x0001,
    }
}

#[test]
fn each_limit_sets_its_bit_of_its_page_alone() {
    let rows = commands();
    for (name, page, register, bit, volts, amperes) in CAUSES {
        let desk = Desk::ideal();
        let code = rows
            .iter()
            .find(|row| row.name == name)
            .expect("a command")
            .code;
        desk.rail(page.into(), volts, amperes);
        desk.select(page);
        desk.sample();
        desk.sample();
        assert_eq!(desk.byte(register), 0, "{name}");
        desk.write_word(code, one(page, name));
        assert_eq!(
            desk.byte(register),
            0,
            "{name}: judged before a sample came"
        );
        desk.sample();
        for other in 0..4 {
            desk.select(other);
            for own in if other == 3 {
                &[0x7C][..]
            } else {
                &[0x7A, 0x7B]
            } {
                let expected = if (other, *own) == (page, register) {
                    1 << bit
                } else {
                    0
                };
                assert_eq!(
                    desk.byte(*own),
                    expected,
                    "{name}: {own:02X} of page {other}"
                );
            }
        }
        desk.select(page);
        assert_eq!(desk.word(0x79), summary(register, bit), "{name}");
        assert_eq!(
            u16::from(desk.byte(0x78)),
            summary(register, bit) & 0xFF,
            "{name}"
        );
    }
}

/// B3.3: STATUS_WORD with one bit of one register set.
fn summary(register: u8, bit: u8) -> u16 {
    let high = match register {
        0x7A => 0x8000,
        0x7B => 0x4000,
        _ => 0x2000,
    };
    high | match (register, bit) {
        (0x7A, 7) => 0x20,
        (0x7B, 7) => 0x10,
        (0x7C, 4) => 0x08,
        _ => 0x01,
    }
}

#[test]
fn a_communication_error_shows_in_the_summary_of_every_page() {
    let desk = Desk::ideal();
    desk.raw_write(&[0x88]);
    for page in 0..4 {
        desk.select(page);
        assert_eq!(desk.word(0x79), 0x0002);
    }
    desk.write(0x7E, &[0x80]);
    assert_eq!(desk.word(0x79), 0);
}

#[test]
fn writing_ones_clears_those_bits_and_no_other() {
    for (page, register) in [(0, 0x7A), (1, 0x7B), (3, 0x7C), (0, 0x7E)] {
        let desk = Desk::ideal();
        desk.select(page);
        assert!(
            desk.part
                .with(|model| model.raise(page.into(), register, 0xFF))
        );
        desk.write(register, &[0x00]);
        assert_eq!(desk.byte(register), 0xFF);
        desk.write(register, &[0x41]);
        assert_eq!(desk.byte(register), 0xBE);
        // Setting is not what ones do.
        desk.write(register, &[0x40]);
        assert_eq!(desk.byte(register), 0xBE);
    }
}

#[test]
fn a_bit_stays_when_its_cause_goes_and_is_set_again_at_once_while_it_stands() {
    let desk = Desk::ideal();
    desk.rail(0, 3.0, 1.0);
    desk.write_word(0x42, 512);
    desk.sample();
    for _ in 0..3 {
        desk.write(0x7A, &[0x40]);
        assert_eq!(desk.byte(0x7A), 0x40);
    }
    desk.write(0x7A, &[0x02]);
    assert_eq!(desk.byte(0x7A), 0x40);
    desk.rail(0, 0.9, 1.0);
    desk.sample();
    desk.sample();
    assert_eq!(desk.byte(0x7A), 0x40);
    desk.write(0x7A, &[0x40]);
    assert_eq!(desk.byte(0x7A), 0);
    desk.sample();
    assert_eq!(desk.byte(0x7A), 0);
}

#[test]
fn writing_a_limit_lets_its_bit_be_cleared_before_the_next_sample() {
    let desk = Desk::ideal();
    desk.rail(1, 3.0, 1.0);
    desk.select(1);
    desk.write_word(0x42, 4096);
    desk.settle(2);
    desk.write_word(0x42, 0xFFFF);
    desk.write(0x7A, &[0x40]);
    assert_eq!(desk.byte(0x7A), 0);
    desk.write_word(0x42, 4096);
    assert_eq!(desk.byte(0x7A), 0);
    desk.sample();
    assert_eq!(desk.byte(0x7A), 0x40);
}

#[test]
fn clearing_on_all_pages_clears_on_each() {
    let desk = Desk::ideal();
    for page in 0..3 {
        assert!(desk.part.with(|model| model.raise(page, 0x7A, 0x60)));
    }
    desk.select(0xFF);
    desk.write(0x7A, &[0x20]);
    for page in 0..3 {
        desk.select(page);
        assert_eq!(desk.byte(0x7A), 0x40);
    }
}
