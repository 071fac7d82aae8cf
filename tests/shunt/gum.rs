//! The root of the sum of squares against figures worked out with another library.

use crake::info::{PartInfo, RangeErrors, RangeInfo};
use crake::units::{Current, Voltage};
use crake_sim::shunt::{Candidate, Demands, Resistors};

/// Codes so fine that rounding to them does not count.
const SENSE_UNIT: Voltage = Voltage::from_nanovolts(1);
const RAIL_UNIT: Voltage = Voltage::from_microvolts(1);
const RANGES: [RangeInfo; 1] = [RangeInfo::new(SENSE_UNIT, 1, -100_000_000, 100_000_000)];
const RAILS: [RangeInfo; 1] = [RangeInfo::new(RAIL_UNIT, 1, 0, 20_000_000)];

/// Offsets of ±50 µV and ±12 mV, nothing else.
static PART: PartInfo = PartInfo {
    name: "of two offsets",
    channels: 1,
    sense_unit: SENSE_UNIT,
    rail_unit: RAIL_UNIT,
    sense_ranges: &RANGES,
    rail_ranges: &RAILS,
    sense_errors: &[RangeErrors::new(
        0,
        Voltage::from_microvolts(50),
        Voltage::ZERO,
    )],
    rail_errors: &[RangeErrors::new(
        0,
        Voltage::from_millivolts(12),
        Voltage::ZERO,
    )],
    ..PartInfo::PLAIN
};

/// V = 12 V ± 12 mV, sense voltage 50 mV ± 50 µV, R = 10 mΩ ± 1 %, all rectangular and independent:
/// I = 5 A, u = 0.029 011 A; P = 60 W, u = 0.349 857 W, U (k = 2) = 0.699 71 W. By GTC 1.5.1, a
/// library for the GUM.
#[test]
fn a_rail_worked_out_by_a_library_for_the_gum() {
    let currents = (Current::from_amps(1), Current::from_amps(5));
    let mut demands = Demands::new(&PART, Voltage::from_volts(12), currents, 200_000);
    demands.resistors = Resistors {
        tolerance_ppm: 10_000,
        coefficient_ppm_per_k: 0,
        thermal_mk_per_w: 0,
    };
    let candidate = Candidate::new(&demands, 10_000_000);
    let budget = candidate
        .budget(&demands, Current::from_amps(5))
        .expect("a range");
    let close = |worked: f64, published: f64| {
        let off = (worked - published).abs();
        assert!(off < 5e-7, "{worked} for {published}");
    };
    close(budget.current_a.value, 5.0);
    close(budget.current_a.standard, 0.029_011);
    close(budget.power_w.value, 60.0);
    close(budget.power_w.standard, 0.349_857);
    assert!((budget.power_w.expanded - 0.699_71).abs() < 5e-6);
    // An hour of it, and ±50 ppm of the clock, rectangular, which is 1000 times less.
    assert!((budget.energy_j.standard / 3_600.0 / 0.349_857 - 1.0).abs() < 1e-4);
}
