//! Sections 3.4 to 3.6: what sets limits and masks to their reset values, and the one reset flag.

use crake_sim::part::corncrake::Output;

use crate::corncrake::{
    alerts::{LIMITS, RESET_SEEN, SCAN_DONE, limit, scan, scanning},
    datasheet::{Row, registers},
    fixture::Fixture,
};

/// The registers of the table that hold a limit, each with a value that is not its reset value.
fn limits() -> Vec<(Row, Vec<u8>)> {
    let rows: Vec<_> = registers()
        .into_iter()
        .filter(|row| row.name.starts_with("OVER_") || row.name.starts_with("UNDER_"))
        .map(|row| {
            let mut other = row.reset.clone();
            other[row.width - 1] ^= 0x5A;
            (row, other)
        })
        .collect();
    assert_eq!(rows.len(), 4 * 5);
    rows
}

fn named(name: &str) -> Row {
    let rows = registers();
    rows.into_iter().find(|row| row.name == name).expect("row")
}

/// A part that has every register of section 3.6 at a value other than its reset value.
fn all_set() -> Fixture {
    let fixture = Fixture::ideal();
    for pointer in 0x30..=0x33 {
        fixture.write(pointer, &[0x02, 0x34, 0x56]);
    }
    fixture.write(0x34, &[0x70, 0x12, 0x34]);
    fixture.write(0x35, &[0x01, 0x23, 0x45]);
    fixture.write(0x36, &[0x06, 0x78, 0x9A]);
    for (row, other) in limits() {
        fixture.write(row.pointer, &other);
        assert_eq!(fixture.read(row.pointer, row.width), other, "{}", row.name);
    }
    fixture
}

#[test]
fn an_accepted_write_to_ranges_resets_all_limits_and_both_masks() {
    let fixture = all_set();
    let writes = fixture.writes();
    fixture.refuse(0x06, &[0x22, 0x23]);
    for (row, other) in limits() {
        assert_eq!(fixture.read(row.pointer, row.width), other, "{}", row.name);
    }
    // The value that stands already, then another.
    for (ranges, written) in [([0x22, 0x22], 1), ([0x60, 0x41], 2)] {
        let fixture = all_set();
        for _ in 0..written {
            fixture.write(0x06, &ranges);
        }
        for (row, _) in limits() {
            let now = fixture.read(row.pointer, row.width);
            assert_eq!(now, row.reset, "{}", row.name);
        }
        for mask in [named("MASK_A"), named("MASK_B")] {
            assert_eq!(fixture.read(mask.pointer, 3), mask.reset, "{}", mask.name);
        }
        assert_eq!(fixture.writes(), writes + written, "one write each");
        for pointer in 0x30..=0x33 {
            assert_eq!(fixture.read(pointer, 3), [0x02, 0x34, 0x56]);
        }
        assert_eq!(fixture.read(0x34, 3), [0x70, 0x12, 0x34]);
    }
}

/// After a single-shot conditions stand, so a write to RANGES finds some.
#[test]
fn ranges_clear_counts_and_conditions_and_leave_latching_flags() {
    let fixture = scanning(0, &[131_071, 65_535, -131_072, 65_535]);
    fixture.write(0x34, &[0x70, 0, 0x04]);
    fixture.write(0x35, &[0, 0, 0x05]);
    limit(&fixture, 0, 2, 5);
    limit(&fixture, 0, 0, 5);
    fixture.run(0x20);
    fixture.run_conversions(6);
    let flags = |fixture: &Fixture| fixture.unsigned(0x37, 3) & LIMITS;
    assert_eq!((fixture.unsigned(0x38, 3), flags(&fixture)), (0b101, 0b101));
    assert!(fixture.part.is_low(Output::A));
    fixture.write(0x06, &[0, 0]);
    assert_eq!((fixture.unsigned(0x38, 3), flags(&fixture)), (0, 0b100));
    assert_eq!(fixture.part.snapshot().channels[0].counts, [0; 5]);
    assert!(!fixture.part.is_low(Output::A), "its mask is gone");
    // No code passes the reset values: the ends of sense, both with the end of rail.
    fixture.write(0x37, &[0, 0, 0x04]);
    for _ in 0..2 {
        assert_eq!(scan(&fixture), (0, 0));
    }
}

#[test]
fn an_accepted_write_to_debounce_resets_the_limits_of_its_channel_alone() {
    for channel in 0..4_usize {
        // Another value, and the one that stands already.
        for debounce in [[0x01, 0x11, 0x12], [0x02, 0x34, 0x56]] {
            let fixture = all_set();
            let (writes, pointer) = (fixture.writes(), 0x30 + channel as u8);
            fixture.refuse(pointer, &[0x01, 0x11, 0x10]);
            fixture.write(pointer, &debounce);
            for (i, (row, other)) in limits().into_iter().enumerate() {
                let wanted = if i / 5 == channel { row.reset } else { other };
                assert_eq!(fixture.read(row.pointer, row.width), wanted, "{}", row.name);
            }
            assert_eq!(fixture.read(pointer, 3), debounce);
            assert_eq!(fixture.read(0x35, 3), [0x01, 0x23, 0x45]);
            assert_eq!(fixture.read(0x36, 3), [0x06, 0x78, 0x9A]);
            assert_eq!(fixture.writes(), writes + 1, "one write");
        }
    }
}

#[test]
fn writing_a_limit_or_the_debounce_begins_anew() {
    let fixture = scanning(0, &[9, 9]);
    fixture.write(0x30, &[0x01, 0x12, 0x12]);
    limit(&fixture, 0, 2, 5);
    limit(&fixture, 0, 0, 5);
    fixture.write(0x34, &[0x70, 0, 0x04]);
    assert_eq!(scan(&fixture), (0, 0));
    assert_eq!(scan(&fixture), (0b101, 0b101));
    let shown = |fixture: &Fixture| {
        let flags = fixture.unsigned(0x37, 3) & LIMITS;
        (fixture.unsigned(0x38, 3), flags)
    };
    // The limit on current: its condition goes, the latching flag stays; voltage is untouched.
    limit(&fixture, 0, 2, 5);
    assert_eq!(shown(&fixture), (0b001, 0b101));
    assert_eq!(scan(&fixture).0, 0b001, "one of two");
    assert_eq!(scan(&fixture).0, 0b101);
    // Another channel's debounce touches nothing.
    fixture.write(0x31, &[0x01, 0x12, 0x12]);
    assert_eq!(shown(&fixture), (0b101, 0b101));
    // Debounce: both conditions go, and the following flag with them.
    fixture.write(0x30, &[0x01, 0x12, 0x12]);
    assert_eq!(shown(&fixture), (0, 0b100));
    assert_eq!(fixture.part.snapshot().channels[0].counts, [0; 5]);
    for _ in 0..3 {
        assert_eq!(scan(&fixture), (0, 0b100), "no limit yet");
    }
    limit(&fixture, 0, 2, 5);
    assert_eq!(scan(&fixture).0, 0, "one of two");
    assert_eq!(scan(&fixture).0, 0b100);
}

#[test]
fn the_reset_flag_is_one_and_only_reset_seen_clears_it() {
    let fixture = Fixture::ideal();
    fixture.write(0x35, &[0x40, 0, 0]);
    fixture.run(0x20);
    fixture.run_conversions(12);
    let seen = |fixture: &Fixture| {
        let outputs = fixture.part.is_low(Output::A);
        (fixture.unsigned(0x37, 3), fixture.read(0x0A, 1), outputs)
    };
    let both = RESET_SEEN | SCAN_DONE;
    assert_eq!(seen(&fixture), (both, vec![1], true));
    fixture.write(0x37, &[0x40, 0, 0]);
    assert_eq!(seen(&fixture), (both, vec![1], true));
    fixture.latch(1, 0);
    assert_eq!(fixture.sample().flags() & 0x8000, 0x8000);
    fixture.write(0x0A, &[1]);
    assert_eq!(seen(&fixture), (SCAN_DONE, vec![0], false));
    fixture.latch(2, 1);
    assert_eq!(fixture.sample().flags() & 0x8000, 0);
    fixture.write(0x37, &[0xFF, 0xFF, 0xFF]);
    assert_eq!(seen(&fixture), (0, vec![0], false));
    fixture.part.brown_out();
    fixture.run_conversions(20);
    assert_eq!(seen(&fixture), (RESET_SEEN, vec![1], false));
}
