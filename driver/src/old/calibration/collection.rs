use super::CalibrationError;
use super::limits::nanovolts;
use crate::old::Channel;
use crate::old::board::Rail;
use crate::old::board::limits::{averaged, magnitude_nv};
use crate::old::frame::{Condition, Frame, Stamp};
use crate::old::ledger::wrapped_count;
use crate::old::part::wrapped_difference;
use crate::old::part::{RangeSpec, SenseRange, Spec};
use crate::old::sampling::Mode;
use crate::old::wide::mul_div;
use crate::units::Voltage;

/// Rounds of one channel while a steady current flows, or none: what a calibration is made from.
///
/// Give it frames of a monitor that runs at a pace, best the fastest, with its ranges and the load as they shall be measured; at least five of them, [`ROUNDS_MIN`](Self::ROUNDS_MIN) rounds
/// in all. How fast they come does not matter, as long as none is left out: the part's running sums have every round. Averaging of readings has no effect
/// here, and neither has the board's correction: codes are collected.
///
/// 2 s at 2000 rounds a second are 4000 rounds of a part whose oscillator is right; go by [`rounds`](Self::rounds), not by the time.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Collection {
    channel: Channel,
    source: Option<Source>,
    /// Sums of stretches of about equal length; when all are full, neighbours are put together and later stretches are twice as long.
    spans: [Span; SPANS_MAX],
    /// Stretch that is being filled.
    open: usize,
    frames_in_open: u32,
    frames_per_span: u32,
}

/// Where the codes come from, and the running sums as last latched.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Source {
    pub(super) spec: &'static Spec,
    pub(super) range: &'static RangeSpec,
    pub(super) rail: Rail,
    pub(super) sense: SenseRange,
    mode: Mode,
    period_us: u32,
    last: Latched,
}

#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Latched {
    charge: i64,
    rounds: u32,
    stamp: Stamp,
}

#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Span {
    /// Sum of sense codes.
    codes: i128,
    rounds: u64,
}

/// Mean of a whole collection that was found steady.
pub(super) struct Mean<'c> {
    pub(super) source: &'c Source,
    /// Sense voltage in 256ths of a nanovolt, rounded to nearest.
    pub(super) nv_256: i128,
    /// Noise and rounding to codes that are left in it.
    pub(super) noise_nv: u128,
}

const SPANS_MAX: usize = 8;

impl Collection {
    /// Rounds that a calibration takes: with noise of 1.2 µV as Corncrake's fine range has it, they leave 0.12 µV.
    pub const ROUNDS_MIN: u64 = 4_000;
    /// Stretches between frames by which steadiness is judged, at least.
    pub const SPANS_MIN: u8 = 4;

    /// Nothing yet, of this channel.
    #[must_use]
    pub const fn new(channel: Channel) -> Self {
        Self {
            channel,
            source: None,
            spans: [Span::NONE; SPANS_MAX],
            open: 0,
            frames_in_open: 0,
            frames_per_span: 1,
        }
    }

    /// Takes the rounds since the frame before. The first frame only says where counting begins: the current must flow, or stand still, from then on.
    ///
    /// # Errors
    /// [`CalibrationError`] says what is wrong with the frame. The collection is then empty, and the next frame begins anew.
    pub fn add(&mut self, frame: &Frame<'_>) -> Result<(), CalibrationError> {
        let taken = self.take(frame);
        if taken.is_err() {
            *self = Self::new(self.channel);
        }
        taken
    }

    /// The channel.
    #[must_use]
    pub const fn channel(&self) -> Channel {
        self.channel
    }

    /// Rounds collected so far.
    #[must_use]
    pub fn rounds(&self) -> u64 {
        self.sum().rounds
    }

    fn take(&mut self, frame: &Frame<'_>) -> Result<(), CalibrationError> {
        match frame.condition() {
            Condition::Steady => {}
            Condition::Boundary => return Err(CalibrationError::Boundary),
            Condition::Reset => return Err(CalibrationError::Reset),
            Condition::Unpowered => return Err(CalibrationError::Unpowered),
        }
        let now = Latched {
            charge: frame.counters(self.channel).charge,
            rounds: frame.head().rounds,
            stamp: frame.stamp(),
        };
        let found = self.source_of(frame, now)?;
        let Some(source) = self.source.replace(found) else {
            return Ok(());
        };
        if !frame.unbroken() {
            return Err(CalibrationError::Broken);
        }
        if source.sense != found.sense || source.mode != found.mode {
            return Err(CalibrationError::SetUpChanged);
        }
        if frame.codes(self.channel).sense_clipped {
            return Err(CalibrationError::Clipped(self.channel));
        }
        if !source.near_enough(now.stamp) {
            return Err(CalibrationError::TooFarApart);
        }
        let widths = source.spec.accumulators;
        let codes = wrapped_difference(now.charge, source.last.charge, widths.charge_bits);
        let rounds = wrapped_count(now.rounds, source.last.rounds, widths.rounds_bits);
        if rounds != 0 {
            self.extend(Span {
                codes: i128::from(codes),
                rounds: u64::from(rounds),
            });
        }
        Ok(())
    }

    fn source_of(&self, frame: &Frame<'_>, last: Latched) -> Result<Source, CalibrationError> {
        let channel = self.channel;
        let spec = frame.spec();
        let rail = *frame
            .rails
            .get(channel.index())
            .ok_or(CalibrationError::NoSuchChannel(channel))?;
        let ranges = frame
            .ranges(channel)
            .ok_or(CalibrationError::NotEnabled(channel))?;
        let range = spec
            .sense_range(ranges.sense)
            .ok_or(CalibrationError::NotEnabled(channel))?;
        let mode = frame.head().mode;
        let Mode::Paced(pace) = mode else {
            return Err(CalibrationError::NotPaced);
        };
        let period_us = spec.period_us(pace).ok_or(CalibrationError::NotPaced)?;
        if spec.accumulators.charge_bits == 0 || spec.accumulators.rounds_bits == 0 {
            return Err(CalibrationError::NoAccumulators);
        }
        Ok(Source {
            spec,
            range,
            rail,
            sense: ranges.sense,
            mode,
            period_us,
            last,
        })
    }

    fn extend(&mut self, span: Span) {
        if self.frames_in_open >= self.frames_per_span {
            self.frames_in_open = 0;
            self.open = self.open.saturating_add(1);
        }
        if self.open >= SPANS_MAX {
            let mut halves = [Span::NONE; SPANS_MAX];
            for (half, pair) in halves.iter_mut().zip(self.spans.chunks(2)) {
                for span in pair {
                    half.add(span);
                }
            }
            self.spans = halves;
            self.open = SPANS_MAX / 2;
            self.frames_per_span = self.frames_per_span.saturating_mul(2);
        }
        if let Some(open) = self.spans.get_mut(self.open) {
            open.add(&span);
        }
        self.frames_in_open = self.frames_in_open.saturating_add(1);
    }

    fn sum(&self) -> Span {
        self.spans.iter().fold(Span::NONE, |mut sum, span| {
            sum.add(span);
            sum
        })
    }

    /// The mean, if there is enough of it and it was steady.
    pub(super) fn mean(&self) -> Result<Mean<'_>, CalibrationError> {
        let sum = self.sum();
        let too_few = CalibrationError::TooFewRounds {
            rounds: sum.rounds,
            least: Self::ROUNDS_MIN,
        };
        let Some(source) = &self.source else {
            return Err(too_few);
        };
        if sum.rounds < Self::ROUNDS_MIN {
            return Err(too_few);
        }
        self.steady(source)?;
        Ok(Mean {
            source,
            nv_256: sum.mean_nv_256(source),
            noise_nv: sum.noise_nv(source),
        })
    }

    /// Do the stretches agree? Each mean lies within its own noise of the truth, so two lie within the sum of both, and of what the part's offset may move.
    fn steady(&self, source: &Source) -> Result<(), CalibrationError> {
        let spans = || self.spans.iter().filter(|span| span.rounds != 0);
        let count = u8::try_from(spans().count()).unwrap_or(u8::MAX);
        if count < Self::SPANS_MIN {
            return Err(CalibrationError::TooFewSpans {
                spans: count,
                least: Self::SPANS_MIN,
            });
        }
        for (place, one) in spans().enumerate() {
            for other in spans().skip(place) {
                let spread = one
                    .mean_nv_256(source)
                    .abs_diff(other.mean_nv_256(source))
                    .div_ceil(256);
                let limit = one
                    .noise_nv(source)
                    .saturating_add(other.noise_nv(source))
                    .saturating_add(nanovolts(source.spec.zero_stability));
                if spread > limit {
                    return Err(CalibrationError::Unstable {
                        spread: voltage(spread),
                        limit: voltage(limit),
                    });
                }
            }
        }
        Ok(())
    }
}

impl Source {
    /// Whether no wrap of the running sums can hide before `now`, by the host's clock and half of what full scale allows: oscillator and clock are off by far less.
    fn near_enough(&self, now: Stamp) -> bool {
        let elapsed_us = now.after_us.saturating_sub(self.last.stamp.before_us);
        let half = |bits: u8| {
            1_u64
                .checked_shl(u32::from(bits.saturating_sub(1)))
                .unwrap_or_default()
        };
        let code = u64::from(self.range.code_max).saturating_add(1);
        let safe_rounds = half(self.spec.accumulators.charge_bits)
            .checked_div(code)
            .unwrap_or_default()
            .min(half(self.spec.accumulators.rounds_bits));
        elapsed_us.saturating_mul(2) < safe_rounds.saturating_mul(u64::from(self.period_us))
    }
}

impl Span {
    const NONE: Self = Self {
        codes: 0,
        rounds: 0,
    };

    fn add(&mut self, other: &Self) {
        self.codes = self.codes.saturating_add(other.codes);
        self.rounds = self.rounds.saturating_add(other.rounds);
    }

    /// Mean sense voltage in 256ths of a nanovolt, rounded to nearest. A mean of codes of at most 32 bits times an LSB of as many: it fits.
    fn mean_nv_256(&self, source: &Source) -> i128 {
        let lsb_nv = i128::from(source.range.lsb_nv(source.spec.sense_unit_nv));
        mul_div(
            self.codes,
            lsb_nv.saturating_mul(256),
            u128::from(self.rounds),
        )
        .unwrap_or_default()
    }

    fn noise_nv(&self, source: &Source) -> u128 {
        let lsb_nv = source.range.lsb_nv(source.spec.sense_unit_nv);
        averaged(magnitude_nv(source.range.noise), lsb_nv, self.rounds).whole()
    }
}

/// Nanovolts as a voltage; the end of the range where they do not fit.
pub(super) fn voltage(nv: u128) -> Voltage {
    Voltage::from_nanovolts(i64::try_from(nv).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests;
