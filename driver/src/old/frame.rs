//! One coherent latch of all channels.

use core::fmt;

use crate::old::Channel;
use crate::old::board::{Flow, Rail};
use crate::old::bound::Bound;
use crate::old::part::{Codec, Codes, Counters, Head, Spec};
use crate::old::sampling::{Mode, Ranges};
use crate::units::{Current, Power, Voltage};

/// When a latch was taken on the host's clock: between two readings of it.
///
/// Unit: microseconds since the clock's own beginning.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stamp {
    /// Read right before the latch was asked for.
    pub before_us: u64,
    /// Read right after.
    pub after_us: u64,
}

impl Stamp {
    /// How long the bracket is.
    #[must_use]
    pub const fn bracket_us(&self) -> u64 {
        self.after_us.saturating_sub(self.before_us)
    }
}

/// What a frame says of the part as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Condition {
    /// Latched while the set-up ran on.
    Steady,
    /// Latched at the very moment at which another set-up took over: belongs to the old one, and the new one begins here.
    Boundary,
    /// The part was reset since it was set up: nothing in this frame belongs to what came before. Initialise it.
    Reset,
    /// The part's supply is declared off; nothing was read.
    Unpowered,
}

/// All values of one latch of all channels: lent by the monitor, kept as codes, converted on request.
///
/// All values belong together: the part copied them at the end of one round. A frame also carries the part's running sums for a [`Ledger`](crate::old::ledger::Ledger).
#[derive(Clone, Copy)]
pub struct Frame<'a> {
    pub(crate) codec: &'a dyn Codec,
    pub(crate) block: &'a [u8],
    pub(crate) rails: &'a [Rail],
    pub(crate) stamp: Stamp,
    pub(crate) condition: Condition,
    /// As its head has it, which every reading asks.
    pub(crate) complete: bool,
    /// The same, which every ledger asks.
    pub(crate) rounds: u32,
    /// The same.
    pub(crate) mode: Mode,
    pub(crate) unbroken: bool,
    /// It joins a part that was left, and what was before is vouched for.
    pub(crate) joined: bool,
    /// Number of times that a set-up took over or the chain of frames broke, up to this frame and including it: what a ledger was not given shows.
    pub(crate) turns: u32,
}

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
    /// No mean was finished yet with this set-up.
    NotComplete,
    /// A conversion since the frame before went over range. What is given is a limit, not a value.
    Clipped {
        /// Which channel.
        channel: Channel,
        /// The reading made with clipped codes.
        reading: Reading,
        /// What it says of the current.
        current: Side,
        /// What it says of the voltage.
        voltage: Side,
    },
    /// The part was reset, or has no supply.
    NotRunning,
}

/// What a number says about the true value, when some of what it was made of was clipped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Side {
    /// Near it, within the bound.
    Near,
    /// The true value is at least that, less the bound.
    AtLeast,
    /// The true value may lie beyond on either side.
    Unknown,
}

impl Frame<'_> {
    /// When it was latched.
    #[must_use]
    pub const fn stamp(&self) -> Stamp {
        self.stamp
    }

    /// What it says of the part as a whole.
    #[must_use]
    pub const fn condition(&self) -> Condition {
        self.condition
    }

    /// Whether the part is known to have run under our set-up alone since the frame before.
    #[must_use]
    pub const fn unbroken(&self) -> bool {
        self.unbroken
    }

    /// What the part can do.
    #[must_use]
    pub fn spec(&self) -> &'static Spec {
        self.codec.spec()
    }

    /// Head of the block: set-up serial, mode, count of rounds.
    #[must_use]
    pub fn head(&self) -> Head {
        self.codec.head(self.block)
    }

    /// The ranges with which a channel was converted; `None` where it was not enabled.
    #[must_use]
    pub fn ranges(&self, channel: Channel) -> Option<Ranges> {
        self.codec.ranges(self.block, channel)
    }

    /// The results of a channel in codes.
    #[must_use]
    pub fn codes(&self, channel: Channel) -> Codes {
        self.codec.codes(self.block, channel)
    }

    /// The running sums of a channel.
    #[must_use]
    pub fn counters(&self, channel: Channel) -> Counters {
        self.codec.counters(self.block, channel)
    }

    /// Voltage, current and power of a channel.
    ///
    /// # Errors
    /// [`NoReading`] says why there is none; after clipping it carries the limit that is known.
    pub fn reading(&self, channel: Channel) -> Result<Reading, NoReading> {
        if matches!(self.condition, Condition::Reset | Condition::Unpowered) {
            return Err(NoReading::NotRunning);
        }
        let rail = self
            .rails
            .get(channel.index())
            .ok_or(NoReading::NoSuchChannel(channel))?;
        let ranges = self.ranges(channel).ok_or(NoReading::NotEnabled(channel))?;
        if !self.complete {
            return Err(NoReading::NotComplete);
        }
        let spec = self.spec();
        let (Some(sense), Some(bus)) = (spec.sense_range(ranges.sense), spec.bus_range(ranges.bus))
        else {
            return Err(NoReading::NotEnabled(channel));
        };
        let codes = self.codes(channel);
        // A code of at most 24 bits times an LSB of a few units, and a power code of at most 40 bits: far from the types' ends.
        let sense_units = codes.sense.wrapping_mul(sense.lsb_units as i32);
        let bus_units = u64::from(codes.bus).wrapping_mul(u64::from(bus.lsb_units));
        let products = codes
            .power
            .wrapping_mul(i64::from(sense.lsb_units.wrapping_mul(bus.lsb_units)));
        let voltage =
            Voltage::from_nanovolts(bus_units.wrapping_mul(u64::from(spec.bus_unit_nv)) as i64);
        let reading = Reading {
            voltage,
            current: rail.current(sense_units),
            power: rail.power(products, voltage),
        };
        if codes.sense_clipped || codes.bus_clipped {
            let current = match (codes.sense_clipped, rail.load().flow()) {
                (false, _) => Side::Near,
                (true, Flow::Forward) => Side::AtLeast,
                (true, Flow::Both) => Side::Unknown,
            };
            let voltage = if codes.bus_clipped {
                Side::AtLeast
            } else {
                Side::Near
            };
            return Err(NoReading::Clipped {
                channel,
                reading,
                current,
                voltage,
            });
        }
        Ok(reading)
    }

    /// How far [`reading`](Self::reading)'s current may lie from the mean of what flowed while it was converted, by named parts.
    ///
    /// The board's limits and correction are taken as they are; see [`Rail::current_bound`].
    ///
    /// # Errors
    /// As [`reading`](Self::reading): what has no value has no bound.
    pub fn current_bound(&self, channel: Channel) -> Result<Bound<Current>, NoReading> {
        let reading = self.reading(channel)?;
        let rail = self
            .rails
            .get(channel.index())
            .ok_or(NoReading::NoSuchChannel(channel))?;
        self.ranges(channel)
            .and_then(|ranges| {
                let k = self.head().averaging;
                rail.part_mean_bound(self.spec(), ranges.sense, reading.current, k)
            })
            .ok_or(NoReading::NotEnabled(channel))
    }
}

impl fmt::Debug for Frame<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut frame = f.debug_struct("Frame");
        frame
            .field("stamp", &self.stamp)
            .field("condition", &self.condition)
            .field("head", &self.head());
        for channel in Channel::first(u8::try_from(self.rails.len()).unwrap_or(u8::MAX)) {
            frame.field("codes", &self.codes(channel));
        }
        frame.finish()
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Frame<'_> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "Frame {{ stamp: {}, condition: {}, head: {} }}",
            self.stamp,
            self.condition,
            self.head()
        );
    }
}

impl fmt::Display for NoReading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchChannel(channel) => write!(f, "there is no {channel}"),
            Self::NotEnabled(channel) => write!(f, "{channel} was not enabled"),
            Self::NotComplete => f.write_str("no mean was finished yet with this set-up"),
            Self::Clipped {
                channel, reading, ..
            } => {
                write!(
                    f,
                    "{channel} went over range: {} and {} are limits, not values",
                    reading.current, reading.voltage
                )
            }
            Self::NotRunning => f.write_str("the part was reset or has no supply"),
        }
    }
}

impl core::error::Error for NoReading {}
