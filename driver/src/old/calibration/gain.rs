use super::collection::voltage;
use super::limits::nanovolts;
use super::slope::{Slope, Spot};
use super::zero::{greatest_nv, nearest, plausible};
use super::{CalibrationError, Collection};
use crate::old::board::Correction;
use crate::units::{Current, Tolerance};

/// A current that is known better than the monitor shows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reference {
    /// What the reference says flows, positive from source to load. Magnitude from a tenth of the sense range's full scale to all of it.
    pub current: Current,
    /// How far it may be off, relative to itself, in either direction: a limit, not a deviation.
    pub uncertainty: Tolerance,
    /// How far the board's temperature is from the one for which the sense resistor's nominal resistance holds, at most, in thousandths of a kelvin; `None` takes the span that the
    /// board declares. The less, the better the gain is known.
    pub away_mk: Option<u32>,
}

impl Reference {
    /// A current and its uncertainty, the board anywhere within its declared temperatures.
    #[must_use]
    pub const fn new(current: Current, uncertainty: Tolerance) -> Self {
        Self {
            current,
            uncertainty,
            away_mk: None,
        }
    }

    /// The same on a board at most so many thousandths of a kelvin away from the sense resistor's reference temperature.
    #[must_use]
    pub const fn away(mut self, mk: u32) -> Self {
        self.away_mk = Some(mk);
        self
    }
}

/// What was collected while a reference current flowed.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Point<'c> {
    /// Rounds of the channel.
    pub collection: &'c Collection,
    /// What flowed.
    pub reference: Reference,
}

/// The gain of a rail from one reference current, after its zero; part and sense resistor together.
///
/// `zero` is the rail's correction so far, of which the zero is kept. The gain is reference over shown current. Its bound is made of the reference's uncertainty, the resistor's
/// temperature during the calibration, and noise, zero's bound and the part's stability relative to the current. It belongs to the sense range in force.
///
/// # Errors
/// `NoZero`, `ReferenceTooSmall`, `ReferenceTooGreat`; as [`zero`](super::zero()) for the rounds; `ImplausibleGain` if the gain is beyond what part and resistor within their limits, the
/// reference and noise allow.
pub fn gain(zero: Correction, point: &Point<'_>) -> Result<Correction, CalibrationError> {
    let Some(zero_bound) = zero.zero_bound else {
        return Err(CalibrationError::NoZero);
    };
    let mean = point.collection.mean()?;
    let high = Spot::new(&mean, point.reference)?;
    let nothing = Spot::without_current(zero.zero, zero_bound);
    Slope::new(mean.source, nothing, high)?.correct(zero)
}

/// The gain of a rail from two reference currents, which need no zero; part and sense resistor together.
///
/// `zero` is the rail's correction so far. The gain is the slope between the two points. Where the line meets no current is another reading of the zero: it must agree with
/// the one that was calibrated, if one was, and takes its place if it is known better. Of two currents that are as far apart as they can be,
/// one the other way round if the rail allows, come the best values.
///
/// # Errors
/// As [`gain`]; `ReferenceTooSmall` means the difference of the two currents; `DifferentInputs` if the points do not belong together; `Inconsistent` if the zero by the line
/// is not the zero that was calibrated; without one, `ImplausibleZero` as [`zero`](super::zero()).
pub fn line(
    zero: Correction,
    one: &Point<'_>,
    other: &Point<'_>,
) -> Result<Correction, CalibrationError> {
    let (mean, other_mean) = (one.collection.mean()?, other.collection.mean()?);
    let source = mean.source;
    if one.collection.channel() != other.collection.channel()
        || source.sense != other_mean.source.sense
    {
        return Err(CalibrationError::DifferentInputs);
    }
    let slope = Slope::new(
        source,
        Spot::new(&mean, one.reference)?,
        Spot::new(&other_mean, other.reference)?,
    )?;
    let (nv_256, bound_nv) = slope.intercept();
    let mut corrected = slope.correct(zero)?;
    let known = match zero.zero_bound {
        None => {
            plausible(nv_256, greatest_nv(source).saturating_add(bound_nv))?;
            u128::MAX
        }
        Some(bound) => {
            let limit = bound_nv.saturating_add(nanovolts(bound));
            let calibrated = i128::from(zero.zero.to_bits());
            if nv_256.abs_diff(calibrated) > limit.saturating_mul(256) {
                return Err(CalibrationError::Inconsistent {
                    intercept: nearest(nv_256),
                    zero: zero.zero.voltage(),
                    limit: voltage(limit),
                });
            }
            nanovolts(bound)
        }
    };
    if bound_nv < known {
        corrected.zero = plausible(nv_256, u128::MAX)?;
        corrected.zero_bound = Some(voltage(bound_nv));
    }
    Ok(corrected)
}

#[cfg(test)]
mod tests {
    use super::super::paper::Paper;
    use super::super::zero;
    use super::*;
    use crate::old::board::{Gain, Shunt, Zero};
    use crate::old::part::corncrake::{SENSE_26_MV, SENSE_65_MV};
    use crate::units::{Resistance, Voltage};

    /// Sum of 4000 codes of 200 nV that have this mean.
    fn codes(microvolts: i64) -> i64 {
        microvolts * 20_000
    }

    fn reference(microamps: i64) -> Reference {
        Reference::new(Current::from_microamps(microamps), Tolerance::from_ppm(100))
    }

    /// A zero of 5 µV, known to 122 nV.
    fn five_microvolts() -> Correction {
        zero(&Paper::new().steady(codes(5))).unwrap()
    }

    fn gain_at(microvolts: i64, reference: Reference) -> Result<Correction, CalibrationError> {
        let collection = Paper::new().steady(codes(microvolts));
        let collection = &collection;
        gain(
            five_microvolts(),
            &Point {
                collection,
                reference,
            },
        )
    }

    fn line_at(
        zero: Correction,
        one: (i64, Reference),
        other: (i64, Reference),
    ) -> Result<Correction, CalibrationError> {
        let at = |microvolts| Paper::new().steady(codes(microvolts));
        let collections = [at(one.0), at(other.0)];
        let [one, other] = [(one.1, &collections[0]), (other.1, &collections[1])].map(
            |(reference, collection)| Point {
                collection,
                reference,
            },
        );
        line(zero, &one, &other)
    }

    /// 20 mA in 1 Ω show 20.060 mV above the zero: 2^30 ÷ 1.003 = 1 070 530 233.3. Zero 122 nV, noise 121 nV, stability 50 nV, bias 1 nV are 14.7 ppm of
    /// it; (1 + 14.656 ppm) ÷ (1 − 100 ppm) − 1 = 114.67 ppm.
    #[test]
    fn a_gain_from_one_current() {
        let correction = gain_at(20_065, reference(20_000)).unwrap();
        assert_eq!(correction.gain, Gain::from_bits(1_070_530_233));
        assert_eq!(correction.gain_bound, Some(Tolerance::from_ppm(115)));
        assert_eq!(correction.gain_range, Some(SENSE_26_MV));
        assert_eq!(
            (correction.zero, correction.zero_bound),
            (five_microvolts().zero, five_microvolts().zero_bound)
        );
        // The other way round it is the same.
        let backwards = gain_at(-20_055, reference(-20_000)).unwrap();
        assert_eq!(backwards.gain, correction.gain);
    }

    /// 50 ppm/K × 20 K = 0.1 % more: (1 + 14.656 ppm) ÷ (2 − (1 + 100 ppm)(1 + 1000 ppm)) − 1 = 1115.98 ppm; on a board 1 K away 50 ppm more.
    #[test]
    fn the_resistors_temperature_is_part_of_the_gains_bound() {
        let shunt = Shunt::new(Resistance::from_ohms(1), Tolerance::from_ppm(5_000))
            .with_temperature(50, 20_000);
        let zero = five_microvolts();
        let collection = Paper::with(shunt).steady(codes(20_065));
        let bound = |reference| {
            let point = Point {
                collection: &collection,
                reference,
            };
            gain(zero, &point).unwrap().gain_bound.unwrap().as_ppm()
        };
        assert_eq!(bound(reference(20_000)), 1_116);
        assert_eq!(bound(reference(20_000).away(1_000)), 165);
    }

    /// (1 + 14.8 ppm) ÷ ((1 − 100 ppm)(1 − 0.2 %)(1 − 0.5 %)) − 1 = 7 154.8 ppm; 20 mV ÷ 19.858 mV is 7 150.8 ppm off 1, ÷ 19.857 mV 7 201.5 ppm.
    #[test]
    fn a_gain_beyond_part_and_resistor_is_refused() {
        assert!(gain_at(19_863, reference(20_000)).is_ok());
        assert_eq!(
            gain_at(19_862, reference(20_000)),
            Err(CalibrationError::ImplausibleGain {
                found_ppm: 7_201,
                limit_ppm: 7_155
            })
        );
        // No current at all, and current the wrong way.
        for microvolts in [5, -20_000] {
            let refused = gain_at(microvolts, reference(20_000)).unwrap_err();
            assert!(matches!(refused, CalibrationError::ImplausibleGain { .. }));
        }
    }

    /// 131 071 × 200 nV = 26.2142 mV over 1 Ω.
    #[test]
    fn references_lie_between_a_tenth_of_full_scale_and_all_of_it() {
        let at = |nanoamps| {
            let reference =
                Reference::new(Current::from_nanoamps(nanoamps), Tolerance::from_ppm(100));
            gain_at(nanoamps / 1_000 + 5, reference).err()
        };
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
    fn one_current_needs_a_zero() {
        let collection = Paper::new().steady(codes(20_065));
        let point = Point {
            collection: &collection,
            reference: reference(20_000),
        };
        assert_eq!(
            gain(Correction::NONE, &point),
            Err(CalibrationError::NoZero)
        );
    }

    /// ±20 mA show 20.065 mV and −20.055 mV: the same gain, and a zero of 5 µV. Noise 121 nV, stability 50 nV and bias 1 nV at either point are
    /// 8.57 ppm of 40.12 mV: 108.58 ppm. The zero: 40.12 mV × ¼ × 200 ppm ÷ (1 − 100 ppm) = 2 006.2 nV, half of 2 × 172 nV, and 2 nV.
    #[test]
    fn two_currents_give_gain_and_zero() {
        let points = [(20_065, reference(20_000)), (-20_055, reference(-20_000))];
        for [one, other] in [points, [points[1], points[0]]] {
            let correction = line_at(Correction::NONE, one, other).unwrap();
            assert_eq!(correction.gain, Gain::from_bits(1_070_530_233));
            assert_eq!(correction.gain_bound, Some(Tolerance::from_ppm(109)));
            assert_eq!(correction.zero, Zero::from_bits(5_000 * 256));
            assert_eq!(correction.zero_bound, Some(Voltage::from_nanovolts(2_181)));
            // A zero that is known better stays.
            let correction = line_at(five_microvolts(), one, other).unwrap();
            assert_eq!(correction.zero_bound, Some(Voltage::from_nanovolts(122)));
        }
    }

    /// 40 stretches of 10 000 rounds and a perfect reference: 12.02 nV of noise, 50 nV of stability, 1 nV of bias, and 2 nV of rounding and bias.
    #[test]
    fn a_line_known_better_replaces_the_zero() {
        let at = |microvolts: i64| {
            Paper::new().collect(&[(10_000, microvolts * 50_000); 40]) // 5 codes a microvolt
        };
        let point = |collection, milliamps| Point {
            collection,
            reference: Reference::new(Current::from_milliamps(milliamps), Tolerance::ZERO),
        };
        let zero = five_microvolts();
        let (low, high) = (at(5_005), at(20_005));
        let correction = line(zero, &point(&low, 5), &point(&high, 20)).unwrap();
        assert_eq!(correction.gain, Gain::ONE);
        assert_eq!(correction.zero, zero.zero);
        // n₁ × 20/15 + n₂ × 5/15 with n = 64 nV: 106.7 nV, and 2 nV.
        assert_eq!(correction.zero_bound, Some(Voltage::from_nanovolts(109)));
    }

    #[test]
    fn a_line_that_misses_the_zero_is_refused() {
        let no_zero = zero(&Paper::new().steady(0)).unwrap();
        let points = [(20_065, reference(20_000)), (-20_055, reference(-20_000))];
        assert_eq!(
            line_at(no_zero, points[0], points[1]),
            Err(CalibrationError::Inconsistent {
                intercept: Voltage::from_microvolts(5),
                zero: Voltage::ZERO,
                limit: Voltage::from_nanovolts(2_181 + 122)
            })
        );
        // Without a zero the part's limit judges: 10 µV, 20.1 nV and the line's bound.
        let far = line_at(
            Correction::NONE,
            (20_080, reference(20_000)),
            (-20_040, reference(-20_000)),
        );
        assert_eq!(
            far,
            Err(CalibrationError::ImplausibleZero {
                found: Voltage::from_microvolts(20),
                limit: Voltage::from_nanovolts(10_021 + 2_181)
            })
        );
    }

    #[test]
    fn points_that_do_not_belong_together_are_refused() {
        let same = [(20_065, reference(20_000)), (20_065, reference(20_000))];
        assert_eq!(
            line_at(five_microvolts(), same[0], same[1]),
            Err(CalibrationError::ReferenceTooSmall {
                least: Current::from_nanoamps(2_621_420)
            })
        );
        let fine = Paper::new().steady(codes(20_065));
        let mut paper = Paper::new();
        paper.set_sense_range(0);
        let coarse = paper.steady(codes(-20_055) * 2 / 5); // codes of 500 nV
        let point = |collection, milliamps: i64| Point {
            collection,
            reference: reference(milliamps * 1_000),
        };
        assert_eq!(
            line(five_microvolts(), &point(&fine, 20), &point(&coarse, -20)),
            Err(CalibrationError::DifferentInputs)
        );
        let coarse = gain(five_microvolts(), &point(&coarse, -20)).unwrap();
        assert_eq!(coarse.gain_range, Some(SENSE_65_MV));
    }
}
