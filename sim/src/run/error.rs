use std::fmt;

use crate::bus::BusError;
use crake::old::board::BoardError;

use crate::bench::BenchError;
use crate::plant::PlantError;

/// Why a run did not come to its end.
#[derive(Debug)]
pub enum RunError {
    /// The driver refuses the board.
    Board(BoardError),
    /// The bench refuses the part.
    Bench(BenchError),
    /// A rail cannot be built.
    Plant(PlantError),
    /// The driver failed on the virtual bus.
    Driver(crake::old::Error<BusError>),
    /// A watch cannot be put in force on this rail.
    Alert {
        /// The rail's name.
        rail: String,
        /// Why not.
        misuse: crake::old::Misuse,
    },
    /// The bench stood still.
    Stall(String),
    /// The observer could not write what it saw.
    Observer(std::io::Error),
}

impl fmt::Display for RunError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Board(error) => write!(f, "the board cannot be: {error}"),
            Self::Bench(error) => write!(f, "the bench cannot be built: {error}"),
            Self::Plant(error) => write!(f, "a rail cannot be built: {error}"),
            Self::Driver(error) => write!(f, "the driver gave up {error}"),
            Self::Alert { rail, misuse } => write!(f, "rail \"{rail}\": {misuse}"),
            Self::Stall(stall) => write!(f, "the bench stands still: {stall}"),
            Self::Observer(error) => write!(f, "output failed: {error}"),
        }
    }
}

impl std::error::Error for RunError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Board(error) => Some(error),
            Self::Bench(error) => Some(error),
            Self::Plant(error) => Some(error),
            Self::Driver(error) => Some(error),
            Self::Alert { misuse, .. } => Some(misuse),
            Self::Stall(_) => None,
            Self::Observer(error) => Some(error),
        }
    }
}

impl From<BoardError> for RunError {
    fn from(error: BoardError) -> Self {
        Self::Board(error)
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

impl From<crake::old::Error<BusError>> for RunError {
    fn from(error: crake::old::Error<BusError>) -> Self {
        Self::Driver(error)
    }
}
