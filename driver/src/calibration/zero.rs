use super::collection::{Source, voltage};
use super::{CalibrationError, Collection};
use crate::board::limits::{PPB, compound, gain_max_ppb, nanoamps, nanovolts, over, ppb};
use crate::board::{Correction, Zero};
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
    let bias = over(bias_1e18(source), PPB.saturating_add(factor), PPB);
    nanovolts(source.range.offset).saturating_add(bias.div_ceil(NV_1E18))
}

/// How much another zero may hold than a measured one, but for the part's stability: rounding to a 512th of a nanovolt, and bias current seen by another gain or through a
/// resistor at another temperature, each from one limit to the other.
pub(super) fn carried_nv(source: &Source) -> u128 {
    let shunt = source.rail.shunt();
    let thermal = u128::from(shunt.thermal_ppb(source.rail.load().greatest(), None));
    let swing = compound(&[gain_max_ppb(source.spec), thermal], &[]).saturating_mul(2);
    let resistor = PPB.saturating_add(ppb(shunt.tolerance().as_ppm()));
    let bias = over(over(bias_1e18(source), resistor, PPB), swing, PPB);
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
