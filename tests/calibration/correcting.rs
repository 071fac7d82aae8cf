use crake::Channel;
use crake::board::{Correction, Gain, Load, Offset, Rail, SenseResistor};
use crake::calibration::{CalibrationError, Collection, Point, gain, line, offset};
use crake::units::{Current, Resistance, Tolerance, Voltage};

use crate::paper::{COARSE, FINE, ONE_OHM, Paper};

const UNCERTAINTY: Tolerance = Tolerance::from_ppm(100);

/// 4000 codes of 200 nV (section 3.4) that have this mean.
fn collected(microvolts: i64) -> Collection {
    Paper::new().steady(microvolts * 20_000)
}

/// An offset of 5 µV, known to 121 nV.
fn five_microvolts() -> Correction {
    offset(&collected(5), &ONE_OHM).expect("an offset")
}

fn gain_at(microvolts: i64, current: Current) -> Result<Correction, CalibrationError> {
    let point = Point {
        collection: &collected(microvolts),
        current,
        uncertainty: UNCERTAINTY,
    };
    gain(&five_microvolts(), &point, &ONE_OHM)
}

fn line_at(low: (i64, i64), high: (i64, i64)) -> Result<Correction, CalibrationError> {
    let collections = [collected(low.0), collected(high.0)];
    let [one, other] = [(low.1, 0), (high.1, 1)].map(|(milliamps, place)| Point {
        collection: &collections[place],
        current: Current::from_milliamps(milliamps),
        uncertainty: UNCERTAINTY,
    });
    line(&one, &other, &ONE_OHM)
}

fn ppm(correction: &Correction) -> u32 {
    correction.gain_bound.expect("a bound").as_ppm()
}

/// 7 600 nV ÷ √4000 = 120.167 nV; rounding to a 512th of a nanovolt and 20 nA × 1.005 Ω × 2 × 0.2 %
/// = 0.08 nV: 121 nV, rounded up.
#[test]
fn an_offset_and_its_bound() {
    let correction = offset(&collected(5), &ONE_OHM).expect("an offset");
    assert_eq!(correction.offset, Offset::from_bits(5_000 * 256));
    assert_eq!(correction.offset_bound, Some(Voltage::from_nanovolts(121)));
    let rest = Correction {
        offset: Offset::NONE,
        offset_bound: None,
        ..correction
    };
    assert_eq!(rest, Correction::NONE);
}

/// 20 nA in 10 Ω ± 1 % that changes by 50 ppm/K × 40 K = 0.2 %: 200 nV × 1.01 × 2 × (1.002² − 1) =
/// 1.618 nV besides the 120.167 nV of noise.
#[test]
fn bias_in_a_great_resistor_widens_the_bound() {
    let resistor = SenseResistor::new(Resistance::from_ohms(10), Tolerance::from_percent(1))
        .with_temperature(50, 40_000);
    let rail = Rail::new(resistor).with_load(Load::smooth(Current::from_milliamps(2)));
    let correction = offset(&collected(0), &rail).expect("an offset");
    assert_eq!(correction.offset_bound, Some(Voltage::from_nanovolts(122)));
}

/// Offset 10 µV, 20 nA × 1 Ω × 1.002 × 1.005 = 20.14 nV, noise 120.17 nV: 10 140.3 nV. A code in
/// 4000 scans is 0.05 nV.
#[test]
fn an_offset_beyond_the_parts_limits_is_refused() {
    let found = |codes: i64| {
        let quarter = codes / 4;
        let last = codes - 3 * quarter;
        let stretches = [quarter, quarter, quarter, last].map(|codes| (1_000, codes));
        offset(&Paper::new().collect(&stretches), &ONE_OHM).map(|made| made.offset.to_bits())
    };
    assert_eq!(found(202_800), Ok(10_140 * 256));
    assert_eq!(found(-202_800), Ok(-10_140 * 256));
    let limit = Voltage::from_nanovolts(10_141);
    for codes in [202_820, -202_820] {
        let found_nv = codes / 20; // 10 141 nV
        assert_eq!(
            found(codes),
            Err(CalibrationError::ImplausibleOffset {
                found: Voltage::from_nanovolts(found_nv),
                limit
            })
        );
    }
    // 200 µV: a load that draws 0.2 mA still.
    assert_eq!(
        found(4_000_000),
        Err(CalibrationError::ImplausibleOffset {
            found: Voltage::from_microvolts(200),
            limit
        })
    );
}

/// 20 mA in 1 Ω show 20.060 mV above the offset: 2^30 ÷ 1.003 = 1 070 530 233.3. Offset 121 nV,
/// noise 120.2 nV, stability 50 nV and bias 0.1 nV are 14.52 ppm of it; with 100 ppm s = 114.52
/// ppm, s ÷ (1 − s) 114.53 ppm.
#[test]
fn a_gain_from_one_current() {
    let correction = gain_at(20_065, Current::from_milliamps(20)).expect("a gain");
    assert_eq!(correction.gain, Gain::from_bits(1_070_530_233));
    assert_eq!(ppm(&correction), 115);
    assert_eq!(correction.gain_range, Some(FINE));
    let offset = five_microvolts();
    assert_eq!(correction.offset, offset.offset);
    assert_eq!(correction.offset_bound, offset.offset_bound);
    // The other way round it is the same.
    let backwards = gain_at(-20_055, Current::from_milliamps(-20)).expect("a gain");
    assert_eq!(backwards.gain, correction.gain);
}

/// 50 ppm/K × 20 K = 1000 ppm more: s = 1114.5 ppm, 1115.8 ppm; on a bench that stays within 1 K,
/// 50 ppm more: 164.5 ppm.
#[test]
fn the_resistors_temperature_is_part_of_the_gains_bound() {
    let bound = |span_mk| {
        let resistor = SenseResistor::new(Resistance::from_ohms(1), Tolerance::from_ppm(5_000))
            .with_temperature(50, span_mk);
        let point = Point {
            collection: &collected(20_065),
            current: Current::from_milliamps(20),
            uncertainty: UNCERTAINTY,
        };
        ppm(&gain(&five_microvolts(), &point, &Rail::new(resistor)).expect("a gain"))
    };
    assert_eq!(bound(20_000), 1_116);
    assert_eq!(bound(1_000), 165);
}

/// Noise 14.7 ppm, reference 100 ppm, part 0.2 %, resistor 0.5 %: s = 7 114.6 ppm, s ÷ (1 − s) = 7
/// 165.6 ppm. 20 mV ÷ 19.858 mV is 7 150.8 ppm off 1, ÷ 19.857 mV 7 201.5 ppm.
#[test]
fn a_gain_beyond_part_and_resistor_is_refused() {
    let at = |microvolts| gain_at(microvolts, Current::from_milliamps(20));
    assert!(at(19_863).is_ok());
    assert_eq!(
        at(19_862),
        Err(CalibrationError::ImplausibleGain {
            found_ppm: 7_201,
            limit_ppm: 7_166
        })
    );
    // No current at all, and current the wrong way.
    for microvolts in [5, -20_000] {
        let refused = at(microvolts).unwrap_err();
        assert!(matches!(refused, CalibrationError::ImplausibleGain { .. }));
    }
}

/// 131 071 × 200 nV = 26.2142 mV over 1 Ω.
#[test]
fn references_lie_between_a_tenth_of_full_scale_and_all_of_it() {
    let at = |nanoamps| gain_at(nanoamps / 1_000 + 5, Current::from_nanoamps(nanoamps)).err();
    assert_eq!(at(2_621_420), None);
    assert_eq!(
        at(2_621_419),
        Some(CalibrationError::ReferenceTooSmall {
            least: Current::from_nanoamps(2_621_420)
        })
    );
    assert_eq!(at(-26_214_200), None);
    assert_eq!(
        at(-26_214_201),
        Some(CalibrationError::ReferenceTooGreat {
            greatest: Current::from_nanoamps(26_214_200)
        })
    );
}

#[test]
fn one_current_needs_an_offset() {
    let point = Point {
        collection: &collected(20_065),
        current: Current::from_milliamps(20),
        uncertainty: UNCERTAINTY,
    };
    let refused = gain(&Correction::NONE, &point, &ONE_OHM);
    assert_eq!(refused, Err(CalibrationError::NoOffset));
}

/// ±20 mA show 20.065 mV and −20.055 mV: the same gain, and an offset of 5 µV. Noise 120.2 nV,
/// stability 50 nV and bias 0.1 nV at either point are 8.49 ppm of 40.12 mV: 108.5 ppm. The offset:
/// 40.12 mV × ¼ × 200 ppm ÷ (1 − 100 ppm) = 2 006.2 nV, half of 2 × 170.3 nV, and 0.1 nV.
#[test]
fn two_currents_give_gain_and_offset() {
    let points = [(20_065, 20), (-20_055, -20)];
    for [one, other] in [points, [points[1], points[0]]] {
        let correction = line_at(one, other).expect("a line");
        assert_eq!(correction.gain, Gain::from_bits(1_070_530_233));
        assert_eq!(ppm(&correction), 109);
        assert_eq!(correction.offset, Offset::from_bits(5_000 * 256));
        assert_eq!(
            correction.offset_bound,
            Some(Voltage::from_nanovolts(2_177))
        );
        assert_eq!(correction.gain_range, Some(FINE));
    }
    // Both on the same side: 5.005 mV and 20.005 mV at 5 mA and 20 mA.
    let points = [(5_005, 5), (20_005, 20)];
    for [one, other] in [points, [points[1], points[0]]] {
        let correction = line_at(one, other).expect("a line");
        assert_eq!(correction.gain, Gain::ONE);
        assert_eq!(correction.offset, Offset::from_bits(5_000 * 256));
        // 15 mV × (5 × 20 ÷ 15²) × 200 ppm ÷ (1 − (5 + 20) ÷ 15 × 100 ppm) = 1 333.6 nV, 170.3 nV ×
        // (20 + 5) ÷ 15 = 283.8 nV, 0.1 nV.
        assert_eq!(
            correction.offset_bound,
            Some(Voltage::from_nanovolts(1_618))
        );
    }
}

#[test]
fn a_line_beyond_the_parts_offset_is_refused() {
    // The part's limit of 10 µV, 20.14 nV by the bias, and the line's bound of 2 176.6 nV.
    assert_eq!(
        line_at((20_080, 20), (-20_040, -20)),
        Err(CalibrationError::ImplausibleOffset {
            found: Voltage::from_microvolts(20),
            limit: Voltage::from_nanovolts(12_197)
        })
    );
}

#[test]
fn points_that_do_not_belong_together_are_refused() {
    assert_eq!(
        line_at((20_065, 20), (20_065, 20)),
        Err(CalibrationError::ReferenceTooSmall {
            least: Current::from_nanoamps(2_621_420)
        })
    );
    let fine = collected(20_065);
    let mut paper = Paper::new();
    paper.set_sense_range(COARSE);
    let coarse = paper.steady(-20_055 * 8_000); // codes of 500 nV
    let point = |collection, milliamps| Point {
        collection,
        current: Current::from_milliamps(milliamps),
        uncertainty: UNCERTAINTY,
    };
    let refused = line(&point(&fine, 20), &point(&coarse, -20), &ONE_OHM);
    assert_eq!(refused, Err(CalibrationError::DifferentInputs));
    let correction = gain(&five_microvolts(), &point(&coarse, -20), &ONE_OHM).expect("a gain");
    assert_eq!(correction.gain_range, Some(COARSE));
    assert_eq!(Collection::new(Channel::C0).scans(), 0);
}
