use super::collection::{Source, voltage};
use super::limits::{PPB, compound, gain_max_ppb, nanoamps, nanovolts, over, ppb};
use super::{CalibrationError, Collection};
use crate::old::board::{Correction, Zero};
use crate::units::{Current, Voltage};

/// The zero of a rail: mean sense voltage with the load disconnected.
///
/// Offset and input bias are in it, and it holds in every sense range. Its bound is made of six times the noise over the root of the rounds, rounding, and what the bias
/// current may do otherwise later: in a range of another gain, or at another temperature of the sense resistor. The part's stability after the calibration is not in it; every
/// bound that uses the correction adds it.
///
/// The gain of the result is none. For a gain besides, go on with [`gain`](super::gain()) or [`line`](super::line()).
///
/// # Errors
/// `TooFewRounds`, `TooFewSpans`, `Unstable`, or `ImplausibleZero` if the mean lies beyond the part's offset limit, its bias current through the sense resistor, and noise.
pub fn zero(no_load: &Collection) -> Result<Correction, CalibrationError> {
    let mean = no_load.mean()?;
    let limit_nv = greatest_nv(mean.source).saturating_add(mean.noise_nv);
    let bound_nv = mean.noise_nv.saturating_add(carried_nv(mean.source));
    Ok(Correction {
        zero: plausible(mean.nv_256, limit_nv)?,
        zero_bound: Some(voltage(bound_nv)),
        ..Correction::NONE
    })
}

/// A zero, if it is within a limit.
pub(super) fn plausible(nv_256: i128, limit_nv: u128) -> Result<Zero, CalibrationError> {
    i32::try_from(nv_256)
        .ok()
        .filter(|_| nv_256.unsigned_abs() <= limit_nv.saturating_mul(256))
        .map(Zero::from_bits)
        .ok_or(CalibrationError::ImplausibleZero {
            found: nearest(nv_256),
            limit: voltage(limit_nv),
        })
}

/// The greatest sense voltage that a part within its limits shows without current, noise apart: offset, and bias current through the resistor, seen by the gain.
pub(super) fn greatest_nv(source: &Source) -> u128 {
    let shunt = source.rail.shunt();
    let factor = compound(
        &[
            ppb(source.range.gain_ppm),
            ppb(shunt.tolerance().as_ppm()),
            u128::from(shunt.thermal_ppb(Current::ZERO, None)),
        ],
        &[],
    );
    let bias = over(&bias_1e18(source), &PPB.saturating_add(factor), &PPB);
    nanovolts(source.range.offset).saturating_add(bias.div_ceil(NV_1E18))
}

/// How much another zero may hold than a measured one, but for the part's stability: rounding to a 512th of a nanovolt, and bias current seen by another gain or through a
/// resistor at another temperature, each from one limit to the other.
pub(super) fn carried_nv(source: &Source) -> u128 {
    let shunt = source.rail.shunt();
    let thermal = u128::from(shunt.thermal_ppb(source.rail.load().greatest(), None));
    let swing = compound(&[gain_max_ppb(source.spec), thermal], &[]).saturating_mul(2);
    let resistor = PPB.saturating_add(ppb(shunt.tolerance().as_ppm()));
    let bias = over(&over(&bias_1e18(source), &resistor, &PPB), &swing, &PPB);
    bias.saturating_add(NV_1E18 / 512).div_ceil(NV_1E18)
}

/// 256ths of a nanovolt rounded to nearest, as a voltage.
pub(super) fn nearest(nv_256: i128) -> Voltage {
    let nv = nv_256.saturating_add(128) >> 8;
    Voltage::from_nanovolts(i64::try_from(nv).unwrap_or(if nv < 0 { i64::MIN } else { i64::MAX }))
}

/// Greatest bias current times nominal resistance, in 10^-18 V.
fn bias_1e18(source: &Source) -> u128 {
    let nanoohms = u128::from(source.rail.shunt().resistance().as_nanoohms());
    nanoamps(source.spec.bias).saturating_mul(nanoohms)
}

/// A nanovolt in 10^-18 V.
const NV_1E18: u128 = 1_000_000_000;

#[cfg(test)]
mod tests {
    use super::super::paper::Paper;
    use super::*;
    use crate::old::Channel;
    use crate::old::board::{Board, Load, Rail, Shunt};
    use crate::old::part::corncrake::{SENSE_26_MV, SPEC};
    use crate::units::{Resistance, Tolerance};

    /// 7 600 nV ÷ √4000 = 120.2 nV, rounded up; rounding to a 512th of a nanovolt and 20 nA × 1.005 Ω × 2 × 0.2 % = 0.08 nV make one more.
    #[test]
    fn a_zero_and_its_bound() {
        let correction = zero(&Paper::new().steady(123_456)).unwrap();
        assert_eq!(correction.zero, Zero::from_bits(1_580_237));
        assert_eq!(correction.zero_bound, Some(Voltage::from_nanovolts(122)));
        assert_eq!(
            Correction {
                zero: Zero::NONE,
                zero_bound: None,
                ..correction
            },
            Correction::NONE
        );
    }

    /// 20 nA in 10 Ω ± 1 % that changes by 50 ppm/K × 40 K = 0.2 %: 200 nV × 1.01 × 2 × (1.002² − 1) = 1.618 nV, so two more than the noise.
    #[test]
    fn bias_in_a_great_resistor_widens_the_bound() {
        let shunt = Shunt::new(Resistance::from_ohms(10), Tolerance::from_percent(1))
            .with_temperature(50, 40_000);
        let correction = zero(&Paper::with(shunt).steady(0)).unwrap();
        assert_eq!(correction.zero_bound, Some(Voltage::from_nanovolts(123)));
    }

    /// Offset 10 µV, 20 nA × 1 Ω × 1.002 × 1.005 = 20.1 nV, noise 120.2 nV, both rounded up: 10 142 nV. A code in 4000 rounds is 0.05 nV.
    #[test]
    fn a_zero_beyond_the_parts_limits_is_refused() {
        let found = |codes| {
            let quarter = codes / 4;
            let rest = codes - 3 * quarter;
            let collection = Paper::new().collect(&[
                (1_000, quarter),
                (1_000, quarter),
                (1_000, quarter),
                (1_000, rest),
            ]);
            zero(&collection).map(|correction| correction.zero.to_bits())
        };
        assert_eq!(found(202_840), Ok(10_142 * 256));
        assert_eq!(found(-202_840), Ok(-10_142 * 256));
        let limit = Voltage::from_nanovolts(10_142);
        for codes in [202_841, -202_841] {
            assert_eq!(
                found(codes),
                Err(CalibrationError::ImplausibleZero {
                    found: Voltage::from_nanovolts(codes.signum() * 10_142),
                    limit
                })
            );
        }
        // 200 µV: a load that draws 0.2 mA still.
        assert_eq!(
            found(4_000_000),
            Err(CalibrationError::ImplausibleZero {
                found: Voltage::from_microvolts(200),
                limit
            })
        );
    }

    /// Section 7: after a zero calibration over 2 s the mean over 1 s measures 50 µV within 1 %. Gain 0.10 µV, calibration 0.12 µV and stability 0.05 µV, noise 0.17 µV:
    /// 0.44 µV of 0.5 µV. In 1 Ω a microvolt is a microampere.
    #[test]
    fn fifty_microvolts_are_measured_within_one_percent() {
        let shunt = Shunt::new(Resistance::from_ohms(1), Tolerance::ZERO);
        let rail = Rail::new(shunt, Load::smooth(Current::from_milliamps(26)));
        let before = Board::new(&SPEC, [rail]).unwrap();
        let correction = zero(&Paper::with(shunt).steady(50_000)).unwrap();
        let after = before.corrected(&SPEC, Channel::C0, correction).unwrap();
        let bound = |board: &Board<1>| {
            let rail = board.rail(Channel::C0).unwrap();
            rail.current_bound(&SPEC, SENSE_26_MV, Current::from_microamps(50), 2_000)
                .unwrap()
        };

        let parts = bound(&after);
        let near = |part: Current, nanoamps: i64| (part.as_nanoamps() - nanoamps).abs() <= 3;
        assert!(near(parts.gain, 100), "{parts:?}");
        assert!(near(parts.offset, 120 + 50), "{parts:?}");
        assert!(near(parts.noise, 170), "{parts:?}");
        assert!(parts.total() <= Current::from_nanoamps(450), "{parts:?}");
        assert!(parts.total() <= Current::from_nanoamps(500));
        // Without, the offset alone is a fifth of what is measured.
        assert!(bound(&before).total() > Current::from_microamps(10));
    }
}
