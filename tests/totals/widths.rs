//! Rollovers of sums of every width, by the whole span and by the last safe moment.

use crate::model::{magnitude, ratio};
use crate::stub::{Stub, board, info_with, rail};
use crake::board::{Correction, Offset};
use crake::info::{PartInfo, SumBits};
use crake::part::{corncrake, moorhen};
use crake::totals::{Discontinuity, Totals, Update};
use crake::units::{Charge, Energy, Tolerance};
use crake::{Channel, TimedSample};

/// Section 6, and the boards below: 1.5 % and 100 ppm.
const OSCILLATOR_PPM: u128 = 15_000;
const HOST_PPM: u128 = 100;
const MILLION: u128 = 1_000_000;

/// Scans of 500 µs that the part makes while `us` pass on the host's clock, both as wrong as they
/// may be: `fast` or slow.
fn scans_in(us: u64, fast: bool) -> u64 {
    let us = u128::from(us);
    let (part, host) = if fast {
        (MILLION + OSCILLATOR_PPM, MILLION - HOST_PPM)
    } else {
        (MILLION - OSCILLATOR_PPM, MILLION + HOST_PPM)
    };
    (us * part / (host * 500)) as u64
}

/// Goal: whatever their width, sums are followed over many rollovers in both directions, and the
/// promised moment is neither too late for the fastest part at full scale, nor are its scans taken
/// for wrong ones.
#[test]
fn sums_of_every_width_are_followed_to_the_last_safe_moment() {
    // Energy, charge, scans: full scale is 2^33 and 2^17 (section 4).
    let mut widths = vec![[60, 44, 28], [63, 63, 32], [63, 63, 6], [63, 24, 32]];
    widths.extend((38..65).map(|bits| [bits, 63, 32]));
    widths.extend((22..65).map(|bits| [63, bits, 32]));
    widths.extend((4..33).map(|bits| [63, 63, bits]));
    let board = board([rail(10_000_000)]).with_clock(Tolerance::from_ppm(HOST_PPM as u32));
    for bits in widths {
        let safe = [
            i32::from(bits[0]) - 34,
            i32::from(bits[1]) - 18,
            i32::from(bits[2]),
        ];
        let safe = safe.into_iter().min().expect("three");
        for fast in [true, false] {
            let mut stub = Stub::new(board);
            (stub.info, stub.bits) = (info_with(bits), bits);
            // Close to the wrap of everything.
            stub.scans = (1 << bits[2]) - 3;
            stub.charge = [(1 << (bits[1] - 1)) - 5];
            stub.energy = [(1 << (bits[0] - 1)) - 5];
            let mut totals = Totals::new(&board);
            assert_eq!(totals.update(&stub), Update::First);
            let (start_us, mut codes, mut power) = (stub.twice_us(), 0_i128, 0_i128);
            let mut counted = 0;
            for turn in 0..9 {
                let sense = if turn % 3 == 2 { 131_071 } else { -131_072 };
                let by_us = totals.next_sample_by_us().expect("it counts");
                let us = by_us - stub.width_us - stub.now_us;
                // 2^40 µs are as late as it gets; a 16th may be given away, and the scans at the
                // ends.
                let most = (1_u64 << safe).min((1 << 40) / 500);
                assert!(us / 500 >= most - most / 16 - 4, "{bits:?}: {us} µs");
                let scans = scans_in(us, fast);
                assert!(scans <= 1 << safe, "{bits:?}: {scans} scans");
                stub.run(scans, us, [sense], [65_535]);
                assert_eq!(stub.timestamp().after_us, by_us);
                assert_eq!(
                    totals.update(&stub),
                    Update::Continued,
                    "{bits:?} {fast} {turn}"
                );
                codes += i128::from(sense) * i128::from(scans);
                power += i128::from(sense) * i128::from(scans) * 65_535;
                counted += scans;
            }
            // Codes × 0.5 µV ÷ 10 mΩ = × 50 µA, which is 0.05 nC a microsecond; × 1 mV; mean per
            // scan × time.
            let time = ratio(stub.twice_us() - start_us, 2 * counted);
            let charge = ratio(codes * 50, 1_000) * &time;
            let energy = ratio(power * 50, 1_000_000) * time;
            let got = totals
                .charge(Channel::C0)
                .expect("a rail")
                .value
                .as_nanocoulombs();
            let slack = ratio(1, 1) + magnitude(charge.clone()) * crate::model::power_of_two(-50);
            assert!(
                magnitude(ratio(got, 1) - charge) <= slack,
                "{bits:?}: {got}"
            );
            let got = totals
                .energy(Channel::C0)
                .expect("a rail")
                .value
                .as_nanojoules();
            let slack = ratio(1, 1) + magnitude(energy.clone()) * crate::model::power_of_two(-50);
            assert!(
                magnitude(ratio(got, 1) - energy) <= slack,
                "{bits:?}: {got}"
            );
        }
    }
}

/// Goal: a count of 32 bits is followed beyond half of it, too, between two samples. The offset is
/// all that is shown, so that charge and energy come to nothing.
#[test]
fn counts_of_32_bits_are_followed_beyond_half_of_them() {
    let (sense_ranges, rail_ranges) = (moorhen::INFO.sense_ranges, moorhen::INFO.rail_ranges);
    let info = Box::leak(Box::new(PartInfo {
        sum_bits: SumBits::new(64, 64, 32, sense_ranges, rail_ranges),
        ..corncrake::INFO
    }));
    // 1000 codes of 0.5 µV, in 256ths of a nanovolt.
    let correction = Correction {
        offset: Offset::from_bits(500_000 << 8),
        ..Correction::NONE
    };
    let board = board([rail(10_000_000)]).corrected(Channel::C0, &correction);
    let mut stub = Stub::new(board);
    (stub.info, stub.bits) = (info, [64, 64, 32]);
    let mut totals = Totals::new(&board);
    totals.update(&stub);
    for _ in 0..2 {
        let by_us = totals.next_sample_by_us().expect("it counts");
        let us = by_us - stub.width_us - stub.now_us;
        assert!(us / 500 > 1 << 31, "{us} µs");
        stub.run(us / 500, us, [1_000], [4_000]);
        assert_eq!(totals.update(&stub), Update::Continued);
    }
    let charge = totals.charge(Channel::C0).expect("a rail").value;
    let energy = totals.energy(Channel::C0).expect("a rail").value;
    assert_eq!((charge, energy), (Charge::ZERO, Energy::ZERO));
}

/// No more than 3 % of the 9.3 hours of Corncrake's fastest scan rate are given away.
#[test]
fn corncrakes_safe_time() {
    let board = board([rail(10_000_000)]);
    let stub = Stub::new(board);
    let mut totals = Totals::new(&board);
    assert_eq!(totals.next_sample_by_us(), None);
    totals.update(&stub);
    let safe_us = totals.next_sample_by_us().expect("it counts") - stub.now_us;
    // Section 4: 33 554 s.
    assert!(
        (32_600_000_000..33_554_432_000).contains(&safe_us),
        "{safe_us}"
    );
}

#[test]
fn a_sample_later_than_that_is_a_discontinuity() {
    let board = board([rail(10_000_000)]);
    for late_us in [0, 1] {
        let mut stub = Stub::new(board);
        let mut totals = Totals::new(&board);
        totals.update(&stub);
        let by_us = totals.next_sample_by_us().expect("it counts");
        let us = by_us + late_us - stub.width_us - stub.now_us;
        stub.run(us / 500, us, [1_000], [5_000]);
        let expected = match late_us {
            0 => Update::Continued,
            _ => Update::Discontinuity(Discontinuity::TooLate),
        };
        assert_eq!(totals.update(&stub), expected);
        assert_eq!(totals.epoch(), late_us as u32);
    }
}

/// A part that keeps no sums, or does not scan by itself, does not count.
#[test]
fn without_sums_nothing_counts() {
    let board = board([rail(10_000_000)]);
    let mut stub = Stub::new(board);
    stub.info = Box::leak(Box::new(PartInfo {
        sum_bits: SumBits::NONE,
        ..corncrake::INFO
    }));
    let mut totals = Totals::new(&board);
    assert_eq!(totals.update(&stub), Update::NotCounting);
    assert_eq!((totals.next_sample_by_us(), totals.counted_us()), (None, 0));
    assert_eq!(totals.gap().greatest_us, 0);
}
