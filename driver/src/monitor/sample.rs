//! One coherent sample of all channels: lent by the monitor, kept as codes, converted on request.

use core::fmt;

use super::{Stamp, Timestamp};
use crate::Channel;
use crate::board::{Board, Mean, OperatingPoint, Rail, ReadingBound, rail_voltage};
use crate::config::AlertFlags;
use crate::config::{ChannelRange, Scan};
use crate::info::{PartInfo, Source};
use crate::part::{AddUp, Codes, Compare, Part, Sums};
use crate::units::{Current, Power, Voltage};

/// Voltage, current and power of one channel, from one latch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// At the load's side of the sense resistor. Resolution: the range's LSB.
    pub voltage: Voltage,
    /// Positive from source to load. Resolution: the range's LSB over the sense resistor.
    pub current: Current,
    /// Positive into the load; mean of products, not product of means.
    pub power: Power,
}

/// Why a channel has no reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum NoReading {
    /// The board has no such rail, or the part no such channel.
    NoSuchChannel(Channel),
    /// The channel was not enabled.
    NotEnabled(Channel),
    /// No mean was finished yet with this configuration.
    NotComplete,
    /// A conversion since the sample before went over range: what is given is a limit, not a value.
    Clipped {
        /// Which channel.
        channel: Channel,
        /// The reading made with clipped codes.
        reading: Reading,
        /// What it says of the current.
        current: Saturation,
        /// What it says of the voltage.
        voltage: Saturation,
    },
}

/// What a number says about the true value, when some of what it was made of was clipped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Saturation {
    /// It was not: the true value is near it, within the bound.
    None,
    /// The true value is at least that, less the bound.
    AtLeast,
    /// The true value may lie beyond on either side.
    Unknown,
}

/// All values of one latch of all channels.
pub trait Sample<const N: usize> {
    /// What the part can do.
    fn info(&self) -> &'static PartInfo;

    /// The board by which codes become quantities.
    fn board(&self) -> &Board<N>;

    /// The configuration under which it was converted.
    fn scan(&self) -> &Scan<N>;

    /// The ranges of a channel that has a reading; `None` where it was not enabled or no mean is
    /// finished.
    fn readable(&self, channel: Channel) -> Option<&ChannelRange>;

    /// The results of a channel in codes.
    fn codes(&self, channel: Channel) -> Codes;

    /// Number of configurations that came through, up to this sample: it tells one from the next. A
    /// [`resume`](crate::ShuntMonitor::resume) goes on with the number in its token.
    fn configuration(&self) -> u32;

    /// When it was latched; `None` without a clock.
    fn latched_at(&self) -> Option<Timestamp>;

    /// The part's running count of scans, or of [ticks](crate::info::SumBits::tick_us) where the
    /// driver keeps its sums by the host's clock: up to the last sample with codes. 0 where it has
    /// neither.
    fn scans(&self) -> u32;

    /// Voltage, current and power of a channel.
    ///
    /// # Errors
    /// [`NoReading`] says why there is none; after clipping it carries the limit that is known.
    #[inline]
    fn reading(&self, channel: Channel) -> Result<Reading, NoReading> {
        let (Some(range), Some(factors)) = (self.readable(channel), self.board().factors(channel))
        else {
            return Err(self.no_reading(channel));
        };
        let codes = self.codes(channel);
        let reading = Reading {
            voltage: rail_voltage(self.info(), range, codes.rail),
            current: factors.current(range, codes.sense),
            power: factors.power(range, codes.power, codes.rail),
        };
        if codes.sense_clipped | codes.rail_clipped {
            return Err(NoReading::Clipped {
                channel,
                reading,
                current: match (codes.sense_clipped, factors.is_forward()) {
                    (false, _) => Saturation::None,
                    (true, true) => Saturation::AtLeast,
                    (true, false) => Saturation::Unknown,
                },
                voltage: match codes.rail_clipped {
                    false => Saturation::None,
                    true => Saturation::AtLeast,
                },
            });
        }
        Ok(reading)
    }

    /// How far the three values of a channel's reading may lie from the truth, either way.
    ///
    /// `rail` is the one that the board was made of, [correction](Rail::corrected) included. `None`
    /// where it is not, and where the channel has no reading at all; of one that went over range
    /// the bound belongs to the limit that is known. What the bound is made of comes from
    /// [`Rail::current_budget`] and its like.
    fn bound(&self, channel: Channel, rail: &Rail) -> Option<ReadingBound> {
        let (info, factors) = (self.info(), self.board().factors(channel)?);
        let reading = match self.reading(channel) {
            Ok(reading) | Err(NoReading::Clipped { reading, .. }) => reading,
            Err(_) => return None,
        };
        if !factors.is_of(rail, info) {
            return None;
        }
        let at = OperatingPoint {
            range: *self.readable(channel)?,
            current: reading.current,
            voltage: reading.voltage,
            power: reading.power,
            mean: Mean::Reading {
                averaging_log2: self.scan().averaging_log2,
            },
        };
        rail.reading_bound(info, &at)
    }

    /// Why a channel has no reading, where it has none.
    fn no_reading(&self, channel: Channel) -> NoReading {
        if channel.index() >= N {
            NoReading::NoSuchChannel(channel)
        } else if self.scan().range(channel).is_none() {
            NoReading::NotEnabled(channel)
        } else {
            NoReading::NotComplete
        }
    }
}

/// A sample that was dated: what totals take.
pub trait TimedSample<const N: usize>: Sample<N> {
    /// When it was latched.
    fn timestamp(&self) -> Timestamp;

    /// The running sums of a channel.
    fn sums(&self, channel: Channel) -> Sums;

    /// Whether a mean was finished with this configuration, so that enabled channels have codes.
    fn is_complete(&self) -> bool {
        Channel::first(N as u8).any(|channel| self.readable(channel).is_some())
    }

    /// Whether anything went over range in this one.
    fn is_clipped(&self) -> bool {
        Channel::first(N as u8).any(|channel| {
            let codes = self.codes(channel);
            codes.sense_clipped || codes.rail_clipped
        })
    }

    /// Number of samples so far in which anything had gone over range, this one included.
    fn clipped_samples(&self) -> u32;
}

/// The last sample, as the monitor keeps it: what
/// [`ShuntMonitor::sample`](crate::ShuntMonitor::sample) lends.
pub struct Last<'b, P: Part, S, const N: usize> {
    pub(crate) block: P::Block,
    pub(crate) comparator: P::Comparator,
    pub(crate) sums: P::Sums,
    pub(crate) stamp: S,
    pub(crate) board: &'b Board<N>,
    pub(crate) scan: Scan<N>,
    /// Bit c: channel c has a reading.
    pub(crate) readable: u16,
    pub(crate) configuration: u32,
    pub(crate) clipped_samples: u32,
}

impl<P: Part, S: Stamp, const N: usize> Sample<N> for Last<'_, P, S, N> {
    #[inline(always)]
    fn info(&self) -> &'static PartInfo {
        P::INFO
    }

    #[inline(always)]
    fn board(&self) -> &Board<N> {
        self.board
    }

    fn scan(&self) -> &Scan<N> {
        &self.scan
    }

    #[inline(always)]
    fn readable(&self, channel: Channel) -> Option<&ChannelRange> {
        let bit = 1_u16.unbounded_shl(u32::from(channel.number()));
        self.scan
            .ranges
            .get(channel.index())
            .filter(|_| self.readable & bit != 0)
    }

    #[inline(always)]
    fn codes(&self, channel: Channel) -> Codes {
        P::codes(&self.block, channel)
    }

    #[inline(always)]
    fn configuration(&self) -> u32 {
        self.configuration
    }

    fn latched_at(&self) -> Option<Timestamp> {
        self.stamp.timestamp()
    }

    #[inline(always)]
    fn scans(&self) -> u32 {
        match P::INFO.sum_bits.tick_us {
            0 => P::scans(&self.block),
            _ => self.sums.scans(),
        }
    }
}

impl<P: Part, S: Stamp, const N: usize> Last<'_, P, S, N> {
    /// Adds up what the part does not.
    #[inline(always)]
    pub(crate) fn add_up(&mut self, stamp: Timestamp) {
        let scans = match P::INFO.sum_bits.tick_us {
            0 => P::scans(&self.block),
            _ => stamp.ticks(),
        };
        let block = &self.block;
        let bits = P::INFO.sum_bits.scans;
        self.sums.add(scans, bits, |channel, elapsed| {
            let mean = P::mean_power(block, channel, elapsed);
            (P::codes(block, channel), mean)
        });
    }

    /// Compares what the part does not, if it is fresh; gives all flags of that.
    #[inline(always)]
    pub(crate) fn compare(&mut self, fresh: bool) -> AlertFlags {
        let block = &self.block;
        if fresh {
            self.comparator.sample(|channel| P::codes(block, channel));
        }
        self.comparator.flags()
    }
}

impl<P: Part, const N: usize> TimedSample<N> for Last<'_, P, Timestamp, N> {
    #[inline(always)]
    fn timestamp(&self) -> Timestamp {
        self.stamp
    }

    #[inline(always)]
    fn sums(&self, channel: Channel) -> Sums {
        let (part, driver) = (P::sums(&self.block, channel), self.sums.of(channel));
        let of = |source| match source {
            Source::Part => &part,
            Source::Driver => &driver,
        };
        Sums {
            charge: of(P::INFO.charge_sum).charge,
            energy: of(P::INFO.energy_sum).energy,
        }
    }

    #[inline(always)]
    fn is_complete(&self) -> bool {
        self.readable != 0
    }

    #[inline(always)]
    fn is_clipped(&self) -> bool {
        P::is_clipped(&self.block)
    }

    #[inline(always)]
    fn clipped_samples(&self) -> u32 {
        self.clipped_samples
    }
}

impl<P: Part, S: Stamp, const N: usize> fmt::Debug for Last<'_, P, S, N> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut sample = f.debug_struct("Sample");
        sample
            .field("stamp", &self.stamp)
            .field("configuration", &self.configuration);
        for channel in Channel::first(N as u8) {
            sample.field("reading", &self.reading(channel));
        }
        sample.finish()
    }
}

impl fmt::Display for NoReading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchChannel(channel) => write!(f, "there is no {channel}"),
            Self::NotEnabled(channel) => write!(f, "{channel} was not enabled"),
            Self::NotComplete => f.write_str("no mean was finished yet with this configuration"),
            Self::Clipped {
                channel, reading, ..
            } => write!(
                f,
                "{channel} went over range: {} and {} are limits, not values",
                reading.current, reading.voltage
            ),
        }
    }
}

impl core::error::Error for NoReading {}
