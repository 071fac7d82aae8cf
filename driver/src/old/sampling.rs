//! What is to be converted, how often, and averaged over how much.

use crate::old::Channel;
use crate::old::exchange::Misuse;
use crate::old::part::{BusRange, Pace, SenseRange, Spec};

/// Ranges of one enabled channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ranges {
    /// Range of the voltage across the sense resistor.
    pub sense: SenseRange,
    /// Range of the bus voltage.
    pub bus: BusRange,
}

/// What the part does by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Mode {
    /// Nothing: no conversions, accumulators stand still, least supply current.
    Idle,
    /// Rounds at a fixed pace, for ever.
    Paced(Pace),
    /// As many rounds as one mean takes, back to back, then idle.
    SingleShot,
    /// Sense of one channel as fast as the part can, into its store; accumulators stand still.
    Burst(Channel),
}

/// A sampling set-up for `N` channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Setup<const N: usize> {
    /// Ranges of each enabled channel; `None` leaves a channel out.
    pub channels: [Option<Ranges>; N],
    /// What the part does by itself.
    pub mode: Mode,
    /// k: readings are means of 2^k rounds. Accumulators take every round regardless.
    pub averaging: u8,
}

impl<const N: usize> Setup<N> {
    /// All `N` channels in the same ranges, readings from single rounds.
    #[must_use]
    pub const fn all(ranges: Ranges, mode: Mode) -> Self {
        Self {
            channels: [Some(ranges); N],
            mode,
            averaging: 0,
        }
    }

    /// The same with other ranges for one channel; unchanged where there is no such channel.
    #[must_use]
    pub fn with(mut self, channel: Channel, ranges: Option<Ranges>) -> Self {
        if let Some(entry) = self.channels.get_mut(channel.index()) {
            *entry = ranges;
        }
        self
    }

    /// The same with means of 2^`k` rounds.
    #[must_use]
    pub const fn averaging(mut self, k: u8) -> Self {
        self.averaging = k;
        self
    }

    /// The same set-up without its width in the type, as parts take it.
    #[must_use]
    pub const fn view(&self) -> Sampling<'_> {
        Sampling {
            channels: &self.channels,
            mode: self.mode,
            averaging: self.averaging,
        }
    }
}

/// A [`Setup`] without its width in the type.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sampling<'a> {
    /// Ranges of each enabled channel.
    pub channels: &'a [Option<Ranges>],
    /// What the part does by itself.
    pub mode: Mode,
    /// k of means of 2^k rounds.
    pub averaging: u8,
}

impl Sampling<'_> {
    /// Whether a part can do this.
    ///
    /// # Errors
    /// The first thing that does not fit.
    pub fn check(&self, spec: &Spec) -> Result<(), Misuse> {
        for (channel, ranges) in Channel::first(u8::MAX).zip(self.channels) {
            if channel.number() >= spec.channels {
                return Err(Misuse::NoSuchChannel(channel));
            }
            if let Some(ranges) = ranges {
                spec.sense_range(ranges.sense)
                    .ok_or(Misuse::NoSuchSenseRange(channel))?;
                spec.bus_range(ranges.bus)
                    .ok_or(Misuse::NoSuchBusRange(channel))?;
            }
        }
        if self.channels.iter().all(Option::is_none) {
            return Err(Misuse::NoChannel);
        }
        if self.averaging > spec.averaging_max {
            return Err(Misuse::NoSuchAveraging {
                k: self.averaging,
                max: spec.averaging_max,
            });
        }
        match self.mode {
            Mode::Idle | Mode::SingleShot => Ok(()),
            Mode::Paced(pace) => spec.period_us(pace).map(|_| ()).ok_or(Misuse::NoSuchPace),
            Mode::Burst(_) if spec.burst_max == 0 => Err(Misuse::NoBurst),
            Mode::Burst(channel) => match self.channels.get(channel.index()) {
                Some(Some(_)) => Ok(()),
                Some(None) => Err(Misuse::BurstOnDisabled(channel)),
                None => Err(Misuse::NoSuchChannel(channel)),
            },
        }
    }
}
