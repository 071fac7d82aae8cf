use crate::old::wide::{divided, over, times};
use crate::units::{Current, Resistance, Tolerance};

/// A sense resistor, with the limits that its maker states.
///
/// Sense resistors get hot: one at its rated power can burn, and a lead on it can carry all that the source can give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Shunt {
    resistance: Resistance,
    tolerance: Tolerance,
    temperature_coefficient_ppm_per_k: u32,
    temperature_span_mk: u32,
    thermal_resistance_mk_per_w: u32,
}

impl Shunt {
    /// Of this nominal resistance (100 µΩ to 10 Ω) and tolerance; temperature effects none until stated.
    #[must_use]
    pub const fn new(resistance: Resistance, tolerance: Tolerance) -> Self {
        Self {
            resistance,
            tolerance,
            temperature_coefficient_ppm_per_k: 0,
            temperature_span_mk: 0,
            thermal_resistance_mk_per_w: 0,
        }
    }

    /// Of a part that measures amperes by itself: 1 Ω, exactly, for its sense codes count amperes as if they were volts across that. What it may be off by stands in its
    /// [`Spec`](crate::old::part::Spec).
    #[must_use]
    pub const fn inside() -> Self {
        Self::new(Resistance::from_ohms(1), Tolerance::ZERO)
    }

    /// The same with a temperature coefficient of at most `ppm_per_k` in either direction, on a board that stays within `span_mk` thousandths of a
    /// kelvin of the temperature for which the nominal resistance holds.
    ///
    /// R(T) = R × (1 + coefficient × ΔT); IEC 60115-1 defines the coefficient.
    #[must_use]
    pub const fn with_temperature(mut self, ppm_per_k: u32, span_mk: u32) -> Self {
        self.temperature_coefficient_ppm_per_k = ppm_per_k;
        self.temperature_span_mk = span_mk;
        self
    }

    /// The same with a thermal resistance to its surroundings, in thousandths of a kelvin per watt: it heats itself by I²R times this.
    #[must_use]
    pub const fn with_self_heating(mut self, mk_per_w: u32) -> Self {
        self.thermal_resistance_mk_per_w = mk_per_w;
        self
    }

    /// Nominal resistance.
    #[must_use]
    pub const fn resistance(&self) -> Resistance {
        self.resistance
    }

    /// Greatest departure from it at the reference temperature, in either direction.
    #[must_use]
    pub const fn tolerance(&self) -> Tolerance {
        self.tolerance
    }

    /// Greatest relative change by temperature while no more than `greatest` flows, in either direction, in parts per thousand million, rounded up.
    ///
    /// `away_mk` is how far the board may be from the reference temperature; `None` takes the declared span.
    /// Coefficient × (ΔT + thermal resistance × I²R). Saturates at 100 %.
    #[must_use]
    pub const fn thermal_ppb(&self, greatest: Current, away_mk: Option<u32>) -> u32 {
        let away_mk = match away_mk {
            Some(mk) => mk,
            None => self.temperature_span_mk,
        };
        // nA² · nΩ = 1e-27 W. Each factor is cut to what a board can have, so nothing overflows: 2^50 squared times 2^34 would not fit, hence µA.
        let na = greatest.as_nanoamps().unsigned_abs() as u128;
        let ua = match divided(na, 1_000) {
            Some(ua) => ua,
            None => 0,
        };
        let square = times(&ua, &ua);
        let nano_micro_watts = times(&square, &(self.resistance.as_nanoohms() as u128)); // 1e-21 W
        let rise_mk = over(
            &nano_micro_watts,
            &(self.thermal_resistance_mk_per_w as u128),
            &1_000_000_000_000_000_000_000,
        );
        let total_mk = rise_mk.saturating_add(away_mk as u128);
        // ppm/K × mK = 1e-9.
        let ppb = times(&total_mk, &(self.temperature_coefficient_ppm_per_k as u128));
        if ppb > 1_000_000_000 {
            1_000_000_000
        } else {
            ppb as u32
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_milliohms_sixty_kelvin_up() {
        // 10 mΩ, 50 ppm/K, 60 K: +0.30 % (temperature coefficient of resistance, IEC 60115-1).
        let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::from_percent(1))
            .with_temperature(50, 60_000);
        assert_eq!(shunt.thermal_ppb(Current::ZERO, None), 3_000_000);
        assert_eq!(shunt.thermal_ppb(Current::ZERO, Some(1_000)), 50_000);
    }

    #[test]
    fn self_heating_adds_to_the_span() {
        // 5 A in 10 mΩ: 0.25 W (P = I²R); at 40 K/W a rise of 10 K, at 50 ppm/K 500 ppm.
        let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::from_percent(1))
            .with_temperature(50, 0)
            .with_self_heating(40_000);
        assert_eq!(shunt.thermal_ppb(Current::from_amps(5), None), 500_000);
    }
}
