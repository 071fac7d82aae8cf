//! The register table of section 3, walked from end to end, and the values that sections 3.1 to 3.6
//! allow.

use core::time::Duration;

use crate::corncrake::{datasheet::registers, fixture::Fixture};

/// A value other than the reset value that each writable register allows (sections 3.2 to 3.6), by
/// name without the channel.
fn allowed(name: &str) -> &'static [u8] {
    match name
        .trim_end_matches(['0', '1', '2', '3'])
        .trim_end_matches('_')
    {
        "LATCH" => &[0x21, 0x00],
        "RUN" => &[0x14],
        "CHANNELS" => &[0x05],
        "RANGES" => &[0x60, 0x41],
        "AVERAGING" => &[0x0A],
        "GUARD" => &[0x01],
        "RESTART" => &[0xA5],
        "RESET_SEEN" => &[0x01],
        "OVER_VOLTAGE" | "UNDER_VOLTAGE" => &[0x12, 0x34],
        "OVER_CURRENT" | "UNDER_CURRENT" => &[0xFF, 0x12, 0x34],
        "OVER_POWER" => &[0xFE, 0x12, 0x34, 0x56, 0x78],
        "DEBOUNCE" => &[0x0F, 0x12, 0x34],
        "LATCHING" => &[0x7A, 0xBC, 0xDE],
        "MASK_A" | "MASK_B" => &[0x7A, 0xBC, 0xDE],
        "FLAGS" => &[0xFF, 0xFF, 0xFF],
        "CAPTURE_FROM" => &[0x03, 0xFF, 0x10],
        other => panic!("no value for {other}"),
    }
}

#[test]
fn reset_values_and_widths_are_those_of_the_table() {
    for row in registers() {
        let fixture = Fixture::ideal();
        if row.readable {
            assert_eq!(
                fixture.read(row.pointer, row.width),
                row.reset,
                "{}",
                row.name
            );
            let beyond = fixture.raw_read(row.pointer, row.width + 3);
            assert_eq!(
                beyond[row.width + 1..],
                [0xFF, 0xFF],
                "{}: after the check byte",
                row.name
            );
        } else {
            assert_eq!(
                fixture.raw_read(row.pointer, 12),
                [0xFF; 12],
                "{}",
                row.name
            );
        }
    }
}

#[test]
fn pointers_that_name_nothing_read_ones_and_take_no_data() {
    let named: Vec<u8> = registers()
        .iter()
        .map(|row| row.pointer)
        .chain(0x80..=0xEE)
        .collect();
    let fixture = Fixture::ideal();
    let mut nameless = 0;
    for pointer in (0..=0xFF).filter(|pointer| !named.contains(pointer)) {
        assert_eq!(fixture.raw_read(pointer, 3), [0xFF; 3], "{pointer:#04x}");
        assert_eq!(
            fixture.raw_write(&[pointer, 0x01, 0x01]),
            [true, true, false, false],
            "{pointer:#04x}"
        );
        nameless += 1;
    }
    assert_eq!(nameless, 256 - 111 - registers().len());
    assert_eq!(fixture.unsigned(0x01, 2), 0);
}

#[test]
fn writes_are_taken_where_the_table_allows_them_and_counted_where_it_says_so() {
    for row in registers() {
        let fixture = Fixture::ideal();
        if row.writable {
            let data = allowed(row.name);
            assert_eq!(data.len(), row.width, "{}", row.name);
            fixture.write(row.pointer, data);
            fixture.bench.run_for(Duration::from_millis(2));
            assert_eq!(
                fixture.unsigned(0x01, 2),
                u64::from(row.counted),
                "{}: WRITES",
                row.name
            );
            match row.name {
                "LATCH" => assert_eq!(fixture.sample().tag(), 0x21),
                "RESET_SEEN" => assert_eq!(fixture.read(row.pointer, 1), [0]),
                "FLAGS" => assert_eq!(fixture.read(row.pointer, 3), row.reset),
                "RESTART" => {}
                _ => assert_eq!(fixture.read(row.pointer, row.width), data, "{}", row.name),
            }
        } else {
            let acknowledged = fixture.raw_write(&fixture.with_check(row.pointer, &row.reset));
            assert_eq!(acknowledged[..2], [true, true], "{}", row.name);
            assert!(acknowledged[2..].iter().all(|&yes| !yes), "{}", row.name);
            assert_eq!(
                fixture.read(row.pointer, row.width),
                row.reset,
                "{}",
                row.name
            );
        }
    }
    let fixture = Fixture::ideal();
    assert_eq!(
        fixture.raw_write(&[0x80, 0x00]),
        [true, true, false],
        "the window cannot be written"
    );
    assert_eq!(
        fixture.raw_write(&[0xEE, 0x00]),
        [true, true, false],
        "the window cannot be written"
    );
}

/// For every writable register: one byte short, and one too many with and without a right check
/// byte among them.
#[test]
fn writes_of_another_length_change_nothing() {
    for row in registers()
        .into_iter()
        .filter(|row| row.writable && row.name != "RESTART")
    {
        let fixture = Fixture::ideal();
        let data = allowed(row.name);
        let unchanged = |fixture: &Fixture, case: &str| {
            if row.readable {
                assert_eq!(
                    fixture.read(row.pointer, row.width),
                    row.reset,
                    "{} {case}",
                    row.name
                );
            }
            assert_eq!(fixture.sample().tag(), 0, "{} {case}", row.name);
            assert_eq!(fixture.unsigned(0x01, 2), 0, "{} {case}", row.name);
        };
        let bytes = fixture.with_check(row.pointer, data);
        let short = fixture.raw_write(&bytes[..row.width]);
        assert!(short.iter().all(|&yes| yes), "{}", row.name);
        unchanged(&fixture, "short");
        let mut long = bytes.clone();
        long.push(0x00);
        let acknowledged = fixture.raw_write(&long);
        assert_eq!(
            acknowledged.iter().filter(|&&yes| !yes).count(),
            1,
            "{}",
            row.name
        );
        assert_eq!(acknowledged.last(), Some(&false), "{}", row.name);
        unchanged(&fixture, "long");
        let mut spoilt = bytes.clone();
        *spoilt.last_mut().expect("check byte") ^= 0x40;
        let acknowledged = fixture.raw_write(&spoilt);
        assert_eq!(acknowledged.last(), Some(&false), "{}", row.name);
        unchanged(&fixture, "check byte");
        assert!(fixture.raw_write(&[row.pointer]).iter().all(|&yes| yes));
        unchanged(&fixture, "pointer alone");
        // Nothing of it stands in the way of a good one.
        fixture.write(row.pointer, data);
    }
}

#[test]
fn values_outside_the_descriptions_are_refused_at_their_last_byte() {
    let refused: &[(u8, &[u8])] = &[
        (0x05, &[0x00]),
        (0x05, &[0x10]),
        (0x06, &[0x22, 0x23]),
        (0x06, &[0x32, 0x22]),
        (0x06, &[0x22, 0xA2]),
        (0x06, &[0x22, 0x72]),
        (0x06, &[0xB2, 0x22]),
        (0x06, &[0x2F, 0x22]),
        (0x07, &[0x0B]),
        (0x08, &[0x02]),
        (0x09, &[0xA4]),
        (0x0A, &[0x00]),
        (0x0A, &[0x03]),
        (0x12, &[0x02, 0x00, 0x00]),
        (0x13, &[0xFD, 0xFF, 0xFF]),
        (0x14, &[0x02, 0, 0, 0, 0]),
        (0x14, &[0xFD, 0xFF, 0xFF, 0xFF, 0xFF]),
        (0x30, &[0x11, 0x11, 0x11]),
        (0x31, &[0x01, 0x11, 0x10]),
        (0x32, &[0x00, 0x11, 0x11]),
        (0x33, &[0x01, 0x01, 0x11]),
        (0x34, &[0xF0, 0, 0]),
        (0x34, &[0x60, 0, 0]),
        (0x34, &[0x50, 0, 0]),
        (0x34, &[0x30, 0, 0]),
        (0x35, &[0x80, 0, 0]),
        (0x36, &[0x80, 0, 0]),
    ];
    let fixture = Fixture::ideal();
    for (pointer, data) in refused {
        fixture.refuse(*pointer, data);
    }
    for row in registers().into_iter().filter(|row| row.readable) {
        assert_eq!(
            fixture.read(row.pointer, row.width),
            row.reset,
            "{}",
            row.name
        );
    }
}

#[test]
fn values_at_the_ends_of_the_descriptions_are_taken() {
    let fixture = Fixture::ideal();
    let ends: &[(u8, &[u8])] = &[
        (0x05, &[0x0F]),
        (0x05, &[0x01]),
        (0x06, &[0x66, 0x66]),
        (0x06, &[0x00, 0x00]),
        (0x07, &[0x0A]),
        (0x12, &[0x01, 0xFF, 0xFF]),
        (0x12, &[0xFE, 0x00, 0x00]),
        (0x2C, &[0x01, 0xFF, 0xFF, 0xFF, 0xFF]),
        (0x2C, &[0xFE, 0x00, 0x00, 0x00, 0x00]),
        (0x33, &[0x0F, 0xFF, 0xFF]),
        (0x34, &[0x7F, 0xFF, 0xFF]),
        (0x34, &[0x70, 0x00, 0x00]),
        (0x35, &[0x7F, 0xFF, 0xFF]),
    ];
    for (pointer, data) in ends {
        fixture.write(*pointer, data);
        assert_eq!(fixture.read(*pointer, data.len()), *data);
    }
}

#[test]
fn guard_asks_for_the_check_byte_and_is_judged_by_the_value_before() {
    let fixture = Fixture::ideal();
    // Without check byte, accepted: GUARD was clear.
    assert_eq!(fixture.raw_write(&[0x08, 0x01]), [true; 3]);
    assert_eq!(fixture.read(0x08, 1), [1]);
    // Without check byte, ignored, though every byte is acknowledged.
    assert_eq!(fixture.raw_write(&[0x07, 0x03]), [true; 3]);
    assert_eq!(fixture.raw_write(&[0x08, 0x00]), [true; 3]);
    assert_eq!(fixture.raw_write(&[0x0A, 0x01]), [true; 3]);
    assert_eq!(
        (
            fixture.read(0x07, 1),
            fixture.read(0x08, 1),
            fixture.read(0x0A, 1)
        ),
        (vec![0], vec![1], vec![1])
    );
    assert_eq!(fixture.unsigned(0x01, 2), 1);
    fixture.write(0x07, &[0x03]);
    fixture.write(0x08, &[0x00]);
    assert_eq!(fixture.raw_write(&[0x07, 0x02]), [true; 3]);
    assert_eq!(fixture.read(0x07, 1), [2]);
    assert_eq!(fixture.unsigned(0x01, 2), 4);
}

#[test]
fn writes_wraps_after_16_bits() {
    let fixture = Fixture::ideal();
    for _ in 0..0x10001 {
        fixture.write(0x07, &[0]);
    }
    assert_eq!(fixture.unsigned(0x01, 2), 1);
}
