use schemars::JsonSchema;
use serde::Serialize;

use super::Demands;
use crake::units::Resistance;

/// What the greatest current makes of a resistor.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Heat {
    /// Voltage across it, at the greatest resistance that it may have.
    pub burden_v: f64,
    /// Power that it turns into heat, likewise.
    pub dissipation_w: f64,
    /// Power that its maker should rate it for: twice the dissipation, over what is left of the
    /// rating at the greatest ambient temperature.
    ///
    /// Use of half the rating, and a rating that holds up to 70 °C and falls in a straight line to
    /// nothing at 155 °C: common practice, no source. The maker's own curve rules.
    pub rating_w: Option<f64>,
    /// How much warmer than its surroundings it gets.
    pub rise_k: f64,
    /// Its temperature where it is warmest.
    pub hottest_c: f64,
    /// How far its own heat takes its resistance, as a share.
    pub drift: f64,
}

/// Where ratings begin to fall, and where nothing is left of them.
const DERATED_FROM_C: f64 = 70.0;
pub(super) const DERATED_TO_C: f64 = 155.0;

impl Heat {
    /// `greatest_share` is how much greater than nominal the resistance may be.
    pub(super) fn of(demands: &Demands, nominal: Resistance, greatest_share: f64) -> Self {
        let nominal_ohm = nominal.as_nanoohms() as f64 / 1e9;
        let amps = demands.greatest.as_nanoamps() as f64 / 1e9;
        let ohm = nominal_ohm * (1.0 + greatest_share);
        let kinds = &demands.resistors;
        let kelvin_per_watt = f64::from(kinds.thermal_mk_per_w) / 1e3;
        let dissipation_w = amps * amps * ohm;
        let rise_k = dissipation_w * kelvin_per_watt;
        let ambient_c = f64::from(demands.ambient_mc.1) / 1e3;
        let left = (DERATED_TO_C - ambient_c) / (DERATED_TO_C - DERATED_FROM_C);
        Self {
            burden_v: amps * ohm,
            dissipation_w,
            rating_w: (left > 0.0).then(|| 2.0 * dissipation_w / left.min(1.0)),
            rise_k,
            hottest_c: ambient_c + rise_k,
            drift: rise_k * f64::from(kinds.coefficient_ppm_per_k) / 1e6,
        }
    }
}
