use std::fmt;

use crake::Channel;
use crake::config::{ConfigError, LimitError};

use super::firmware::Setup;
use crate::bench::BenchError;
use crate::bus::BusError;
use crate::plant::PlantError;

/// Why a run did not come to its end.
#[derive(Debug)]
pub enum RunError {
    /// The bench refuses the part.
    Bench(BenchError),
    /// A rail cannot be built.
    Plant(PlantError),
    /// The driver failed on the virtual bus, or refuses board or configuration as a whole.
    Driver(crake::Error<BusError>),
    /// The driver refuses what is asked of this rail.
    Rail {
        /// Line of the scenario file.
        line: u64,
        /// The rail's name.
        rail: String,
        /// Why.
        error: ConfigError,
    },
    /// A limit cannot be set on this rail.
    Alert {
        /// Line of the scenario file.
        line: u64,
        /// The rail's name.
        rail: String,
        /// Why not.
        error: LimitError,
    },
    /// No model was given of a kind of part, by its word.
    NoModel(&'static str),
    /// The bench stood still.
    Stall(String),
    /// The observer could not write what it saw.
    Observer(std::io::Error),
}

impl RunError {
    /// What the driver says of a part, by the name of the rail that it is about.
    pub(super) fn named(setup: &Setup<'_>, error: crake::Error<BusError>) -> Self {
        use crake::ErrorKind;
        use crake::config::ConfigError::{RailFullScale, SenseFullScale, SenseResistor};

        let find = |channel: Channel| {
            let mut rails = setup.rails();
            rails.find(|rail| rail.channel == channel.number())
        };
        let named = match error.kind {
            ErrorKind::Limits(error) => find(error.channel).map(|rail| {
                let mut alerts = rail.alerts.iter();
                let alert = alerts.find(|alert| super::alerts::kind(alert) == error.kind);
                Self::Alert {
                    line: alert.map_or(rail.line, |alert| alert.line),
                    rail: rail.name.clone(),
                    error,
                }
            }),
            ErrorKind::Config(
                error @ (SenseFullScale(channel) | RailFullScale(channel) | SenseResistor(channel)),
            ) => find(channel).map(|rail| Self::Rail {
                line: rail.line,
                rail: rail.name.clone(),
                error,
            }),
            _ => None,
        };
        named.unwrap_or(Self::Driver(error))
    }
}

impl RunError {
    /// Line of the scenario file that it is about.
    #[must_use]
    pub const fn line(&self) -> Option<u64> {
        match self {
            Self::Rail { line, .. } | Self::Alert { line, .. } => Some(*line),
            _ => None,
        }
    }
}

impl fmt::Display for RunError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bench(error) => write!(f, "the bench cannot be built: {error}"),
            Self::Plant(error) => write!(f, "a rail cannot be built: {error}"),
            Self::Driver(error) => write!(f, "the driver gave up: {error}"),
            Self::Rail { rail, error, .. } => write!(f, "rail \"{rail}\": {error}"),
            Self::Alert { rail, error, .. } => write!(f, "rail \"{rail}\": {error}"),
            Self::NoModel(word) => write!(f, "no model was given of the part \"{word}\""),
            Self::Stall(stall) => write!(f, "the bench stands still: {stall}"),
            Self::Observer(error) => write!(f, "{error}"),
        }
    }
}

impl std::error::Error for RunError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Bench(error) => Some(error),
            Self::Plant(error) => Some(error),
            Self::Driver(error) => Some(error),
            Self::Rail { error, .. } => Some(error),
            Self::Alert { error, .. } => Some(error),
            Self::NoModel(_) | Self::Stall(_) => None,
            Self::Observer(error) => Some(error),
        }
    }
}

impl From<BenchError> for RunError {
    fn from(error: BenchError) -> Self {
        Self::Bench(error)
    }
}

impl From<PlantError> for RunError {
    fn from(error: PlantError) -> Self {
        Self::Plant(error)
    }
}

impl From<crake::Error<BusError>> for RunError {
    fn from(error: crake::Error<BusError>) -> Self {
        Self::Driver(error)
    }
}
