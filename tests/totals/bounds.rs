//! Bounds against individuals at the corners of the datasheet's limits, and against limits worked
//! out here by exact rationals.

use crate::individual::{Draw, Individual, Piece, RAIL};
use crate::model::{magnitude, ratio};
use crate::stub::Stub;
use crake::part::corncrake::INFO;
use crake::totals::{Bounds, Margins, Totals, Update};
use num_rational::BigRational;
use proptest::prelude::*;

/// How much of a bound is used: the truth's distance over the bound; charge and energy.
fn used(totals: &Totals<'_, 1, Bounds<'_, 1>>, truth: &[BigRational; 2]) -> [f64; 2] {
    let charge = totals.charge(RAIL).expect("a rail");
    let energy = totals.energy(RAIL).expect("a rail");
    assert!(charge.covers_load && energy.covers_load);
    let pairs = [
        (
            charge.value.as_nanocoulombs(),
            charge.bound.as_nanocoulombs(),
        ),
        (energy.value.as_nanojoules(), energy.bound.as_nanojoules()),
    ];
    [0, 1].map(|place| {
        let (value, bound) = pairs[place];
        let off = magnitude(ratio(value, 1) - &truth[place]);
        let used = off / ratio(bound.max(1), 1);
        let permille = (used * ratio(1_000_000, 1)).round().to_integer();
        i64::try_from(permille).unwrap_or(i64::MAX) as f64 / 1e6
    })
}

fn pieces(draw: &mut Draw, nanoohms: i64, both_ways: bool) -> Vec<Piece> {
    // At most 25 mV and 6.4 V: within the finest ranges, with all errors.
    let full_na = 25_000_000_000_000_000 / nanoohms;
    let largest = full_na / draw.of(&[1, 10, 1_000]) as i64;
    let volts = draw.of(&[3_300_000_i64, 6_400_000]);
    let count = 1 + draw.below(8);
    let length = draw.of(&[20, 2_000, 1_000_000]);
    let calm = draw.of(&[true, false]);
    (0..count)
        .map(|_| {
            let sign = if both_ways { draw.sign() } else { 1 };
            let share = draw.of(&[0, 1, 50, 100]);
            Piece {
                scans: 20 + draw.below(length),
                nanoamps: sign * largest / 100 * share,
                microvolts: if calm {
                    volts
                } else {
                    volts - draw.below(500_000) as i64
                },
                thermal: draw.sign(),
                wander: draw.sign(),
            }
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 3_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Goal: whatever flows, on whatever individual, through whatever change of range and
    /// correction: the truth lies within the bound after every sample. A failure prints its seed:
    /// in the place of `any`, `Just(seed)` replays it.
    #[test]
    fn the_truth_lies_within_the_bound(seed in any::<u64>()) {
        let mut draw = Draw(seed);
        let nanoohms = draw.of(&[100_000, 10_000_000, 500_000_000, 10_000_000_000]);
        let rate = draw.of(&[0, 2, 4]);
        let ranges = [(0, 0), (1, 0), (0, 1), (1, 2)];
        let both_ways = draw.of(&[true, false]);
        let pieces = pieces(&mut draw, nanoohms, both_ways);
        let mut individual = Individual::new(&mut draw, nanoohms, rate, draw_range(seed, &ranges));
        let rail = individual.declared(&pieces, both_ways);
        let correction = individual.calibrated(&mut draw, 1);
        let plain = Individual::board(&rail);
        let better = plain.corrected(RAIL, &correction);
        let uncorrected = Margins::new(&INFO, &plain, &[rail]);
        let mut corrected = uncorrected;
        corrected.correct(&better, &[correction]);
        let margins = [uncorrected, corrected];
        let boards = [&plain, &better];
        let known = draw.below(2) as usize;
        let mut totals = Totals::with_bounds(&margins[known]);
        let mut alone = Totals::new(boards[known]);
        let mut stub = Stub::new(plain);
        stub.configure(rate, [Some(individual.ranges)]);
        let first = Piece { scans: 20, ..pieces[0] };
        individual.run(&mut draw, &mut stub, first, false);
        prop_assert_eq!(totals.update(&stub), Update::First);
        alone.update(&stub);
        for piece in pieces {
            individual.run(&mut draw, &mut stub, piece, true);
            prop_assert_eq!(totals.update(&stub), Update::Continued);
            // Bounds change no total.
            alone.update(&stub);
            let charge = totals.charge(RAIL).map(|total| total.value);
            prop_assert_eq!(charge, alone.charge(RAIL).map(|net| net.value));
            let energy = totals.energy(RAIL).map(|total| total.value);
            prop_assert_eq!(energy, alone.energy(RAIL).map(|net| net.value));
            let used = used(&totals, &individual.truth);
            prop_assert!(used[0] <= 1.0 && used[1] <= 1.0, "seed {}: {:?}", seed, used);
            match draw.below(8) {
                0 => {
                    individual.configure(draw.of(&ranges));
                    stub.configure(rate, [Some(individual.ranges)]);
                    individual.run(&mut draw, &mut stub, piece, false);
                    let update = totals.update(&stub);
                    alone.update(&stub);
                    prop_assert!(matches!(update, Update::Discontinuity(_)), "{:?}", update);
                }
                1 => {
                    let known = draw.below(2) as usize;
                    totals.set_margins(&margins[known]);
                    alone.set_board(boards[known]);
                }
                _ => (),
            }
        }
    }
}

fn draw_range(seed: u64, ranges: &[(u8, u8)]) -> (u8, u8) {
    Draw(!seed).of(ranges)
}
