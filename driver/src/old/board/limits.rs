//! What datasheet, board and calibration leave open on one rail in one sense range: the ground that every bound stands on.

use super::Rail;
use crate::old::part::{SenseRange, Spec};
use crate::old::upper::Upper;
use crate::units::Voltage;

/// One, in parts per thousand million.
pub(crate) const PPB: u64 = 1_000_000_000;

/// Limits of error on a rail in one sense range, all magnitudes.
///
/// The shown current is `((true + bias) × gain + offset + noise) × correction`, so what is absolute counts as much more as the correction's gain is above 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct RailLimits {
    /// Gain of the part, or of the calibration.
    pub(crate) gain_ppb: u32,
    /// Tolerance of the sense resistor; 0 where the gain was calibrated.
    pub(crate) shunt_ppb: u32,
    /// Temperature of the sense resistor.
    pub(crate) thermal_ppb: u32,
    /// Offset, or what a zero calibration left and what came after it, as a sense voltage in nanovolts.
    pub(crate) offset: Upper,
    /// Input bias; 0 where the zero was calibrated.
    pub(crate) bias_na: u64,
    /// Noise of one conversion, r.m.s.
    noise_nv: u64,
    lsb_nv: u64,
    /// Correction's gain, where it is above 1.
    magnified: Upper,
}

impl RailLimits {
    /// Limits of a rail with whatever correction it has; `None` where the part has no such range.
    ///
    /// A gain belongs to the sense range it was measured in. In another the gains of both ranges are open besides; a correction whose range
    /// is not known is taken as measured in another. A value taken off or multiplied by without a known bound may be wrong in full.
    #[inline(never)]
    pub(crate) fn new(spec: &Spec, rail: &Rail, sense: SenseRange) -> Option<Self> {
        let range = spec.sense_range(sense)?;
        let (shunt, correction) = (rail.shunt(), rail.correction());
        let gain = u64::from(correction.gain.to_bits().max(1 << 30).unsigned_abs());
        let magnified = Upper::from(gain).shifted(-30);
        let (offset_nv, bias_na) = match correction.zero_bound {
            Some(bound) => (
                magnitude_nv(bound).saturating_add(magnitude_nv(spec.zero_stability)),
                0,
            ),
            None => (
                magnitude_nv(range.offset).saturating_add(
                    u64::from(correction.zero.to_bits().unsigned_abs()).div_ceil(256),
                ),
                spec.bias.as_nanoamps().unsigned_abs(),
            ),
        };
        let here_ppb = ppb(range.gain_ppm);
        let (gain_ppb, shunt_ppb) = match correction.gain_bound {
            Some(bound) if correction.gain_range == Some(sense) => (ppb(bound.as_ppm()), 0),
            Some(bound) => {
                let there = correction
                    .gain_range
                    .and_then(|range| spec.sense_range(range));
                let there_ppb = there.map_or_else(|| gain_max_ppb(spec), |at| ppb(at.gain_ppm));
                let open = compound(&[ppb(bound.as_ppm()), here_ppb], &[there_ppb]);
                (open, 0)
            }
            None => {
                let off = u64::from(correction.gain.to_bits().abs_diff(1 << 30));
                // 32 by 30 bits.
                let off_ppb = off.wrapping_mul(PPB).div_ceil(1 << 30);
                let open = compound(&[here_ppb, off_ppb], &[]);
                (open, ppb(shunt.tolerance().as_ppm()))
            }
        };
        // More than 100 % is as much as there can be.
        let cut = |ppb: u64| u32::try_from(ppb).unwrap_or(u32::MAX);
        Some(Self {
            gain_ppb: cut(gain_ppb),
            shunt_ppb: cut(shunt_ppb),
            thermal_ppb: rail.thermal_ppb(),
            offset: Upper::from(offset_nv).times(magnified),
            bias_na,
            noise_nv: magnitude_nv(range.noise),
            lsb_nv: range.lsb_nv(spec.sense_unit_nv),
            magnified,
        })
    }

    /// Noise and rounding to codes of a mean over some rounds, as a sense voltage in nanovolts: a day's mean is below one.
    pub(crate) fn noise(&self, rounds: u64) -> Upper {
        let mean = averaged(self.noise_nv, self.lsb_nv, rounds);
        mean.times(self.magnified)
    }

    /// Half a code: what the part's own rounding of a mean adds, as a sense voltage in nanovolts.
    pub(crate) fn half_code(&self) -> Upper {
        Upper::from(self.lsb_nv).times(self.magnified).shifted(-1)
    }

    /// One less the sum of the relative limits.
    ///
    /// Shown = true × (1 + r) + o, where 1 + r is a product of factors within 1 ± each limit and o the sum of what is absolute. With ρ the sum of the
    /// relative limits, 1 + r ≥ 1 − ρ, and |shown − true| ≤ (ρ |shown| + |o|) ÷ (1 − ρ): for r < 0 at once, and for r > 0 since then r ÷ (1 + r) ≤ ρ ÷ (1 − ρ), products of limits included.
    pub(crate) fn rest_ppb(&self) -> u64 {
        PPB.saturating_sub(u64::from(self.gain_ppb))
            .saturating_sub(u64::from(self.shunt_ppb))
            .saturating_sub(u64::from(self.thermal_ppb))
    }
}

/// The greatest gain error among the part's sense ranges.
pub(crate) fn gain_max_ppb(spec: &Spec) -> u64 {
    let greatest = spec.sense.iter().map(|range| range.gain_ppm).max();
    ppb(greatest.unwrap_or_default())
}

/// Noise of a mean in nanovolts: six times r.m.s., and rounding to codes. Where noise is too small to stir the codes (below half an LSB) rounding does not average out.
///
/// Rounding of a stirred code is uniform with LSB/√12 r.m.s. (GUM F.2.2.1), 6/√12 < 2.
#[inline(never)]
pub(crate) fn averaged(noise_nv: u64, lsb_nv: u64, rounds: u64) -> Upper {
    let one = noise_nv.saturating_mul(6);
    let twice_lsb = lsb_nv.saturating_mul(2);
    let share = Upper::from(1).over(rounds.max(1)).root();
    if noise_nv.saturating_mul(2) >= lsb_nv {
        Upper::from(one.saturating_add(twice_lsb)).times(share)
    } else {
        let half = Upper::from(lsb_nv).shifted(-1);
        Upper::from(one).times(share).plus(half)
    }
}

/// `Π (1 + x) ÷ Π (1 − y) − 1`, rounded up: how far a product of factors within 1 ± x, divided by some within 1 ± y, can lie from 1 on either side.
///
/// Worked out as what is added to 1, for that is what counts: (1 + f)(1 + x) − 1 = f + x + fx, and (1 + f) ÷ (1 − y) − 1 = (f + y) ÷ (1 − y).
#[inline(never)]
pub(crate) fn compound(factors_ppb: &[u64], divisors_ppb: &[u64]) -> u64 {
    let mut open = Upper::ZERO;
    for factor in factors_ppb {
        let factor = Upper::from(*factor);
        open = open.plus(factor).plus(open.times(factor).over(PPB));
    }
    for divisor in divisors_ppb {
        let rest = PPB.saturating_sub(*divisor);
        open = open
            .plus(Upper::from(*divisor))
            .times(Upper::from(PPB))
            .over(rest);
    }
    u64::try_from(open.whole()).unwrap_or(u64::MAX)
}

pub(crate) fn ppb(ppm: u32) -> u64 {
    u64::from(ppm).wrapping_mul(1_000) // 32 by 10 bits
}

pub(crate) fn magnitude_nv(voltage: Voltage) -> u64 {
    voltage.as_nanovolts().unsigned_abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::old::board::{Correction, Gain, Load, Shunt, Zero};
    use crate::old::part::corncrake::{SENSE_26_MV, SENSE_65_MV, SPEC};
    use crate::units::{Current, Resistance, Tolerance};

    fn limits(correction: Correction, sense: SenseRange) -> RailLimits {
        let shunt = Shunt::new(Resistance::from_ohms(1), Tolerance::from_percent(1))
            .with_temperature(50, 60_000);
        let mut rail = Rail::new(shunt, Load::smooth(Current::from_milliamps(20)));
        rail.correction = correction;
        RailLimits::new(&SPEC, &rail, sense).unwrap()
    }

    /// Section 7: gain ±0.20 %, offset ±10 µV, bias ±20 nA; 1 % resistor, 50 ppm/K × 60 K.
    #[test]
    fn without_calibration_the_makers_limits_hold() {
        let limits = limits(Correction::NONE, SENSE_26_MV);
        assert_eq!(limits.gain_ppb, 2_000_000);
        assert_eq!(limits.shunt_ppb, 10_000_000);
        assert_eq!(limits.thermal_ppb, 3_000_000);
        assert_eq!((limits.offset.whole(), limits.bias_na), (10_000, 20));
        assert_eq!(limits.rest_ppb(), 985_000_000);
    }

    /// Section 7: 6 × 1.2 µV and two LSBs of 200 nV, over √2000: 169.9 nV; over √4000: 120.2 nV.
    #[test]
    fn noise_falls_with_the_root_of_the_rounds() {
        let limits = limits(Correction::NONE, SENSE_26_MV);
        assert_eq!(limits.noise(1).whole(), 7_600);
        assert_eq!(limits.noise(2_000).whole(), 170);
        assert_eq!(limits.noise(4_000).whole(), 121);
        assert_eq!(limits.half_code().whole(), 100);
    }

    /// (1 + 100 ppm)(1 + 0.2 %) ÷ (1 − 0.2 %) − 1 = 0.004 108 416 834 (rational arithmetic), where the gain of the other range is drawn anew.
    #[test]
    fn a_gain_of_another_range_leaves_both_gains_open() {
        let measured = |gain_range| Correction {
            gain_bound: Some(Tolerance::from_ppm(100)),
            gain_range,
            ..Correction::NONE
        };
        assert_eq!(
            limits(measured(Some(SENSE_26_MV)), SENSE_26_MV).gain_ppb,
            100_000
        );
        for gain_range in [Some(SENSE_26_MV), Some(SenseRange(9)), None] {
            let limits = limits(measured(gain_range), SENSE_65_MV);
            assert_eq!((limits.gain_ppb, limits.shunt_ppb), (4_108_417, 0));
        }
    }

    #[test]
    fn a_gain_above_one_magnifies_what_is_absolute() {
        let limits = limits(
            Correction {
                gain: Gain::from_bits((1 << 30) + (1 << 25)), // 1 + 1/32
                gain_bound: Some(Tolerance::from_ppm(100)),
                gain_range: Some(SENSE_26_MV),
                zero_bound: Some(Voltage::from_nanovolts(110)),
                ..Correction::NONE
            },
            SENSE_26_MV,
        );
        assert_eq!(limits.offset.whole(), 165); // (110 + 50) × 33/32
        assert_eq!(limits.noise(1).whole(), 7_838); // 7 600 × 33/32 = 7 837.5
    }

    /// Taking something off without knowing how well it is known can only make things worse.
    #[test]
    fn a_correction_without_a_bound_counts_in_full() {
        let limits = limits(
            Correction {
                zero: Zero::from_bits(-256 * 500),
                gain: Gain::from_bits((1 << 30) - (1 << 20)), // 1 − 976.5625 ppm
                ..Correction::NONE
            },
            SENSE_26_MV,
        );
        assert_eq!(limits.offset.whole(), 10_500);
        // (1 + 0.2 %)(1 + 976.5625 ppm) − 1.
        assert_eq!(limits.gain_ppb, 2_978_517);
    }
}
