//! Limits in every format: strict, exact, and as each page keeps them (B3.2).

use crate::pmbus::desk::Desk;

/// The bit of page's `register` after its reading stood at `word` for a sample, and the limit at
/// `limit`.
fn trips(page: u8, command: u8, register: u8, quantity: (f64, f64), limit: u16) -> bool {
    let desk = Desk::ideal();
    desk.rail(page.into(), quantity.0, quantity.1);
    desk.select(page);
    desk.write_word(command, limit);
    desk.settle(2);
    desk.byte(register) != 0
}

/// Page, limit, register, volts and amperes, word of the reading, the step towards the rail.
type Case = (u8, u8, u8, (f64, f64), u16, i16);

// 2 V, 2 A and -2 A are whole codes of every page: B1's formats by hand.
#[test]
fn a_limit_at_the_reading_is_not_passed_and_one_code_further_is() {
    let cases: [Case; 14] = [
        (0, 0x42, 0x7A, (2.0, 0.0), 1024, -1),
        (0, 0x43, 0x7A, (2.0, 0.0), 1024, 1),
        // 2 A is 512 × 2^-8 on page 0.
        (0, 0x4A, 0x7B, (2.0, 2.0), 0xC200, -1),
        (0, 0x4A, 0x7B, (2.0, -2.0), 0xC600, -1),
        (0, 0x4B, 0x7B, (2.0, -2.0), 0xC600, 1),
        // 4 W: 512 × 2^-7.
        (0, 0x6A, 0x7B, (2.0, 2.0), 0xCA00, -1),
        (1, 0x42, 0x7A, (2.0, 0.0), 8192, -1),
        (1, 0x4A, 0x7B, (2.0, 2.0), 0xD080, -1),
        (1, 0x4A, 0x7B, (2.0, -2.0), 0xD780, -1),
        (2, 0x42, 0x7A, (2.0, 0.0), 880, -1),
        (2, 0x43, 0x7A, (0.2, 0.0), 0xFFEC, 1),   // -20
        (2, 0x4A, 0x7B, (2.0, -2.0), 0xFB9B, -1), // 475 - 1600
        (2, 0x6A, 0x7B, (2.0, 2.0), 49, -1),      // 52 - 3
        (3, 0x5D, 0x7C, (2.0, 2.0), 0xC200, -1),
    ];
    for (page, command, register, rail, reading, step) in cases {
        let further = reading.wrapping_add_signed(step);
        assert!(
            !trips(page, command, register, rail, reading),
            "page {page}, {command:02X} at {reading:04X}"
        );
        assert!(
            trips(page, command, register, rail, further),
            "page {page}, {command:02X} at {further:04X}"
        );
    }
}

// "Encodings are not unique": 2 A as 2 × 2^0, 1 × 2^1, 128 × 2^-6, 1000 × 2^-9 (1.953 A), 1023 ×
// 2^-9 (1.998 A).
#[test]
fn a_linear11_limit_means_its_value_whatever_its_exponent() {
    for (limit, passed) in [
        (0x0002, false),
        (0x0801, false),
        (0xD080, false),
        (0xBBE8, true),
        (0xBBFF, true),
        (0x1001, false),
        (0x0001, true),
        (0x87FF, true),
    ] {
        assert_eq!(
            trips(0, 0x4A, 0x7B, (2.0, 2.0), limit),
            passed,
            "{limit:04X}"
        );
        assert_eq!(
            trips(3, 0x5D, 0x7C, (2.0, 2.0), limit),
            passed,
            "{limit:04X}"
        );
    }
}

#[test]
fn page_1_keeps_a_current_limit_in_its_own_exponent_and_the_others_as_written() {
    // Written, kept by page 1: 845 × 2^-8 = 211.25 × 2^-6; 1 × 2^-7 is half a code, 3 × 2^-7 one
    // and a half; ends.
    for (written, kept) in [
        (0xC34D, 0xD0D3),
        (0xC801, 0xD000),
        (0xC803, 0xD002),
        (0xCFFF, 0xD000),
        (0x7BFF, 0xD3FF),
        (0x7C00, 0xD400),
        (0xFFFF, 0xD7E0),
    ] {
        let desk = Desk::ideal();
        desk.select(1);
        desk.write_word(0x4A, written);
        assert_eq!(desk.word(0x4A), kept, "{written:04X}");
        desk.select(0);
        desk.write_word(0x4A, written);
        assert_eq!(desk.word(0x4A), written);
        desk.select(3);
        desk.write_word(0x5D, written);
        assert_eq!(desk.word(0x5D), written);
    }
}

// 2.0078125 A is asked for; page 1 keeps 2 A, half to even, and 2.0 A does not pass that.
#[test]
fn what_is_in_force_is_what_reads_back() {
    let written = 0xC900 | 1; // 257 × 2^-7
    let desk = Desk::ideal();
    desk.rail(1, 1.0, 2.0 + 1.0 / 64.0);
    desk.select(1);
    desk.write_word(0x4A, written);
    desk.settle(2);
    assert_eq!((desk.word(0x4A), desk.byte(0x7B)), (0xD080, 0x20));
}

#[test]
fn with_all_pages_selected_a_limit_goes_to_each_page_that_has_it() {
    let desk = Desk::ideal();
    desk.select(0xFF);
    desk.write_word(0x42, 0x0123);
    desk.write_word(0x6A, 0x0801);
    desk.write_word(0x58, 0x0456);
    for (page, command, word) in [
        (0, 0x42, 0x0123),
        (1, 0x42, 0x0123),
        (2, 0x42, 0x0123),
        (0, 0x6A, 0x0801),
        (2, 0x6A, 0x0801),
        (3, 0x58, 0x0456),
    ] {
        desk.select(page);
        assert_eq!(desk.word(command), word, "{command:02X} of page {page}");
    }
    assert_eq!((desk.word(0x57), desk.take_cml()), (0x7BFF, 0));
}

#[test]
fn with_all_pages_selected_nothing_paged_is_read() {
    let desk = Desk::ideal();
    desk.select(0xFF);
    for command in [0x20, 0x42, 0x78, 0x79, 0x7A, 0x7C, 0x86, 0x87, 0x88, 0x8B] {
        desk.read_nothing(command, &[]);
        assert_eq!(desk.take_cml(), 0x40, "{command:02X}");
    }
    // Common ones go on, and so does what no page has.
    assert_eq!((desk.byte(0x00), desk.byte(0x19)), (0xFF, 0xB0));
    assert_eq!(desk.raw_write(&[0xD0, 1]), [true; 3]);
    assert_eq!(desk.take_cml(), 0x80);
}
