use crake::info::PartInfo;
use crake::units::Resistance;
use schemars::JsonSchema;
use serde::Serialize;

/// A low-pass at the sense input: a resistor in each lead, and a capacitor across both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Filter {
    /// Each of the two resistors.
    pub each: Resistance,
    /// The capacitor in picofarads.
    pub capacitance_pf: u64,
}

/// How a filter compares with the converter's aperture, over which it takes the mean by itself.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Corner {
    /// The filter's corner: half the power gets through.
    pub corner_hz: f64,
    /// The same of a mean over one conversion: 0.443 over its length (sin x = x ÷ √2 at x =
    /// 1.3916 = π × 0.443).
    pub aperture_hz: f64,
    /// How many conversions a step of full scale takes to settle within one code.
    pub settling_conversions: f64,
}

impl Filter {
    /// Against one conversion of this part.
    #[must_use]
    pub fn corner(&self, info: &PartInfo) -> Corner {
        let ohm = 2.0 * self.each.as_nanoohms() as f64 / 1e9;
        let time_s = ohm * self.capacitance_pf as f64 / 1e12;
        let conversion_s = f64::from(info.conversion_ns) / 1e9;
        let codes = info.sense_ranges.iter().map(|range| range.code_max).max();
        Corner {
            corner_hz: 1.0 / (core::f64::consts::TAU * time_s),
            aperture_hz: 0.443 / conversion_s,
            settling_conversions: time_s * f64::from(codes.unwrap_or(1)).ln() / conversion_s,
        }
    }
}
