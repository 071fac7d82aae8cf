use super::CalibrationError;
use crate::board::limits::{Noise, pv};
use crate::convert::{divided, divided_up, times};
use crate::info::{PartInfo, RangeErrors, RangeInfo};
use crate::units::Voltage;
use crate::{Channel, TimedSample};

/// Scans of one channel while a steady current flows, or none: what a calibration is made from.
///
/// Give it samples in continuous mode, best at the greatest scan rate, with range and load as they
/// shall be measured. How many samples and how fast does not matter: the part's running sums have
/// every scan. Averaging of readings has no effect here, and neither has the board's correction:
/// codes are collected.
///
/// ```
/// use crake::calibration::{CalibrationError, Collection, offset};
/// use crake::board::{Correction, Rail};
/// use crake::{Channel, ShuntMonitor, TimedSample};
///
/// /// An offset, load disconnected; `None` where the bus or the part fails.
/// fn calibrate<M>(monitor: &mut M, rail: &Rail) -> Option<Result<Correction, CalibrationError>>
/// where
///     M: ShuntMonitor<4, Sample: TimedSample<4> + Sized>,
/// {
///     let mut collection = Collection::new(Channel::C2);
///     while !collection.is_enough() {
///         // Here firmware would wait for a tenth of a second.
///         if let Err(why) = collection.add(monitor.sample().ok()?) {
///             return Some(Err(why));
///         }
///     }
///     Some(offset(&collection, rail))
/// }
/// ```
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Collection {
    channel: Channel,
    input: Option<Input>,
    last: Last,
    /// Full stretches, and the one that is not full yet.
    sum: Sum,
    open: Sum,
    stretches: u32,
    /// Least and greatest mean of a full stretch, 256ths of a nanovolt.
    least: i64,
    greatest: i64,
}

/// Where the codes come from.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Input {
    pub(super) info: &'static PartInfo,
    pub(super) range: &'static RangeInfo,
    pub(super) errors: &'static RangeErrors,
    /// Its place.
    pub(super) sense: u8,
    /// What must not change from sample to sample.
    configuration: u32,
    /// Time in which no rollover can hide.
    safe_us: u64,
}

/// Running sums as they were latched last.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Last {
    charge: i64,
    scans: u32,
    before_us: u64,
    clipped_samples: u32,
}

#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sum {
    codes: i64,
    scans: u32,
}

/// Mean of a whole collection that was found steady.
pub(super) struct Mean<'c> {
    pub(super) input: &'c Input,
    /// Sense voltage in 256ths of a nanovolt, rounded to nearest.
    pub(super) nv_256: i64,
    /// Noise and rounding to codes that are left in it.
    pub(super) noise_pv: u64,
}

/// Scans of a stretch, at least; and how many stretches it takes.
const STRETCH: u32 = 1_000;
const STRETCHES_MIN: u32 = 4;

impl Collection {
    /// Nothing yet, of this channel.
    #[must_use]
    pub const fn new(channel: Channel) -> Self {
        Self {
            channel,
            input: None,
            last: Last {
                charge: 0,
                scans: 0,
                before_us: 0,
                clipped_samples: 0,
            },
            sum: Sum::NONE,
            open: Sum::NONE,
            stretches: 0,
            least: i64::MAX,
            greatest: i64::MIN,
        }
    }

    /// Takes the scans since the sample before. The first one only says where counting begins: the
    /// current must flow, or stand still, from then on.
    ///
    /// # Errors
    /// [`CalibrationError`] says what is wrong with the sample. The collection is then empty, and
    /// the next sample begins anew.
    pub fn add<const N: usize>(
        &mut self,
        sample: &(impl TimedSample<N> + ?Sized),
    ) -> Result<(), CalibrationError> {
        let taken = self.take(sample);
        if taken.is_err() {
            *self = Self::new(self.channel);
        }
        taken
    }

    /// Whether a calibration can be made of it: four stretches of a thousand scans, or longer ones
    /// where samples lie further apart.
    #[must_use]
    pub const fn is_enough(&self) -> bool {
        self.stretches >= STRETCHES_MIN
    }

    /// Scans collected so far, in full stretches.
    #[must_use]
    pub const fn scans(&self) -> u32 {
        self.sum.scans
    }

    pub(super) const fn channel(&self) -> Channel {
        self.channel
    }

    fn take<const N: usize>(
        &mut self,
        sample: &(impl TimedSample<N> + ?Sized),
    ) -> Result<(), CalibrationError> {
        let found = input(self.channel, sample)?;
        let now = Last {
            charge: sample.sums(self.channel).charge,
            scans: sample.scans(),
            before_us: sample.timestamp().before_us,
            clipped_samples: sample.clipped_samples(),
        };
        let last = core::mem::replace(&mut self.last, now);
        let Some(input) = self.input.replace(found) else {
            return Ok(());
        };
        if input.configuration != found.configuration {
            return Err(CalibrationError::Reconfigured);
        }
        // Of a sample that was left out it is not known which channel it was.
        let clips = now.clipped_samples.wrapping_sub(last.clipped_samples);
        if sample.codes(self.channel).sense_clipped || clips != u32::from(sample.is_clipped()) {
            return Err(CalibrationError::Clipped(self.channel));
        }
        if sample.timestamp().after_us.saturating_sub(last.before_us) >= input.safe_us {
            return Err(CalibrationError::TooFarApart);
        }
        let bits = input.info.sum_bits;
        let codes = signed(now.charge.wrapping_sub(last.charge), bits.charge);
        let scans = now.scans.wrapping_sub(last.scans);
        let scans = scans
            .unbounded_shl(32_u32.wrapping_sub(bits.scans.into()))
            .unbounded_shr(32_u32.wrapping_sub(bits.scans.into()));
        self.extend(&input, &Sum { codes, scans });
        Ok(())
    }

    fn extend(&mut self, input: &Input, more: &Sum) {
        self.open.add(more);
        if self.open.scans >= STRETCH {
            let mean = self.open.mean(input);
            self.sum.add(&self.open);
            self.least = self.least.min(mean);
            self.greatest = self.greatest.max(mean);
            self.stretches = self.stretches.saturating_add(1);
            self.open = Sum::NONE;
        }
    }

    /// The mean, if there is enough of it and it was steady.
    ///
    /// Each stretch's mean lies within the noise of a thousand scans of the truth, so two lie
    /// within twice that, and what the part's offset may move.
    pub(super) fn mean(&self) -> Result<Mean<'_>, CalibrationError> {
        let Some(input) = self.input.as_ref().filter(|_| self.is_enough()) else {
            return Err(CalibrationError::TooFew {
                stretches: self.stretches,
                least: STRETCHES_MIN,
            });
        };
        let noise = Noise::new(
            input.range.lsb_nv(input.info.sense_unit),
            input.errors.noise,
        );
        let apart_pv = noise.of_mean(STRETCH.into()).saturating_mul(2);
        let limit_pv = apart_pv.saturating_add(pv(input.info.offset_stability));
        let spread_pv = pv_of(self.greatest.abs_diff(self.least));
        if spread_pv > limit_pv {
            return Err(CalibrationError::Unsteady {
                spread: voltage(spread_pv),
                limit: voltage(limit_pv),
            });
        }
        Ok(Mean {
            input,
            nv_256: self.sum.mean(input),
            noise_pv: noise.of_mean(self.sum.scans.into()),
        })
    }
}

impl Sum {
    const NONE: Self = Self { codes: 0, scans: 0 };

    fn add(&mut self, other: &Self) {
        self.codes = self.codes.saturating_add(other.codes);
        self.scans = self.scans.saturating_add(other.scans);
    }

    /// Mean sense voltage in 256ths of a nanovolt, rounded to nearest, halves away from zero.
    fn mean(&self, input: &Input) -> i64 {
        let lsb_256 = input.range.lsb_nv(input.info.sense_unit) << 8;
        let twice = times(self.codes.unsigned_abs(), lsb_256 as u32) << 1;
        let scans = u64::from(self.scans);
        let mean = divided(twice.wrapping_add(scans.into()), scans << 1).0 as i64;
        if self.codes < 0 {
            mean.wrapping_neg()
        } else {
            mean
        }
    }
}

/// Where a sample's codes come from, if it counts.
fn input<const N: usize>(
    channel: Channel,
    sample: &(impl TimedSample<N> + ?Sized),
) -> Result<Input, CalibrationError> {
    let info = sample.info();
    let place = sample.readable(channel).map(|range| range.sense);
    let sense = place.ok_or(CalibrationError::NoReading(channel))?;
    let range = info.sense_ranges.get(usize::from(sense));
    let errors = info.sense_errors.get(usize::from(sense));
    let (range, errors) = range
        .zip(errors)
        .ok_or(CalibrationError::NoReading(channel))?;
    let period_us = u64::from(sample.scan().period_us(info));
    let bits = info.sum_bits;
    if period_us == 0 || bits.charge == 0 || bits.scans == 0 {
        return Err(CalibrationError::NotCounting);
    }
    // Half of what full scale allows, by the host's clock: clock and oscillator are off by far
    // less.
    let safe_us = period_us.unbounded_shl(u32::from(bits.safe_log2.saturating_sub(1)));
    Ok(Input {
        info,
        range,
        errors,
        sense,
        configuration: sample.configuration(),
        safe_us,
    })
}

/// A difference of sums of so many bits, sign-extended.
fn signed(difference: i64, bits: u8) -> i64 {
    let unused = 64_u32.wrapping_sub(bits.into());
    difference.unbounded_shl(unused).unbounded_shr(unused)
}

/// Picovolts of 256ths of a nanovolt, rounded up.
pub(super) const fn pv_of(nv_256: u64) -> u64 {
    nv_256.saturating_mul(1_000).div_ceil(256) // a shift
}

/// Picovolts as a voltage, rounded up; the end of the range where they do not fit.
pub(super) const fn voltage(pv: u64) -> Voltage {
    Voltage::from_nanovolts(divided_up(pv as u128, 1_000) as i64)
}
