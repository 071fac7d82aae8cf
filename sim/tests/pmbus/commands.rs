//! B3's tables of commands: what is there, what is not, what it is after a reset, and what
//! disturbs.

use crate::pmbus::{
    desk::Desk,
    document::{Row, commands},
};

/// What a plain read of the command gives after a reset.
fn reset_value(row: &Row, page: u8) -> Vec<u8> {
    let at = row
        .pages
        .iter()
        .position(|own| *own == page)
        .expect("a page of the command");
    let cell = row.reset[at.min(row.reset.len() - 1)];
    let length = row.read_len.expect("readable");
    match (cell, row.code) {
        // The words of 0 V, 0 A, 0 W: LINEAR11 with N = -8 or -6, ULINEAR16, DIRECT with b.
        ("zero", 0x8C) => [[0x00, 0xC0], [0x00, 0xD0], [0xDB, 0x01]][usize::from(page)].to_vec(),
        ("zero", 0x96) if page == 2 => vec![0xFD, 0xFF],
        ("zero", 0x88 | 0x89 | 0x96 | 0x97) => vec![0x00, 0xC0],
        ("zero", _) => [[0x00, 0x00], [0x00, 0x00], [0x88, 0xFF]][usize::from(page)].to_vec(),
        ("zeros", _) => [vec![6], vec![0; 6]].concat(),
        (text, _) if text.starts_with('"') => {
            let text = text.trim_matches('"');
            [&[text.len() as u8], text.as_bytes()].concat()
        }
        (hex, 0xB0) => [vec![4], crate::pmbus::document::bytes(hex)].concat(),
        (hex, _) => u16::from_str_radix(hex, 16)
            .expect("a number")
            .to_le_bytes()[..length]
            .to_vec(),
    }
}

#[test]
fn every_command_reads_its_reset_value_on_each_of_its_pages() {
    let rows = commands();
    assert!(rows.len() > 50);
    for row in rows.iter().filter(|row| row.read_len.is_some()) {
        for &page in &row.pages {
            let desk = Desk::ideal();
            desk.select(page);
            let expected = match row.code {
                0x00 => vec![page],
                _ => reset_value(row, page),
            };
            assert_eq!(
                desk.read(row.code, expected.len()),
                expected,
                "{} on page {page}",
                row.name
            );
            assert_eq!(row.read_len, Some(expected.len()), "{}", row.name);
            assert_eq!(desk.take_cml(), 0, "{} on page {page}", row.name);
        }
    }
}

#[test]
fn every_other_code_is_refused_on_pages_0_and_1_and_taken_on_2_and_3() {
    let rows = commands();
    for page in 0..4 {
        let desk = Desk::ideal();
        desk.select(page);
        let there = |code: u8| {
            rows.iter()
                .any(|row| row.code == code && row.pages.contains(&page))
        };
        for code in (0..=0xFF).filter(|&code| !there(code)) {
            let taken = page >= 2;
            assert_eq!(
                desk.raw_write(&[code]),
                [true, taken],
                "{code:02X} on page {page}"
            );
            assert_eq!(desk.take_cml(), 0x80, "{code:02X} on page {page}");
            desk.read_nothing(code, &[]);
            assert_eq!(desk.take_cml(), 0x80, "{code:02X} on page {page}");
            assert_eq!(
                desk.raw_write(&[code, 1, 2]),
                [true, taken, taken, taken],
                "{code:02X} on page {page}"
            );
            assert_eq!(desk.take_cml(), 0x80, "{code:02X} on page {page}");
        }
    }
}

#[test]
fn what_can_be_written_reads_back_and_what_cannot_is_refused() {
    for row in commands().iter().filter(|row| row.read_len.is_some()) {
        let Some(&page) = row.pages.first() else {
            continue;
        };
        let desk = Desk::ideal();
        desk.select(page);
        if row.access == "R" {
            assert_eq!(
                desk.raw_write(&[row.code, 0]),
                [true, true, false],
                "{}",
                row.name
            );
            assert_eq!(desk.take_cml(), 0x80, "{}", row.name);
            assert_eq!(desk.disturbances(), [(row.code, 1)], "{}", row.name);
        } else if !matches!(row.code, 0x00 | 0x10 | 0x7A..=0x7E | 0xB0) {
            let value = &[0x21, 0xC3][..row.read_len.expect("readable")];
            desk.write(row.code, value);
            assert_eq!(desk.read(row.code, value.len()), value, "{}", row.name);
        }
    }
}

// The allow-list of B3; everything else that is written counts, accepted or not, and nothing that
// is read does.
#[test]
fn writing_to_anything_but_the_list_is_counted() {
    const HARMLESS: [u8; 15] = [
        0x00, 0x1B, 0x42, 0x43, 0x4A, 0x57, 0x58, 0x5D, 0x6A, 0x6B, 0x7A, 0x7B, 0x7C, 0x7E, 0xB0,
    ];
    for code in 0..=0xFF {
        for page in [0, 2, 3] {
            let desk = Desk::ideal();
            desk.select(page);
            desk.raw_read(code, &[], 2);
            assert_eq!(desk.disturbances(), [], "reading {code:02X}");
            desk.raw_write(&[code, 1, 2]);
            let expected = if HARMLESS.contains(&code) || [0x1A, 0x30].contains(&code) {
                vec![]
            } else {
                vec![(code, 1)]
            };
            assert_eq!(
                desk.disturbances(),
                expected,
                "writing {code:02X} on page {page}"
            );
        }
    }
}

#[test]
fn commands_without_data_are_counted_as_such() {
    for code in [0x03, 0x11, 0x12, 0x15, 0x16] {
        let desk = Desk::ideal();
        desk.write(code, &[]);
        desk.raw_write(&[code]);
        assert_eq!(desk.disturbances(), [(code, 2)]);
        // The count outlives the device's memory.
        desk.part.brown_out();
        assert_eq!(desk.disturbances(), [(code, 2)]);
    }
}

#[test]
fn clear_faults_clears_everything_at_once() {
    let desk = Desk::ideal();
    let registers = [(0, 0x7A), (1, 0x7B), (2, 0x7A), (3, 0x7C), (0, 0x7E)];
    for (page, register) in registers {
        assert!(desk.part.with(|model| model.raise(page, register, 0xFF)));
    }
    desk.write(0x03, &[]);
    for (page, register) in registers {
        desk.select(page as u8);
        assert_eq!(desk.byte(register), 0, "{register:02X} of page {page}");
    }
}

// A2.4, from memory: what each value of WRITE_PROTECT leaves open.
#[test]
fn write_protect_leaves_open_what_it_says() {
    let cases: [(u8, &[u8]); 4] = [
        (0x00, &[0x00, 0x01, 0x02, 0x10, 0x21, 0x42, 0x1B, 0x7A]),
        (0x20, &[0x00, 0x01, 0x02, 0x10, 0x21]),
        (0x40, &[0x00, 0x01, 0x10]),
        (0x80, &[0x10]),
    ];
    for (value, open) in cases {
        let desk = Desk::ideal();
        desk.part.with(|model| model.protect(value));
        let writes: [(u8, &[u8]); 7] = [
            (0x00, &[0]),
            (0x01, &[0]),
            (0x02, &[0]),
            (0x21, &[1, 0]),
            (0x42, &[1, 0]),
            (0x1B, &[0x7A, 0]),
            (0x7A, &[0]),
        ];
        for (code, data) in writes {
            desk.write(code, data);
            let protected = !open.contains(&code);
            assert_eq!(
                desk.byte(0x7E),
                u8::from(protected) << 6,
                "{code:02X} at {value:02X}"
            );
            desk.part.with(|model| model.protect(0));
            desk.take_cml();
            desk.part.with(|model| model.protect(value));
        }
        desk.write(0x10, &[0]);
        assert_eq!((desk.byte(0x10), desk.byte(0x7E)), (0, 0));
    }
}
