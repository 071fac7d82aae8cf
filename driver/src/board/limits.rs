//! What datasheet, board and calibration leave open on one rail: the ground that every bound stands
//! on.
//!
//! With ρ the sum of all relative limits and o the sum of all absolute ones, `|shown − true| ≤ (ρ ×
//! |shown| + o) ÷ (1 − ρ)`. For shown = true × F + e, where F is a product of factors 1 + r and
//! divisors 1 + r whose |r| add up to at most ρ, and |e| ≤ o: F ≥ 1 − ρ and F ≤ 1 ÷ (1 − ρ), so |F
//! − 1| ÷ F ≤ ρ ÷ (1 − ρ), and shown − true = shown × (F − 1) ÷ F + e ÷ F.

use super::Rail;
use crate::convert::{divided_up, root, times};
use crate::info::PartInfo;
use crate::units::Voltage;

/// One, in parts per thousand million.
pub(crate) const PPB: u64 = 1_000_000_000;

/// Limits of error of the current on a rail in one sense range.
///
/// All are magnitudes, never less than the limit. Absolute ones are sense voltages in picovolts as
/// the part shows them: what they make of a current is [`magnified`](Self::magnified) by the
/// correction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct SenseLimits {
    /// Gain of the part, or of the calibration. It is constant: it counts for net totals.
    pub(crate) gain_ppb: u32,
    /// Tolerance of the sense resistor, constant; 0 where the gain was calibrated.
    pub(crate) resistor_ppb: u32,
    /// Temperature of the sense resistor. It changes: it counts for what was turned over.
    pub(crate) thermal_ppb: u32,
    /// Offset, or what an offset calibration left and what came after it.
    pub(crate) offset_pv: u64,
    /// Input bias through the sense resistor; 0 where the offset was calibrated.
    pub(crate) bias_pv: u64,
    /// Noise and rounding of conversions.
    pub(crate) noise: Noise,
    /// The correction's gain in 2^-30.
    gain: i32,
}

/// Limits of error of the rail voltage in one range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct VoltageLimits {
    /// Gain of the part.
    pub(crate) gain_ppb: u32,
    /// Offset.
    pub(crate) offset_pv: u64,
    /// Noise and rounding of conversions.
    pub(crate) noise: Noise,
}

/// Noise of conversions and their rounding to codes, in picovolts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Noise {
    /// Six times r.m.s. of one conversion.
    six_pv: u64,
    /// Rounding that falls with the root of the number of conversions, as noise does.
    falling_pv: u64,
    /// Rounding that does not.
    staying_pv: u64,
    /// Half a code.
    pub(crate) half_code_pv: u64,
}

impl SenseLimits {
    /// Limits of a rail with whatever correction it has; `None` where the part has no such range.
    ///
    /// A gain belongs to the sense range that it was measured in. In another, the gains of both
    /// ranges are open besides; a correction whose range is not known is taken as measured in
    /// another. What is taken off or multiplied by without a known bound may be wrong in full.
    pub(crate) const fn new(info: &PartInfo, rail: &Rail, sense: u8) -> Option<Self> {
        let (Some(here), Some(range)) =
            (at(info.sense_errors, sense), at(info.sense_ranges, sense))
        else {
            return None;
        };
        let lsb_nv = range.lsb_nv(info.sense_unit);
        let correction = rail.correction();
        let gain = correction.gain.to_bits();
        let (offset, bias_pv, taken_off) = match correction.offset_bound {
            Some(bound) => (bound.saturating_add(info.offset_stability), 0, 0),
            None => (
                here.offset,
                bias_pv(info, rail),
                correction.offset.to_bits().unsigned_abs(),
            ),
        };
        // What is taken off each code is rounded to a 256th of a sense unit.
        let rounded_pv = match correction.offset.to_bits() {
            0 => 0,
            _ => pv(info.sense_unit).div_ceil(512),
        };
        let (open_ppm, off_ppb, resistor_ppm) = match (correction.gain_bound, correction.gain_range)
        {
            (Some(bound), Some(there)) if there == sense => (bound.as_ppm(), 0, 0),
            (Some(bound), there) => {
                let both_ppm = here.gain_ppm.saturating_add(gain_ppm_of(info, there));
                (bound.as_ppm().saturating_add(both_ppm), 0, 0)
            }
            (None, _) => {
                let tolerance = rail.resistor().tolerance();
                (here.gain_ppm, off_one_ppb(gain), tolerance.as_ppm())
            }
        };
        Some(Self {
            gain_ppb: ppb(open_ppm).saturating_add(off_ppb),
            resistor_ppb: ppb(resistor_ppm),
            thermal_ppb: rail.thermal_ppb(),
            offset_pv: pv(offset)
                .saturating_add(up_256(taken_off))
                .saturating_add(rounded_pv),
            bias_pv,
            noise: Noise::new(lsb_nv, here.noise),
            gain,
        })
    }

    /// Sum of the relative limits, ρ.
    pub(crate) fn relative_ppb(&self) -> u64 {
        [self.gain_ppb, self.resistor_ppb, self.thermal_ppb]
            .iter()
            .fold(0, |sum: u64, ppb| sum.wrapping_add(u64::from(*ppb)))
    }

    /// Sum of the absolute limits of a mean over so many conversions, as much greater as the
    /// correction's gain is above 1; in picovolts.
    pub(crate) fn absolute_pv(&self, conversions: u64) -> u64 {
        let constant = self.offset_pv.saturating_add(self.bias_pv);
        self.magnified(constant.saturating_add(self.noise.of_mean(conversions)))
    }

    /// A sense voltage, as much greater as the correction's gain is above 1; rounded up.
    pub(crate) const fn magnified(&self, pv: u64) -> u64 {
        match self.gain.checked_sub(1 << 30) {
            Some(above @ 1..) => {
                let more = times(pv, above as u32) >> 30;
                pv.saturating_add(more as u64).saturating_add(1) // less than twice
            }
            _ => pv,
        }
    }
}

impl VoltageLimits {
    /// `None` where the part has no such range.
    pub(crate) const fn new(info: &PartInfo, rail: u8) -> Option<Self> {
        let (Some(here), Some(range)) = (at(info.rail_errors, rail), at(info.rail_ranges, rail))
        else {
            return None;
        };
        let lsb_nv = range.lsb_nv(info.rail_unit);
        Some(Self {
            gain_ppb: ppb(here.gain_ppm),
            offset_pv: pv(here.offset),
            noise: Noise::new(lsb_nv, here.noise),
        })
    }
}

impl Noise {
    /// Six times r.m.s., and rounding to codes.
    ///
    /// Where noise stirs the codes, which is from half an LSB r.m.s. on, rounding is uniform with
    /// LSB ÷ √12 r.m.s. (GUM, F.2.2.1) and averages out, too; 6 ÷ √12 < 2. Less noise leaves half
    /// an LSB for good.
    #[inline(never)] // linked once
    pub(crate) const fn new(lsb_nv: u64, rms: Voltage) -> Self {
        let (lsb_pv, rms_pv) = (lsb_nv.saturating_mul(1_000), pv(rms));
        let half_code_pv = lsb_pv.div_ceil(2);
        let (falling_pv, staying_pv) = if rms_pv.saturating_mul(2) >= lsb_pv {
            (lsb_pv.saturating_mul(2), 0)
        } else {
            (0, half_code_pv)
        };
        Self {
            six_pv: rms_pv.saturating_mul(6),
            falling_pv,
            staying_pv,
            half_code_pv,
        }
    }

    /// Of a mean over so many conversions, at least one, worked out exactly from their codes: noise
    /// and rounding together, in picovolts, rounded up.
    pub(crate) fn of_mean(&self, conversions: u64) -> u64 {
        over_root(self.falling_pv(), conversions).saturating_add(self.staying_pv)
    }

    /// What falls with the root of the number of conversions, of a single one; in picovolts.
    pub(crate) const fn falling_pv(&self) -> u64 {
        self.six_pv.saturating_add(self.falling_pv)
    }

    /// What does not; in picovolts.
    pub(crate) const fn staying_pv(&self) -> u64 {
        self.staying_pv
    }

    /// The same apart: noise, and rounding.
    pub(crate) fn parts_of_mean(&self, conversions: u64) -> (u64, u64) {
        let rounding_pv = over_root(self.falling_pv, conversions);
        (
            over_root(self.six_pv, conversions),
            rounding_pv.saturating_add(self.staying_pv),
        )
    }
}

/// A magnitude over the root of a number of at least one, rounded up.
#[inline(never)] // linked once
fn over_root(pv: u64, number: u64) -> u64 {
    let number = if number == 0 { 1 } else { number };
    // The root of 62 bits or more, with an even number of places too many.
    let places = number.leading_zeros() & 0b11_1110;
    let root = root(number << places) as u64;
    divided_up((pv as u128) << (places / 2), root)
}

/// How far a gain in 2^-30 is from 1, in parts per thousand million, rounded up.
pub(crate) const fn off_one_ppb(gain: i32) -> u32 {
    let off = gain.abs_diff(1 << 30) as u64; // 32 by 30 bits, so that 32 remain
    off.wrapping_mul(PPB).div_ceil(1 << 30) as u32
}

/// A limit in parts per million; more than 429 % is as much as that.
pub(crate) const fn ppb(ppm: u32) -> u32 {
    ppm.saturating_mul(1_000)
}

/// A voltage's magnitude in picovolts.
#[inline(never)] // linked once
pub(crate) const fn pv(voltage: Voltage) -> u64 {
    voltage.as_nanovolts().unsigned_abs().saturating_mul(1_000)
}

/// The entry at a place of a table; `None` where there is none.
pub(crate) const fn at<T>(table: &[T], place: u8) -> Option<&T> {
    match table.split_at_checked(place as usize) {
        Some((_, rest)) => rest.first(),
        None => None,
    }
}

/// Greatest gain error in the sense range at this place, or in any where that is not known.
pub(crate) const fn gain_ppm_of(info: &PartInfo, place: Option<u8>) -> u32 {
    if let Some(place) = place
        && let Some(range) = at(info.sense_errors, place)
    {
        return range.gain_ppm;
    }
    let (mut rest, mut greatest) = (info.sense_errors, 0);
    while let [range, others @ ..] = rest {
        if range.gain_ppm > greatest {
            greatest = range.gain_ppm;
        }
        rest = others;
    }
    greatest
}

/// Bias current through the nominal resistance and what filters the input, in picovolts, rounded
/// up.
pub(crate) const fn bias_pv(info: &PartInfo, rail: &Rail) -> u64 {
    let nanoohms = rail.bias_path_nanoohms();
    let nanoamps = info.bias.as_nanoamps().unsigned_abs();
    // nA × nΩ is 1e-18 V; 2^20 of them are 1.048 576 pV, which is less than 1 + 25 ÷ 512.
    let pv = nanoamps.saturating_mul(nanoohms).div_ceil(1 << 20);
    pv.saturating_add(pv.saturating_mul(25).div_ceil(512))
}

/// 256ths of a nanovolt in picovolts, rounded up.
const fn up_256(nv_256ths: u32) -> u64 {
    (nv_256ths as u64).wrapping_mul(1_000).div_ceil(256) // 32 by 10 bits
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::{Correction, Gain, Load, Offset, SenseResistor};
    use crate::part::corncrake::INFO;
    use crate::units::{Current, Resistance, Tolerance};

    const SENSE_65_MV: u8 = 0;
    const SENSE_26_MV: u8 = 1;

    fn rail(correction: Correction) -> Rail {
        let resistor = SenseResistor::new(Resistance::from_ohms(1), Tolerance::from_percent(1))
            .with_temperature(50, 60_000);
        Rail::new(resistor)
            .with_load(Load::smooth(Current::from_milliamps(20)))
            .corrected(correction)
    }

    fn limits(correction: Correction, sense: u8) -> SenseLimits {
        SenseLimits::new(&INFO, &rail(correction), sense).unwrap()
    }

    /// Section 7: gain ±0.20 %, offset ±10 µV, bias ±20 nA; 1 % resistor, 50 ppm/K × 60 K.
    #[test]
    fn without_calibration_the_makers_limits_hold() {
        let limits = limits(Correction::NONE, SENSE_26_MV);
        assert_eq!(limits.gain_ppb, 2_000_000);
        assert_eq!(limits.resistor_ppb, 10_000_000);
        assert_eq!(limits.thermal_ppb, 3_000_000);
        assert_eq!(limits.offset_pv, 10_000_000);
        // 20 nV by the bias, rounded up by less than a thousandth.
        assert!((20_000..20_020).contains(&limits.bias_pv), "{limits:?}");
        assert_eq!(SenseLimits::new(&INFO, &rail(Correction::NONE), 2), None);
    }

    /// Section 7: 6 × 1.2 µV and two LSBs of 200 nV, over √2000: 169.941 166 nV; over √4000:
    /// 120.166 551 nV; over √7 200 000: 2.832 352 nV (square roots to 30 digits by `bc`).
    #[test]
    fn noise_falls_with_the_root_of_the_conversions() {
        let noise = limits(Correction::NONE, SENSE_26_MV).noise;
        assert_eq!(noise.of_mean(0), 7_600_000);
        assert_eq!(noise.of_mean(1), 7_600_000);
        assert_eq!(noise.of_mean(4), 3_800_000);
        assert_eq!(noise.of_mean(2_000), 169_942);
        assert_eq!(noise.of_mean(4_000), 120_167);
        assert_eq!(noise.of_mean(7_200_000), 2_833);
        assert_eq!(noise.half_code_pv, 100_000);
        // 7.6e6 ÷ 2^32, rounded up.
        assert_eq!(noise.of_mean(u64::MAX), 1);
    }

    /// Section 7: rail 16.384 V, LSB 250 µV: ±0.15 %, ±2.5 mV, 6 × 400 µV and two LSBs. Where noise
    /// is 0.4 LSB, half an LSB stays for good.
    #[test]
    fn limits_of_the_rail_voltage() {
        let limits = VoltageLimits::new(&INFO, 1).unwrap();
        assert_eq!(
            (limits.gain_ppb, limits.offset_pv),
            (1_500_000, 2_500_000_000)
        );
        assert_eq!(limits.noise.of_mean(100), 290_000_000);
        assert_eq!(VoltageLimits::new(&INFO, 3), None);

        let noise = Noise::new(250_000, Voltage::from_microvolts(100));
        assert_eq!(noise.of_mean(1), 725_000_000);
        assert_eq!(noise.of_mean(100), 185_000_000);
    }

    #[test]
    fn a_gain_of_another_range_leaves_both_gains_open() {
        let measured = |gain_range| Correction {
            gain_bound: Some(Tolerance::from_ppm(100)),
            gain_range,
            ..Correction::NONE
        };
        let here = limits(measured(Some(SENSE_26_MV)), SENSE_26_MV);
        assert_eq!((here.gain_ppb, here.resistor_ppb), (100_000, 0));
        assert_eq!(here.thermal_ppb, 3_000_000);
        for gain_range in [Some(SENSE_26_MV), Some(9), None] {
            let limits = limits(measured(gain_range), SENSE_65_MV);
            // 100 ppm and twice 0.20 %.
            assert_eq!((limits.gain_ppb, limits.resistor_ppb), (4_100_000, 0));
        }
    }

    #[test]
    fn a_gain_above_one_magnifies_what_is_absolute() {
        let limits = limits(
            Correction {
                gain: Gain::from_bits((1 << 30) + (1 << 25)), // 1 + 1/32
                gain_bound: Some(Tolerance::from_ppm(100)),
                gain_range: Some(SENSE_26_MV),
                offset: Offset::from_bits(256 * 500),
                offset_bound: Some(Voltage::from_nanovolts(110)),
            },
            SENSE_26_MV,
        );
        // 110 nV, 50 nV of stability, 100 nV ÷ 512 (0.196 nV) for what is taken off.
        assert_eq!((limits.offset_pv, limits.bias_pv), (160_196, 0));
        // And 7 600 nV of noise, × 33/32: 8 002 702.1.
        assert!(
            (8_002_703..8_002_705).contains(&limits.absolute_pv(1)),
            "{limits:?}"
        );
        let plain = super::tests::limits(Correction::NONE, SENSE_26_MV);
        assert_eq!(plain.magnified(7_600_000), 7_600_000);
    }

    /// 50 ppm/K × 60 K; own heat of 2 A in 10 mΩ at 40 K/W, 0.04 W, is 1.6 K and 80 ppm more.
    #[test]
    fn a_declared_load_heats_the_resistor() {
        let resistor = SenseResistor::new(Resistance::from_milliohms(10), Tolerance::ZERO)
            .with_temperature(50, 60_000)
            .with_self_heating(40_000);
        let thermal = |rail: &Rail| {
            SenseLimits::new(&INFO, rail, SENSE_65_MV)
                .unwrap()
                .thermal_ppb
        };
        let unknown = Rail::new(resistor);
        assert_eq!(thermal(&unknown), 3_000_000);
        let declared = unknown.with_load(Load::smooth(Current::from_amps(2)));
        assert_eq!(thermal(&declared), 3_080_000);
    }

    /// Taking something off without knowing how well it is known can only make things worse.
    #[test]
    fn a_correction_without_a_bound_counts_in_full() {
        let limits = limits(
            Correction {
                offset: Offset::from_bits(-256 * 500),
                gain: Gain::from_bits((1 << 30) - (1 << 20)), // 1 − 976.562 5 ppm
                ..Correction::NONE
            },
            SENSE_26_MV,
        );
        assert_eq!(limits.offset_pv, 10_500_196);
        assert_eq!(limits.gain_ppb, 2_976_563);
        assert_eq!(limits.resistor_ppb, 10_000_000);
    }
}
