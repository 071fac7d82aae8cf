//! What a device tells about itself (B3.1).

use crake_sim::part::pmbus::Description;

use crate::pmbus::{
    desk::Desk,
    document::{commands, table},
};

// The formats of A2.4 (from memory) as B3.1 assigns them.
#[test]
fn query_tells_every_command_of_the_tables_and_no_other() {
    let rows = commands();
    for page in 0..4 {
        let desk = Desk::ideal();
        desk.select(page);
        for code in 0..=0xFF {
            let row = rows
                .iter()
                .find(|row| row.code == code && row.pages.contains(&page));
            let expected = row.map_or(0, |row| {
                let direct = match page {
                    2 => true,
                    _ => matches!(code, 0x86 | 0x87),
                };
                let format = match (row.name, row.read_len) {
                    (name, _)
                        if name.starts_with("STATUS")
                            || name.starts_with("MFR")
                            || name.starts_with("USER") =>
                    {
                        0b111
                    }
                    (_, Some(1)) => 0b100,
                    (_, Some(_)) if direct => 0b011,
                    (_, Some(_)) => 0b000,
                    (_, None) => 0b111,
                };
                let (read, write) = (
                    row.access.contains('R') || row.access.contains('P'),
                    row.access.contains('W'),
                );
                0x80 | u8::from(write) << 6 | u8::from(read) << 5 | format << 2
            });
            assert_eq!(
                desk.call(0x1A, &[1, code], 2),
                [1, expected],
                "{code:02X} on page {page}"
            );
        }
        assert_eq!(desk.take_cml(), 0);
    }
}

#[test]
fn query_with_all_pages_selected_tells_what_any_page_has() {
    let desk = Desk::ideal();
    desk.select(0xFF);
    assert_eq!(desk.call(0x1A, &[1, 0x88], 2), [1, 0xA0]);
    assert_eq!(desk.call(0x1A, &[1, 0x96], 2), [1, 0xA0]);
    assert_eq!(desk.call(0x1A, &[1, 0xD0], 2), [1, 0x00]);
}

#[test]
fn coefficients_are_those_of_the_table_for_both_directions_and_for_limits() {
    for row in table("| page | quantity | m | b | R | one code |") {
        let desk = Desk::ideal();
        let page: u8 = row[0].parse().expect("page");
        desk.select(page);
        let codes: &[u8] = match (row[1], page) {
            ("VOUT", _) => &[0x8B, 0x40, 0x42, 0x43, 0x44, 0x21, 0x22, 0x24, 0x25, 0x26],
            ("IOUT", _) => &[0x8C, 0x46, 0x4A, 0x4B],
            ("POUT", _) => &[0x96, 0x68, 0x6A],
            ("energy count", 3) => &[0x86],
            _ => &[0x87],
        };
        let [m, b, r] = [2, 3, 4].map(|i| row[i].parse::<i16>().expect("a number"));
        let expected = [&[5][..], &m.to_le_bytes(), &b.to_le_bytes(), &[r as u8]].concat();
        for &code in codes {
            for direction in [0, 1] {
                assert_eq!(
                    desk.call(0x30, &[2, code, direction], 6),
                    expected,
                    "{code:02X} on page {page}"
                );
            }
        }
        assert_eq!(desk.take_cml(), 0);
    }
}

#[test]
fn process_calls_that_ask_nothing_sensible_get_nothing() {
    let desk = Desk::ideal();
    desk.select(2);
    let cases: [(u8, &[u8]); 14] = [
        (0x30, &[2, 0x20, 1]),
        (0x30, &[2, 0x88, 1]),
        (0x30, &[2, 0x8B, 2]),
        (0x30, &[1, 0x8B]),
        (0x30, &[2, 0x8B]),
        (0x30, &[2, 0x8B, 1, 0]),
        (0x30, &[]),
        (0x1A, &[]),
        (0x1A, &[2, 0x8B]),
        (0x1A, &[1, 0x8B, 0]),
        (0x1B, &[1, 0x78]),
        (0x1B, &[1, 0x7C]),
        (0x1B, &[2, 0x7A]),
        (0x1B, &[1]),
    ];
    for (command, out) in cases {
        desk.read_nothing(command, out);
        assert_eq!(desk.take_cml(), 0x40, "{command:02X} {out:02X?}");
    }
    // Page 1 has no DIRECT command, and so no COEFFICIENTS.
    desk.select(1);
    desk.read_nothing(0x30, &[2, 0x8B, 1]);
    assert_eq!(desk.take_cml(), 0x80);
}

#[test]
fn a_device_need_not_have_query_or_user_data() {
    let desk = Desk::of(Description {
        has_query: false,
        has_user_data: false,
        ..Description::gallinule()
    });
    for code in [0x1A, 0xB0] {
        assert_eq!(desk.raw_write(&[code]), [true, false]);
        assert_eq!(desk.take_cml(), 0x80);
    }
}
