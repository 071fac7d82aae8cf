//! Energy counts of both periods, and their rollovers (A2.5, B5).

use crate::pmbus::{
    desk::Desk,
    document::{bytes, table},
};

/// Page and command of a count with this period, and the watts that add `counts` a sample there:
/// 0.1 W on page 0, 1 W on page 2.
fn page_of(period: u64) -> (usize, f64) {
    if period == 32_768 { (0, 0.1) } else { (2, 1.0) }
}

/// Brings a count to the six bytes, in the middle of a sample.
fn preset(desk: &Desk, page: usize, period: u64, block: &[u8]) {
    let accumulator = u64::from(u16::from_le_bytes([block[0], block[1]]));
    let samples = u32::from_le_bytes([block[3], block[4], block[5], 0]);
    let counts = u64::from(block[2]) * period + accumulator;
    assert!(desk.part.with(|model| model.preload(page, counts, samples)));
}

#[test]
fn only_a_page_that_counts_is_brought_to_a_count() {
    let desk = Desk::ideal();
    let takes = |page| desk.part.with(|model| model.preload(page, 1, 1));
    // Page 1 has no count, and there is no page 4.
    assert_eq!([0, 1, 2, 3, 4].map(takes), [true, false, true, true, false]);
    assert!(!desk.part.with(|model| model.show(4, [0; 3])));
    assert!(!desk.part.with(|model| model.raise(4, 0x7A, 1)));
    assert!(desk.part.with(|model| model.raise(4, 0x7E, 1)));
}

fn block(desk: &Desk, page: usize) -> Vec<u8> {
    let command = if page == 3 { 0x86 } else { 0x87 };
    let block = desk.read(command, 7);
    assert_eq!(block[0], 6);
    block[1..].to_vec()
}

/// Lets the count of `page` add `counts` in `samples` samples, each as much as the others but for
/// the last, which takes what is left.
fn add(desk: &Desk, page: usize, unit: f64, counts: u64, samples: u64) {
    let each = counts / samples;
    let volts = 10.0;
    for sample in 1..=samples {
        let now = if sample == samples {
            counts - each * (samples - 1)
        } else {
            each
        };
        desk.rail(page, volts, now as f64 * unit / volts);
        desk.settle(1);
    }
}

#[test]
fn published_sample_pairs_in_both_periods() {
    for row in table("| before | now | printed | counts with 32767 | counts with 32768 | samples |")
    {
        for (period, counts) in [(32_767, row[3]), (32_768, row[4])] {
            let Ok(counts) = counts.parse() else { continue };
            let (page, unit) = page_of(period);
            let desk = Desk::ideal();
            desk.select(page as u8);
            desk.settle(1);
            preset(&desk, page, period, &bytes(row[0]));
            assert_eq!(block(&desk, page), bytes(row[0]));
            add(&desk, page, unit, counts, row[5].parse().expect("samples"));
            assert_eq!(
                block(&desk, page),
                bytes(row[1]),
                "period {period}: {}",
                row[0]
            );
        }
    }
}

#[test]
fn accumulator_rollover_count_and_sample_count_wrap_where_they_should() {
    for (period, last, next) in [
        (32_768_u64, [0xFF, 0x7F], [0x00, 0x00]),
        (32_767, [0xFE, 0x7F], [0x00, 0x00]),
    ] {
        let (page, unit) = page_of(period);
        for (rollovers, rolled) in [(0x00, 0x01), (0xFE, 0xFF), (0xFF, 0x00)] {
            let desk = Desk::ideal();
            desk.select(page as u8);
            desk.settle(1);
            preset(
                &desk,
                page,
                period,
                &[last[0], last[1], rollovers, 0xFF, 0xFF, 0xFF],
            );
            assert_eq!(
                block(&desk, page),
                [last[0], last[1], rollovers, 0xFF, 0xFF, 0xFF]
            );
            add(&desk, page, unit, 1, 1);
            assert_eq!(block(&desk, page), [next[0], next[1], rolled, 0, 0, 0]);
            add(&desk, page, unit, 400, 1);
            assert_eq!(block(&desk, page), [0x90, 0x01, rolled, 1, 0, 0]);
        }
    }
}

#[test]
fn a_sample_adds_its_power_rounded_to_the_counts_own_format() {
    // 12.4 V × 1.5 A = 18.6 W: 186 counts of 0.1 W, 19 of 1 W.
    for (page, each) in [(0, 186), (2, 19), (3, 19)] {
        let desk = Desk::ideal();
        desk.rail(page, 12.4, 1.5);
        desk.select(page as u8);
        desk.settle(10);
        let before = block(&desk, page);
        desk.settle(100);
        let now = block(&desk, page);
        let accumulator = |block: &[u8]| u16::from_le_bytes([block[0], block[1]]);
        assert_eq!(accumulator(&now) - accumulator(&before), 100 * each);
        assert_eq!(now[3] - before[3], 100);
    }
}

#[test]
fn power_that_flows_back_counts_the_sample_and_nothing_else() {
    let desk = Desk::ideal();
    desk.rail(0, 12.0, -5.0);
    desk.settle(101);
    assert_eq!(block(&desk, 0), [0, 0, 0, 101, 0, 0]);
    // -60 W is there all the same: 960 × 2^-4, negative.
    assert_eq!(desk.word(0x96), 0xE440);
}

// B5's own figures: at the greatest power page 0 wraps as a whole after 2097 samples and not
// before.
#[test]
fn at_full_scale_the_whole_count_wraps_after_the_stated_samples() {
    for (page, volts, amperes, samples) in [
        (0, 16.0, 25.0, 2_097),
        (2, 60.0, 40.0, 3_495),
        (3, 60.0, 50.0, 2_796),
    ] {
        let desk = Desk::ideal();
        desk.rail(page, volts, amperes);
        desk.select(page as u8);
        desk.settle(samples);
        let before = block(&desk, page);
        assert_eq!(u64::from(before[3]) | u64::from(before[4]) << 8, samples);
        assert_eq!(before[2], 0xFF);
        desk.settle(1);
        assert_eq!(block(&desk, page)[2], 0);
    }
}
