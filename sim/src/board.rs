//! The sense resistor between a rail's source and its load.

use crate::rng::Rng;

/// A sense resistor: what its maker promises, and one individual of it.
///
/// Its resistance at a current I is `R0 (1 + tolerance) (1 + coefficient (ambient - reference +
/// thermal resistance × I² R0))`: self-heating is instantaneous. Built ideal and refined step by
/// step; [`individual_from`](Self::individual_from) then picks an individual:
///
/// ```
/// use crake_sim::{board::SenseResistor, rng::Rng};
///
/// let exact = SenseResistor::ideal(10_000_000); // 10 mΩ
/// assert_eq!(exact.ohms(1e9), 0.01);
///
/// let limits = exact.tolerance_ppm(5_000).coefficient_ppm_per_k(50);
/// let real = limits.individual_from(&mut Rng::new(1));
/// assert!((real.ohms(0.0) / 0.01 - 1.0).abs() <= 0.005);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SenseResistor {
    nominal_nano_ohms: u64,
    tolerance_limit_ppm: u32,
    coefficient_limit_ppm_per_k: u32,
    thermal_mk_per_w: u32,
    reference_m_celsius: i32,
    ambient_m_celsius: i32,
    tolerance: f64,
    coefficient_per_k: f64,
    /// What faults make of it: 1 for a sound one.
    scale: f64,
    curve: Curve,
}

/// Ohms as a polynomial of the current in amperes: constant and quadratic part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Curve {
    cold_ohms: f64,
    heat_ohms_per_a2: f64,
}

impl SenseResistor {
    /// A resistor of exactly `nominal_nano_ohms` at every temperature.
    pub fn ideal(nominal_nano_ohms: u64) -> Self {
        Self {
            nominal_nano_ohms,
            tolerance_limit_ppm: 0,
            coefficient_limit_ppm_per_k: 0,
            thermal_mk_per_w: 0,
            reference_m_celsius: 25_000,
            ambient_m_celsius: 25_000,
            tolerance: 0.0,
            coefficient_per_k: 0.0,
            scale: 1.0,
            curve: Curve::default(),
        }
        .settled()
    }

    /// Greatest departure from nominal at the reference temperature, in parts per million of
    /// nominal, either sign.
    #[must_use]
    pub fn tolerance_ppm(mut self, limit: u32) -> Self {
        self.tolerance_limit_ppm = limit;
        self
    }

    /// Greatest temperature coefficient in parts per million per kelvin, either sign.
    #[must_use]
    pub fn coefficient_ppm_per_k(mut self, limit: u32) -> Self {
        self.coefficient_limit_ppm_per_k = limit;
        self
    }

    /// Heating by its own loss, in millikelvin per watt. The same for every individual.
    #[must_use]
    pub fn thermal_resistance_mk_per_w(mut self, millikelvin_per_watt: u32) -> Self {
        self.thermal_mk_per_w = millikelvin_per_watt;
        self.settled()
    }

    /// Temperature at which the tolerance is stated, in thousandths of a degree Celsius; 25 °C if
    /// not set.
    #[must_use]
    pub fn reference_m_celsius(mut self, m_celsius: i32) -> Self {
        self.reference_m_celsius = m_celsius;
        self.settled()
    }

    /// Temperature around it, in thousandths of a degree Celsius; 25 °C if not set.
    #[must_use]
    pub fn ambient_m_celsius(mut self, m_celsius: i32) -> Self {
        self.ambient_m_celsius = m_celsius;
        self.settled()
    }

    /// An individual whose tolerance and coefficient come from `rng`, spread evenly within the
    /// limits.
    #[must_use]
    pub fn individual_from(self, rng: &mut Rng) -> Self {
        let tolerance = rng.rectangular(f64::from(self.tolerance_limit_ppm) / 1e6);
        let coefficient = rng.rectangular(f64::from(self.coefficient_limit_ppm_per_k) / 1e6);
        self.individual(tolerance, coefficient)
    }

    /// The individual with exactly this `tolerance` (0.001 is +0.1 % of nominal) and temperature
    /// coefficient per kelvin, inside the limits or not: for worst cases chosen by hand.
    #[must_use]
    pub fn individual(mut self, tolerance: f64, coefficient_per_k: f64) -> Self {
        self.tolerance = tolerance;
        self.coefficient_per_k = coefficient_per_k;
        self.settled()
    }

    /// What the part's inputs see is so many times the sound one's: below 0 with swapped leads, 0
    /// with an open one.
    pub(crate) fn set_scale(&mut self, scale: f64) {
        self.scale = scale;
        *self = self.settled();
    }

    /// What is printed on it, in nano-ohms.
    pub fn nominal_nano_ohms(&self) -> u64 {
        self.nominal_nano_ohms
    }

    /// Its resistance in ohms while `current_na` nanoamperes flow.
    #[inline]
    pub fn ohms(&self, current_na: f64) -> f64 {
        let amperes = current_na / 1e9;
        self.curve.cold_ohms + self.curve.heat_ohms_per_a2 * amperes * amperes
    }

    fn settled(mut self) -> Self {
        let nominal_ohms = self.nominal_nano_ohms as f64 / 1e9;
        let base_ohms = nominal_ohms * (1.0 + self.tolerance) * self.scale;
        let warmer_k =
            (f64::from(self.ambient_m_celsius) - f64::from(self.reference_m_celsius)) / 1e3;
        let per_w = self.coefficient_per_k * f64::from(self.thermal_mk_per_w) / 1e3;
        self.curve = Curve {
            cold_ohms: base_ohms * (1.0 + self.coefficient_per_k * warmer_k),
            heat_ohms_per_a2: base_ohms * per_w * (nominal_ohms * self.scale.abs()),
        };
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64) -> bool {
        (a / b - 1.0).abs() < 1e-12
    }

    // 10 mΩ +1 %, 100 ppm/K, 40 K above reference, 50 K/W at 10 A, worked out by hand: 1 W of loss
    // at the nominal heats by 50 K, so 0.01 x 1.01 x (1 + 1e-4 x 90) = 0.0101 x 1.009 = 0.0101909
    // Ω.
    #[test]
    fn self_heating_adds_to_ambient() {
        let r = SenseResistor::ideal(10_000_000)
            .thermal_resistance_mk_per_w(50_000)
            .ambient_m_celsius(65_000)
            .individual(0.01, 1e-4);
        assert!(close(r.ohms(10e9), 0.010_190_9), "{}", r.ohms(10e9));
        assert!(close(r.ohms(-10e9), 0.010_190_9));
        assert!(close(r.ohms(0.0), 0.010_1 * 1.004));
        assert!(close(r.reference_m_celsius(65_000).ohms(0.0), 0.010_1));
        assert_eq!(r.nominal_nano_ohms(), 10_000_000);
    }

    /// A resistor of twice the value is the same as one that was sold so, warm or not; swapped
    /// leads turn its sign.
    #[test]
    fn a_resistor_at_fault_heats_as_what_it_is() {
        let of = |nano_ohms| {
            SenseResistor::ideal(nano_ohms)
                .thermal_resistance_mk_per_w(50_000)
                .ambient_m_celsius(65_000)
                .individual(0.01, 1e-4)
        };
        let (mut other, sold) = (of(10_000_000), of(20_000_000));
        for (scale, sign) in [(2.0, 1.0), (-2.0, -1.0)] {
            other.set_scale(scale);
            for current_na in [0.0, 10e9] {
                assert!(close(other.ohms(current_na), sign * sold.ohms(current_na)));
            }
        }
        other.set_scale(1.0);
        assert_eq!(other, of(10_000_000));
    }

    #[test]
    fn an_ideal_resistor_is_its_nominal_at_any_current_and_temperature() {
        let r = SenseResistor::ideal(500_000)
            .thermal_resistance_mk_per_w(90_000)
            .ambient_m_celsius(85_000);
        assert_eq!(r.ohms(0.0), 0.000_5);
        assert_eq!(r.ohms(1e11), 0.000_5);
    }

    /// No tolerance, no heating, 25 °C around it and as its reference.
    #[test]
    fn what_is_not_set_changes_nothing() {
        let exact = SenseResistor::ideal(10_000_000);
        assert_eq!(exact.individual_from(&mut Rng::new(1)), exact);
        let steep = exact.individual(0.0, 1e-3);
        assert_eq!((steep.ohms(0.0), steep.ohms(10e9)), (0.01, 0.01));
        let (hot, cold) = (
            steep.ambient_m_celsius(26_000),
            steep.reference_m_celsius(26_000),
        );
        assert!(close(hot.ohms(0.0), 0.01 * 1.001));
        assert!(close(cold.ohms(0.0), 0.01 * 0.999));
    }

    #[test]
    fn individuals_fill_their_limits() {
        let limits = SenseResistor::ideal(1_000_000_000)
            .tolerance_ppm(1_000)
            .coefficient_ppm_per_k(20);
        let mut rng = Rng::new(5);
        let (mut least, mut greatest) = ([0.0_f64; 2], [0.0_f64; 2]);
        for _ in 0..1_000 {
            let r = limits.individual_from(&mut rng);
            // Shares of the limits.
            let shares = [r.tolerance / 1e-3, r.coefficient_per_k / 20e-6];
            assert!(shares.iter().all(|share| share.abs() <= 1.0));
            for (at, share) in shares.into_iter().enumerate() {
                least[at] = least[at].min(share);
                greatest[at] = greatest[at].max(share);
            }
        }
        assert!(least.iter().all(|&share| share < -0.99), "{least:?}");
        assert!(greatest.iter().all(|&share| share > 0.99), "{greatest:?}");
        assert_eq!(
            limits.individual_from(&mut Rng::new(6)),
            limits.individual_from(&mut Rng::new(6))
        );
    }
}
