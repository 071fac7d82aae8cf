use crate::convert::divided_up;
use crate::units::{Current, Resistance, Tolerance};

/// A sense resistor, with the limits that its maker states.
///
/// Sense resistors get hot: one at its rated power can burn, and a lead on it can carry all that
/// the source can give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SenseResistor {
    resistance: Resistance,
    tolerance: Tolerance,
    temperature_coefficient_ppm_per_k: u32,
    temperature_span_mk: u32,
    thermal_resistance_mk_per_w: u32,
}

impl SenseResistor {
    /// Of this nominal resistance (100 µΩ to 10 Ω) and tolerance; temperature effects none until
    /// stated.
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

    /// Of a part that measures amperes by itself: 1 Ω, exactly, for its sense codes count amperes
    /// as if they were volts across that. What it may be off by stands in its
    /// [`PartInfo`](crate::info::PartInfo).
    #[must_use]
    pub const fn inside() -> Self {
        Self::new(Resistance::from_ohms(1), Tolerance::ZERO)
    }

    /// The same with a temperature coefficient of at most `ppm_per_k` in either direction, on a
    /// board that stays within `span_mk` thousandths of a kelvin of the temperature for which the
    /// nominal resistance holds.
    ///
    /// R(T) = R × (1 + coefficient × ΔT); IEC 60115-1 defines the coefficient.
    #[must_use]
    pub const fn with_temperature(mut self, ppm_per_k: u32, span_mk: u32) -> Self {
        self.temperature_coefficient_ppm_per_k = ppm_per_k;
        self.temperature_span_mk = span_mk;
        self
    }

    /// The same with a thermal resistance to its surroundings, in thousandths of a kelvin per watt:
    /// it heats itself by I²R times this.
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

    /// Greatest relative change by temperature while no more than `greatest` flows, in either
    /// direction, in parts per thousand million, rounded up; 100 % at the most.
    ///
    /// Coefficient × (ΔT + thermal resistance × I²R).
    #[must_use]
    pub const fn thermal_ppb(&self, greatest: Current) -> u32 {
        // µA² × nΩ = 1e-21 W. A sense resistor is below 2^34 nΩ, and 2^46 µA is 70 MA: no overflow.
        let ua = divided_up(greatest.as_nanoamps().unsigned_abs() as u128, 1_000);
        let ua = if ua >> 46 == 0 { ua } else { (1 << 46) - 1 };
        let watts_e21 = (ua as u128)
            .wrapping_mul(ua as u128)
            .wrapping_mul(self.resistance.as_nanoohms() as u128);
        // In steps, so that the product with the thermal resistance fits: rounded up at 1e-9 W.
        let nanowatts = divided_up(watts_e21, 1_000_000_000_000) as u128;
        let rise_mk = nanowatts.wrapping_mul(self.thermal_resistance_mk_per_w as u128);
        let rise_mk = divided_up(rise_mk, 1_000_000_000);
        let total_mk = rise_mk.saturating_add(self.temperature_span_mk as u64);
        // ppm/K × mK = 1e-9.
        let ppb = total_mk.saturating_mul(self.temperature_coefficient_ppm_per_k as u64);
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
        let resistor =
            SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(1))
                .with_temperature(50, 60_000);
        assert_eq!(resistor.thermal_ppb(Current::ZERO), 3_000_000);
    }

    #[test]
    fn self_heating_adds_to_the_span() {
        // 5 A in 10 mΩ: 0.25 W (P = I²R); at 40 K/W a rise of 10 K, at 50 ppm/K 500 ppm.
        let resistor =
            SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(1))
                .with_temperature(50, 0)
                .with_self_heating(40_000);
        assert_eq!(resistor.thermal_ppb(Current::from_amps(5)), 500_000);
    }
}
