use super::collection::{Input, Mean, pv_of, voltage};
use super::{CalibrationError, Collection};
use crate::board::limits::{PPB, bias_pv, gain_ppm_of, off_one_ppb, ppb, pv};
use crate::board::{Correction, Gain, Offset, Rail};
use crate::convert::{divided, divided_up};
use crate::units::{Current, Tolerance, Voltage};

/// What was collected while a current flowed that is known better than the monitor shows it.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Point<'c> {
    /// Scans of the channel.
    pub collection: &'c Collection,
    /// What the reference says flowed, positive from source to load.
    pub current: Current,
    /// How far it may be off, relative to itself, in either direction: a limit, not a deviation.
    pub uncertainty: Tolerance,
}

/// The offset of a rail: mean sense voltage with the load disconnected.
///
/// Offset and input bias are in it, and it holds in every sense range. Its bound is made of six
/// times the noise over the root of the scans, rounding, and what the bias current may do otherwise
/// later: in a range of another gain, or at another temperature of the sense resistor. The part's
/// stability after the calibration is not in it; every bound that uses the correction adds it.
///
/// The gain of the result is none. For a gain besides, go on with [`gain`].
///
/// # Errors
/// `TooFew`, `Unsteady`; `ImplausibleOffset` if the mean lies beyond the part's offset limit, its
/// bias current through the sense resistor, and noise.
pub fn offset(no_load: &Collection, rail: &Rail) -> Result<Correction, CalibrationError> {
    let mean = no_load.mean()?;
    let bound_pv = mean.noise_pv.saturating_add(carried_pv(mean.input, rail));
    let limit_pv = greatest_pv(mean.input, rail).saturating_add(mean.noise_pv);
    Ok(Correction {
        offset: plausible(mean.nv_256, limit_pv)?,
        offset_bound: Some(voltage(bound_pv)),
        ..Correction::NONE
    })
}

/// The gain of a rail from one reference current, after its offset; part and sense resistor
/// together.
///
/// `offset` is the rail's correction so far, of which the offset is kept. The gain is reference
/// over shown current. Its bound is made of the reference's uncertainty, the resistor's temperature
/// as `rail` has it (give one with a narrower span where calibration takes place at the reference
/// temperature), and noise, offset bound and the part's stability relative to the current. It
/// belongs to the sense range in force.
///
/// # Errors
/// `NoOffset`, `ReferenceTooSmall`, `ReferenceTooGreat`; as [`offset`](offset()) for the scans;
/// `ImplausibleGain` if the gain is beyond what part and resistor within their limits, the
/// reference and noise allow.
pub fn gain(
    offset: &Correction,
    point: &Point<'_>,
    rail: &Rail,
) -> Result<Correction, CalibrationError> {
    let bound = offset.offset_bound.ok_or(CalibrationError::NoOffset)?;
    let mean = point.collection.mean()?;
    let nothing = Spot {
        na: 0,
        nv_256: offset.offset.to_bits().into(),
        noise_pv: pv(bound),
        open_ppb: 0,
    };
    let slope = Slope::new(&mean, rail, nothing, Spot::new(&mean, rail, point)?)?;
    slope.correct(offset)
}

/// Offset and gain of a rail from two reference currents; part and sense resistor together.
///
/// The gain is the slope between the two points, the offset is where the line meets no current. The
/// further apart the currents are, one the other way round if the rail allows, the better both are
/// known.
///
/// # Errors
/// As [`gain`] but `NoOffset`; `ReferenceTooSmall` means the difference of the two currents;
/// `DifferentInputs` if the points do not belong together; `ImplausibleOffset` as
/// [`offset`](offset()).
pub fn line(
    one: &Point<'_>,
    other: &Point<'_>,
    rail: &Rail,
) -> Result<Correction, CalibrationError> {
    let (mean, other_mean) = (one.collection.mean()?, other.collection.mean()?);
    if one.collection.channel() != other.collection.channel()
        || mean.input.sense != other_mean.input.sense
    {
        return Err(CalibrationError::DifferentInputs);
    }
    let (low, high) = (
        Spot::new(&mean, rail, one)?,
        Spot::new(&other_mean, rail, other)?,
    );
    let slope = Slope::new(&mean, rail, low, high)?;
    let (nv_256, bound_pv) = slope.intercept();
    let limit_pv = greatest_pv(mean.input, rail).saturating_add(bound_pv);
    slope.correct(&Correction {
        offset: plausible(nv_256, limit_pv)?,
        offset_bound: Some(voltage(bound_pv)),
        ..Correction::NONE
    })
}

/// One point of the line of sense voltage over current.
#[derive(Clone, Copy)]
struct Spot {
    /// Reference current.
    na: i64,
    /// Shown sense voltage.
    nv_256: i64,
    /// How far that may lie from what the current makes and the offset.
    noise_pv: u64,
    /// How far current times resistance may be off.
    open_ppb: u64,
}

impl Spot {
    /// Shown = current × (1 + y) × gain × resistance + offset + n, where y is the reference's error
    /// and the resistor's temperature, and n is noise, the offset's stability and what the bias
    /// does otherwise than at the offset.
    fn new(mean: &Mean<'_>, rail: &Rail, point: &Point<'_>) -> Result<Self, CalibrationError> {
        let greatest = full_scale_na(mean.input, rail);
        if point.current.abs() > greatest {
            return Err(CalibrationError::ReferenceTooGreat { greatest });
        }
        let thermal_ppb = rail.resistor().thermal_ppb(point.current);
        Ok(Self {
            na: point.current.as_nanoamps(),
            nv_256: mean.nv_256,
            noise_pv: mean
                .noise_pv
                .saturating_add(pv(mean.input.info.offset_stability))
                .saturating_add(carried_pv(mean.input, rail)),
            open_ppb: u64::from(ppb(point.uncertainty.as_ppm()))
                .saturating_add(u64::from(thermal_ppb)),
        })
    }
}

/// The line through two spots.
struct Slope<'s> {
    input: &'s Input,
    rail: &'s Rail,
    one: Spot,
    other: Spot,
    /// Differences between the spots.
    na: i64,
    nv_256: i64,
    /// How far `nv_256` may be off, in the same unit.
    noise_256: u64,
    /// How far `na` times resistance may be off.
    open_ppb: u64,
}

impl<'s> Slope<'s> {
    fn new(
        mean: &Mean<'s>,
        rail: &'s Rail,
        one: Spot,
        other: Spot,
    ) -> Result<Self, CalibrationError> {
        let na = other.na.saturating_sub(one.na);
        let full_na = full_scale_na(mean.input, rail).as_nanoamps();
        let least = divided_up(full_na.unsigned_abs().into(), 10);
        if na.unsigned_abs() < least {
            let least = Current::from_nanoamps(least as i64);
            return Err(CalibrationError::ReferenceTooSmall { least });
        }
        let open = |spot: &Spot| over(spot.na.unsigned_abs(), spot.open_ppb, na.unsigned_abs());
        let noise_pv = one.noise_pv.saturating_add(other.noise_pv);
        Ok(Self {
            input: mean.input,
            rail,
            one,
            other,
            na,
            nv_256: other.nv_256.saturating_sub(one.nv_256),
            // Each voltage is rounded to a 256th.
            noise_256: over(noise_pv, 256, 1_000).saturating_add(1),
            open_ppb: open(&one).saturating_add(open(&other)),
        })
    }

    /// The gain and its bound, into a correction.
    ///
    /// With differences ΔI and ΔV, gain = ΔI × resistance ÷ ΔV. True gain × gain = (1 − n ÷ ΔV) ÷
    /// (1 + Y), where n is the noise of ΔV and Y how far ΔI × resistance may be off.
    fn correct(&self, correction: &Correction) -> Result<Correction, CalibrationError> {
        let noise_ppb = over(self.noise_256, PPB, self.nv_256.unsigned_abs());
        let open_ppb = noise_ppb.saturating_add(self.open_ppb);
        let makers_ppm = self.input.errors.gain_ppm;
        let makers_ppm = makers_ppm.saturating_add(self.rail.resistor().tolerance().as_ppm());
        let limit_ppb = off_one(open_ppb.saturating_add(ppb(makers_ppm).into()));
        let bits = self.gain_bits();
        let off_ppb = u64::from(off_one_ppb(bits));
        if bits <= 0 || off_ppb > limit_ppb || limit_ppb >= PPB {
            let found_ppm = i64::from(bits)
                .saturating_sub(1 << 30)
                .saturating_mul(1_000_000)
                >> 30;
            return Err(CalibrationError::ImplausibleGain {
                found_ppm: found_ppm as i32, // below 2^22
                limit_ppm: ppm(limit_ppb),
            });
        }
        // One more for rounding to 2^-30.
        let bound_ppb = off_one(open_ppb.saturating_add(1));
        Ok(Correction {
            gain: Gain::from_bits(bits),
            gain_bound: Some(Tolerance::from_ppm(ppm(bound_ppb))),
            gain_range: Some(self.input.sense),
            ..*correction
        })
    }

    /// The gain in 2^-30, to nearest; the end of the range beyond it, 0 or less for a slope of the
    /// wrong sign. nA × nΩ = 1e-18 V; times 256 and 2^30 over 256ths of a nanovolt.
    fn gain_bits(&self) -> i32 {
        let ohms = u128::from(self.rail.resistor().resistance().as_nanoohms());
        // 10^9 is 2^9 × 1 953 125. 40 by 34 bits for a kiloampere and 10 Ω, and 29 more.
        let volts = u128::from(self.na.unsigned_abs()).wrapping_mul(ohms) << 29;
        let by = self.nv_256.unsigned_abs().saturating_mul(1_953_125);
        let (bits, rest) = divided(volts, by);
        let bits = bits.saturating_add((rest >= by.saturating_sub(rest)).into());
        let bits = i32::try_from(bits).unwrap_or(i32::MAX);
        if (self.na < 0) == (self.nv_256 < 0) {
            bits
        } else {
            bits.wrapping_neg()
        }
    }

    /// Where the line meets no current, in 256ths of a nanovolt, and how far from the offset that
    /// may be.
    ///
    /// Intercept − offset = I₁ I₂ ÷ ΔI × (y₁ − y₂) × gain × resistance + (n₁ I₂ − n₂ I₁) ÷ ΔI,
    /// where gain × resistance × |ΔI| ≤ (|ΔV| + n) ÷ (1 − |Y|).
    fn intercept(&self) -> (i64, u64) {
        let (one, other) = (&self.one, &self.other);
        let (span, one_na, other_na) = (
            self.na.unsigned_abs(),
            one.na.unsigned_abs(),
            other.na.unsigned_abs(),
        );
        let along = over(one_na, self.nv_256.unsigned_abs(), span) as i64;
        let same = ((one.na < 0) == (self.na < 0)) == (self.nv_256 >= 0);
        let nv_256 = if same {
            one.nv_256.saturating_sub(along)
        } else {
            one.nv_256.saturating_add(along)
        };
        let open_ppb = one.open_ppb.saturating_add(other.open_ppb);
        let lever_ppb = over(over(one_na, open_ppb, span), other_na, span);
        let rise_pv = pv_of(self.nv_256.unsigned_abs().saturating_add(self.noise_256));
        let tilt_pv = over(rise_pv, lever_ppb, PPB.saturating_sub(self.open_ppb));
        let bound_pv = tilt_pv
            .saturating_add(over(one.noise_pv, other_na, span))
            .saturating_add(over(other.noise_pv, one_na, span))
            .saturating_add(carried_pv(self.input, self.rail))
            .saturating_add(ROUNDING_PV);
        (nv_256, bound_pv)
    }
}

/// What rounding to 256ths of a nanovolt at two points and along the line makes, in picovolts.
const ROUNDING_PV: u64 = 12;

/// An offset, if it is within a limit.
fn plausible(nv_256: i64, limit_pv: u64) -> Result<Offset, CalibrationError> {
    match i32::try_from(nv_256) {
        Ok(bits) if pv_of(nv_256.unsigned_abs()) <= limit_pv => Ok(Offset::from_bits(bits)),
        _ => Err(CalibrationError::ImplausibleOffset {
            found: Voltage::from_nanovolts(nv_256.saturating_add(128) >> 8),
            limit: voltage(limit_pv),
        }),
    }
}

/// The greatest sense voltage that a part within its limits shows without current, noise apart:
/// offset, and bias current through the resistor, seen by the gain.
fn greatest_pv(input: &Input, rail: &Rail) -> u64 {
    let bias_pv = bias_pv(input.info, rail);
    let resistor = rail.resistor();
    let open_ppb = u64::from(ppb(input.errors.gain_ppm))
        .saturating_add(ppb(resistor.tolerance().as_ppm()).into())
        .saturating_add(resistor.thermal_ppb(Current::ZERO).into());
    let more_pv = over(bias_pv, off_one(open_ppb), PPB);
    pv(input.errors.offset)
        .saturating_add(bias_pv)
        .saturating_add(more_pv)
}

/// How much another offset may hold than a measured one, but for the part's stability: rounding to
/// a 512th of a nanovolt, and bias current seen by another gain or through a resistor at another
/// temperature, each from one limit to the other.
fn carried_pv(input: &Input, rail: &Rail) -> u64 {
    let thermal_ppb = rail.thermal_ppb();
    let gain_ppb = ppb(gain_ppm_of(input.info, None));
    let swing_ppb = off_one(u64::from(gain_ppb).saturating_add(thermal_ppb.into()));
    let tolerance_ppb = off_one(ppb(rail.resistor().tolerance().as_ppm()).into());
    let bias_pv = bias_pv(input.info, rail);
    let bias_pv = bias_pv.saturating_add(over(bias_pv, tolerance_ppb, PPB));
    over(bias_pv, swing_ppb.saturating_mul(2), PPB).saturating_add(2)
}

/// The current of the sense range's full scale across the nominal resistance, rounded down.
fn full_scale_na(input: &Input, rail: &Rail) -> Current {
    let full_nv = input.range.full_scale_nv(input.info.sense_unit);
    let nanoohms = rail.resistor().resistance().as_nanoohms();
    let na = divided(u128::from(full_nv).wrapping_mul(PPB.into()), nanoohms).0;
    Current::from_nanoamps(i64::try_from(na).unwrap_or(i64::MAX))
}

/// How far from 1 a product of factors and divisors may be whose distances from 1 add up to this:
/// at most s ÷ (1 − s), in parts per thousand million, rounded up.
fn off_one(sum_ppb: u64) -> u64 {
    over(sum_ppb, PPB, PPB.saturating_sub(sum_ppb))
}

/// `a × b ÷ c`, rounded up.
fn over(a: u64, b: u64, c: u64) -> u64 {
    divided_up(u128::from(a).wrapping_mul(u128::from(b)), c)
}

/// Parts per million of parts per thousand million, rounded up.
fn ppm(ppb: u64) -> u32 {
    u32::try_from(divided_up(ppb.into(), 1_000)).unwrap_or(u32::MAX)
}
