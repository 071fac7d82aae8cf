use core::fmt;

use crate::board::Rail;
use crate::config::{ConfigError, Kind};
use crate::units::{Current, Voltage};

/// What has to be known, and how soon. `None` demands nothing.
#[derive(Clone, Copy, Debug)]
pub struct Demands<'d> {
    /// From a rail's passing a limit to the event in the firmware, in microseconds at the most:
    /// what host and bus take is in it, as long as transfers come through at the first try.
    pub alert_us: Option<u64>,
    /// The shortest excursion beyond a limit that has to be seen for sure, in microseconds.
    pub event_us: Option<u64>,
    /// Greatest bound of a rail's energy over a day, in parts per million of that energy.
    pub energy_ppm: Option<u32>,
    /// The host wakes this often, in microseconds, and no more often. Without it, it wakes as
    /// seldom as all else allows.
    pub wake_us: Option<u64>,
    /// Kinds of limits that alerts and events are about.
    pub kinds: &'d [Kind],
    /// Rails that energy is about, by channel.
    pub rails: &'d [Option<RailUse>],
}

/// A rail, and where it is on average over a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RailUse {
    /// The rail; its declared load tells how it moves between conversions.
    pub rail: Rail,
    /// Its voltage.
    pub voltage: Voltage,
    /// Its mean current.
    pub current: Current,
}

/// One of the demands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Demand {
    /// [`Demands::alert_us`].
    Alert,
    /// [`Demands::event_us`].
    Event,
    /// [`Demands::energy_ppm`].
    Energy,
    /// [`Demands::wake_us`].
    Wake,
}

/// Why there is no plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Unmet {
    /// The configuration cannot be.
    Config(ConfigError),
    /// The part refuses the configuration in every mode.
    Refused,
    /// No way to run the part meets this one, whatever becomes of the others.
    Alone {
        /// Which.
        demand: Demand,
        /// The nearest that the part comes, in the demand's unit: the least, but of
        /// [`Demand::Wake`] the greatest. `None` where it does not know the thing at all.
        nearest: Option<u64>,
    },
    /// Each can be met, but not both at once.
    Crossed(Demand, Demand),
    /// Any two can be met, but not all.
    Together,
}

impl Demand {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Alert, Self::Event, Self::Energy, Self::Wake];
}

impl<'d> Demands<'d> {
    /// Nothing; over-current is what limits are about.
    pub const NONE: Self = Self {
        alert_us: None,
        event_us: None,
        energy_ppm: None,
        wake_us: None,
        kinds: &[Kind::OverCurrent],
        rails: &[],
    };

    /// Whether it is demanded at all.
    #[must_use]
    pub const fn has(&self, demand: Demand) -> bool {
        match demand {
            Demand::Alert => self.alert_us.is_some(),
            Demand::Event => self.event_us.is_some(),
            Demand::Energy => self.energy_ppm.is_some(),
            Demand::Wake => self.wake_us.is_some(),
        }
    }

    /// The same without one.
    #[must_use]
    pub const fn without(mut self, demand: Demand) -> Self {
        match demand {
            Demand::Alert => self.alert_us = None,
            Demand::Event => self.event_us = None,
            Demand::Energy => self.energy_ppm = None,
            Demand::Wake => self.wake_us = None,
        }
        self
    }

    /// The same with one that is twice as lax: twice as long, twice as far off.
    #[must_use]
    pub fn relaxed(mut self, demand: Demand) -> Self {
        let twice = |us: u64| us.saturating_mul(2);
        match demand {
            Demand::Alert => self.alert_us = self.alert_us.map(twice),
            Demand::Event => self.event_us = self.event_us.map(twice),
            Demand::Energy => self.energy_ppm = self.energy_ppm.map(|ppm| ppm.saturating_mul(2)),
            Demand::Wake => self.wake_us = self.wake_us.map(twice),
        }
        self
    }

    /// Only those of these two.
    pub(super) fn only(mut self, one: Demand, other: Demand) -> Self {
        for demand in Demand::ALL {
            if demand != one && demand != other {
                self = self.without(demand);
            }
        }
        self
    }
}

impl fmt::Display for Demand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Alert => "time to an alert",
            Self::Event => "least event",
            Self::Energy => "energy error per day",
            Self::Wake => "time between wake-ups",
        })
    }
}

impl fmt::Display for Unmet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Config(error) => error.fmt(f),
            Self::Refused => f.write_str("the part refuses the configuration in every mode"),
            Self::Alone { demand, .. } => {
                write!(f, "no way to run the part meets the {demand}")
            }
            Self::Crossed(one, other) => {
                write!(f, "{one} and {other} cannot be met at once")
            }
            Self::Together => f.write_str("the demands cannot all be met at once"),
        }
    }
}

impl core::error::Error for Unmet {}
