use super::CalibrationError;
use super::collection::{Mean, Source};
use super::gain::Reference;
use super::limits::{PPB, compound, nanovolts, over, ppb};
use super::zero::carried_nv;
use crate::old::board::{Correction, Gain, Zero};
use crate::old::wide::mul_div;
use crate::units::{Current, Tolerance, Voltage};

/// One point of the line of sense voltage over current.
#[derive(Clone, Copy)]
pub(super) struct Spot {
    /// Reference current.
    na: i128,
    /// Shown sense voltage.
    nv_256: i128,
    /// How far that may lie from what the current makes and the zero.
    noise_nv: u128,
    /// How far current times resistance may be off.
    off_ppb: u128,
}

impl Spot {
    /// Shown = current × (1 + y) × gain × resistance + zero + n, where 1 + y is the reference's error and the resistor's temperature, and n is noise, the zero's stability and what
    /// the bias current does otherwise than at the zero.
    pub(super) fn new(mean: &Mean<'_>, reference: Reference) -> Result<Self, CalibrationError> {
        let (source, current) = (mean.source, reference.current);
        let greatest = full_scale_na(source, 1);
        if u128::from(current.as_nanoamps().unsigned_abs()) > greatest {
            return Err(CalibrationError::ReferenceTooGreat {
                greatest: amps(greatest),
            });
        }
        let thermal_ppb = source.rail.shunt().thermal_ppb(current, reference.away_mk);
        Ok(Self {
            na: i128::from(current.as_nanoamps()),
            nv_256: mean.nv_256,
            noise_nv: mean
                .noise_nv
                .saturating_add(nanovolts(source.spec.zero_stability))
                .saturating_add(carried_nv(source)),
            off_ppb: compound(
                &[ppb(reference.uncertainty.as_ppm()), u128::from(thermal_ppb)],
                &[],
            ),
        })
    }

    /// A zero: nothing flows, and what is shown is known as well as the zero.
    pub(super) fn without_current(zero: Zero, bound: Voltage) -> Self {
        Self {
            na: 0,
            nv_256: i128::from(zero.to_bits()),
            noise_nv: nanovolts(bound),
            off_ppb: 0,
        }
    }
}

/// The line through two spots.
pub(super) struct Slope<'s> {
    source: &'s Source,
    one: Spot,
    other: Spot,
    /// Differences between the spots.
    na: i128,
    nv_256: i128,
    /// How far `nv_256` may be off.
    noise_nv_256: u128,
    /// How far `na` times resistance may be off.
    off_ppb: u128,
}

impl<'s> Slope<'s> {
    pub(super) fn new(
        source: &'s Source,
        one: Spot,
        other: Spot,
    ) -> Result<Self, CalibrationError> {
        let na = other.na.saturating_sub(one.na);
        let least = full_scale_na(source, 10);
        if na.unsigned_abs() < least {
            return Err(CalibrationError::ReferenceTooSmall { least: amps(least) });
        }
        let off = |spot: &Spot| over(&spot.na.unsigned_abs(), &spot.off_ppb, &na.unsigned_abs());
        let noise_nv = one.noise_nv.saturating_add(other.noise_nv);
        Ok(Self {
            source,
            one,
            other,
            na,
            nv_256: other.nv_256.saturating_sub(one.nv_256),
            // Each voltage is rounded to a 256th.
            noise_nv_256: noise_nv.saturating_mul(256).saturating_add(1),
            off_ppb: off(&one).saturating_add(off(&other)),
        })
    }

    /// The gain and its bound, into a correction.
    ///
    /// With differences ΔI and ΔV, gain = ΔI × resistance ÷ ΔV. True gain × gain = (1 − n ÷ ΔV) ÷ (1 + Y), where n is the noise of ΔV and Y
    /// how far ΔI × resistance may be off, so it lies within (1 + |n ÷ ΔV|) ÷ (1 − |Y|) − 1 of 1.
    pub(super) fn correct(&self, correction: Correction) -> Result<Correction, CalibrationError> {
        let shunt = self.source.rail.shunt();
        let noise_ppb = over(&self.noise_nv_256, &PPB, &self.nv_256.unsigned_abs());
        let limit_ppb = compound(
            &[noise_ppb],
            &[
                self.off_ppb,
                ppb(self.source.range.gain_ppm),
                ppb(shunt.tolerance().as_ppm()),
            ],
        );
        let bits = self.gain_bits();
        let off = bits.map(|bits| i64::from(bits).saturating_sub(ONE));
        let Some((bits, _)) = bits.zip(off).filter(|(_, off)| {
            over(
                &u128::from(off.unsigned_abs()),
                &PPB,
                &ONE.unsigned_abs().into(),
            ) <= limit_ppb
        }) else {
            let ppm = off.map(|off| i128::from(off).saturating_mul(1_000_000) >> 30);
            return Err(CalibrationError::ImplausibleGain {
                found_ppm: ppm
                    .and_then(|ppm| i32::try_from(ppm).ok())
                    .unwrap_or(i32::MAX),
                limit_ppm: ppm_up(limit_ppb),
            });
        };
        // One more for rounding to 2^-30.
        let bound_ppb = compound(&[noise_ppb], &[self.off_ppb]).saturating_add(1);
        Ok(Correction {
            gain: Gain::from_bits(bits),
            gain_bound: Some(Tolerance::from_ppm(ppm_up(bound_ppb))),
            gain_range: Some(self.source.sense),
            ..correction
        })
    }

    /// nA × nΩ = 10^-18 V; times 256 and 2^30 over 256ths of nV.
    fn gain_bits(&self) -> Option<i32> {
        let nanoohms = i128::from(self.source.rail.shunt().resistance().as_nanoohms());
        let bits = mul_div(
            self.na.saturating_mul(nanoohms),
            self.nv_256.signum().saturating_mul(256 << 30),
            self.nv_256.unsigned_abs().saturating_mul(1_000_000_000),
        )?;
        i32::try_from(bits).ok()
    }

    /// Where the line meets no current, in 256ths of nV, and how far from the zero that may be in nV.
    ///
    /// Intercept − zero = I₁ I₂ ÷ ΔI × (y₁ − y₂) × gain × resistance + (n₁ I₂ − n₂ I₁) ÷ ΔI, where gain × resistance × |ΔI| ≤ (|ΔV| + n) ÷ (1 − |Y|).
    pub(super) fn intercept(&self) -> (i128, u128) {
        let (one, other) = (&self.one, &self.other);
        let span = self.na.unsigned_abs();
        let along = mul_div(one.na, self.nv_256.saturating_mul(self.na.signum()), span)
            .unwrap_or(i128::MAX);
        let (one_na, other_na) = (one.na.unsigned_abs(), other.na.unsigned_abs());
        let lever_ppb = over(
            &one_na.saturating_mul(other_na),
            &one.off_ppb.saturating_add(other.off_ppb),
            &span.saturating_mul(span),
        );
        let rise_nv_256 = self.nv_256.unsigned_abs().saturating_add(self.noise_nv_256);
        let tilt_nv =
            over(&rise_nv_256, &lever_ppb, &PPB.saturating_sub(self.off_ppb)).div_ceil(256);
        let noise = one
            .noise_nv
            .saturating_mul(other_na)
            .saturating_add(other.noise_nv.saturating_mul(one_na));
        // One more for what is rounded to 256ths.
        let bound_nv = tilt_nv
            .saturating_add(over(&noise, &1, &span))
            .saturating_add(carried_nv(self.source))
            .saturating_add(1);
        (one.nv_256.saturating_sub(along), bound_nv)
    }
}

/// 1 in units of a gain's last place.
const ONE: i64 = 1 << 30;

/// The current that makes a part of the sense range's full scale across the nominal resistance; rounded down for all of it, up for less.
fn full_scale_na(source: &Source, part: u128) -> u128 {
    let full_scale_nv = u128::from(source.range.full_scale_nv(source.spec.sense_unit_nv));
    let nanoohms = u128::from(source.rail.shunt().resistance().as_nanoohms());
    let (numerator, denominator) = (
        full_scale_nv.saturating_mul(1_000_000_000),
        nanoohms.saturating_mul(part),
    );
    if part == 1 {
        numerator.checked_div(denominator).unwrap_or_default()
    } else {
        over(&numerator, &1, &denominator)
    }
}

fn amps(na: u128) -> Current {
    Current::from_nanoamps(i64::try_from(na).unwrap_or(i64::MAX))
}

fn ppm_up(ppb: u128) -> u32 {
    u32::try_from(ppb.div_ceil(1_000)).unwrap_or(u32::MAX)
}
