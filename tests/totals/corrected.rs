//! Bounds of rails that were corrected by calibration: in place and by description alike, once, and
//! only by what the board has, too.

use crate::limits::{HOUR, SMOOTH, V4, V5, rail_with, unbounded};
use crate::stub::Stub;
use crake::Channel;
use crake::board::{Board, Correction, Gain, Load, Offset, Rail, SenseResistor};
use crake::part::corncrake::INFO;
use crake::totals::{Margins, Totals};
use crake::units::{Current, Resistance, Tolerance, Voltage};

fn calibrated(gain_bits: i32, offset_bits: i32) -> Correction {
    Correction {
        gain: Gain::from_bits(gain_bits),
        gain_bound: Some(Tolerance::from_ppm(150)),
        gain_range: Some(1),
        offset: Offset::from_bits(offset_bits),
        offset_bound: Some(Voltage::from_nanovolts(120)),
    }
}

/// Goal: margins that are corrected while the firmware runs are those of rails described as
/// corrected.
#[test]
fn corrected_in_place_or_by_description() {
    let rail = rail_with(10, SMOOTH.both_ways()).with_voltage(V4, V5);
    let plain = Board::new(&INFO, &[rail]);
    for gain_range in [None, Some(0), Some(1), Some(2)] {
        for gain_bound in [None, Some(Tolerance::from_ppm(150))] {
            for offset_bound in [None, Some(Voltage::from_nanovolts(120))] {
                let correction = Correction {
                    gain_range,
                    gain_bound,
                    offset_bound,
                    ..calibrated((1 << 30) + 7_000_000, -(3_000 << 8))
                };
                let described = [rail.corrected(correction)];
                let board = Board::new(&INFO, &described);
                let by_description = Margins::new(&INFO, &board, &described);
                let board = plain.corrected(Channel::C0, &correction);
                let mut in_place = Margins::new(&INFO, &plain, &[rail]);
                in_place.correct(&board, &[correction]);
                let bounds = [&by_description, &in_place].map(|margins| {
                    let mut totals = Totals::with_bounds(margins);
                    let mut stub = Stub::new(board);
                    totals.update(&stub);
                    stub.run(HOUR, HOUR * 500, [1_000], [5_000]);
                    totals.update(&stub);
                    (totals.charge(Channel::C0), totals.energy(Channel::C0))
                });
                assert_eq!(bounds[0], bounds[1], "{correction:?}");
                assert!(bounds[0].0.is_some_and(|total| total.covers_load));
            }
        }
    }
}

/// Goal: margins and board are corrected once, and alike; otherwise there is no bound.
#[test]
fn corrected_twice_or_otherwise() {
    let rail = rail_with(10, SMOOTH);
    let plain = Board::new(&INFO, &[rail]);
    let made = Margins::new(&INFO, &plain, &[rail]);
    let one = calibrated((1 << 30) + 5_000_000, 64);
    let board = plain.corrected(Channel::C0, &one);
    for (what, board, corrections) in [
        ("twice", board, &[one, one][..]),
        ("by another gain", board, &[calibrated(1 << 30, 64)]),
        (
            "by another offset",
            board,
            &[calibrated(one.gain.to_bits(), 64 << 8)],
        ),
        ("a board that is not", plain, &[one]),
        ("a board alone", board, &[Correction::NONE]),
        (
            "another resistor",
            Board::new(&INFO, &[rail_with(11, SMOOTH)]).corrected(Channel::C0, &one),
            &[one],
        ),
        (
            "another clock",
            board.with_clock(Tolerance::from_ppm(200)),
            &[one],
        ),
    ] {
        let mut margins = made;
        for correction in corrections {
            margins.correct(&board, &[*correction]);
        }
        let _ = unbounded(what, &board, &margins);
    }
    // What is beyond all counting stays so, however well the gain is known.
    let beyond = rail_with(10, Load::smooth(Current::from_amps(50)));
    let mut margins = Margins::new(&INFO, &plain, &[beyond]);
    margins.correct(&board, &[one]);
    let _ = unbounded("beyond", &board, &margins);
}

/// Goal: a calibrated gain stands for a sense resistor of which nothing was known, and a rail that
/// is not corrected keeps its bound.
#[test]
fn corrected_without_a_known_resistor() {
    let unknown = SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(100));
    let rails = [Rail::new(unknown).with_load(SMOOTH), rail_with(10, SMOOTH)];
    let plain = Board::new(&INFO, &rails);
    let one = calibrated((1 << 30) + 5_000_000, 64);
    let board = plain.corrected(Channel::C0, &one);
    let mut margins = Margins::new(&INFO, &plain, &rails);
    margins.correct(&board, &[one, Correction::NONE]);
    let mut totals = Totals::with_bounds(&margins);
    let mut stub = Stub::new(board);
    stub.configure(0, [Some((1, 0)); 2]);
    totals.update(&stub);
    stub.run(HOUR, HOUR * 500, [10_000; 2], [5_000; 2]);
    totals.update(&stub);
    let bound = |channel| {
        let charge = totals.charge(channel).expect("a rail");
        charge.bound.as_nanocoulombs()
    };
    // 10 000 × 200 nV are 0.2 A, 720 C an hour: 150 ppm and 100 of the host's clock, 200 of the
    // wander; an offset of 170 nV are 17 µA, 61 mC; ends and the rest below 10 mC.
    let known = bound(Channel::C0);
    assert!((385_000_000..405_000_000).contains(&known), "{known}");
    // 0.2 % and 10 µV: 1.44 C and 3.6 C.
    let plain = bound(Channel::C1);
    assert!((5_200_000_000..5_400_000_000).contains(&plain), "{plain}");
}
