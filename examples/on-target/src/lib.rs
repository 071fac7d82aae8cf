//! What runs on the microcontroller and, unchanged, on the host: the worked examples of the
//! datasheet and a short mission of the skiff, driver and part together.
//!
//! Everything that is found out is written as lines of text, so that two runs are the same if their
//! lines are.
#![no_std]
#![forbid(unsafe_code)]

extern crate alloc;

pub mod conformance;
pub mod examples;
mod fixture;
pub mod mission;
#[path = "../../defmt/src/part.rs"]
mod replay;

use core::fmt::{self, Write};

use crake_sim::bench::BenchError;
use crake_sim::plant::PlantError;

/// Why a run ended early, or what came out wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// The board could not be put together.
    Bench(BenchError),
    /// A rail could not be put together.
    Plant(PlantError),
    /// The lines could not be written.
    Lines(fmt::Error),
    /// A worked example of this number did not come out as the document says, in this respect.
    Example(u32, &'static str),
    /// The mission did not come out as it must, in this respect.
    Mission(&'static str),
    /// A part does not conform: the lines say in what.
    Conformance,
}

impl From<BenchError> for Wrong {
    fn from(error: BenchError) -> Self {
        Self::Bench(error)
    }
}

impl From<PlantError> for Wrong {
    fn from(error: PlantError) -> Self {
        Self::Plant(error)
    }
}

impl From<fmt::Error> for Wrong {
    fn from(error: fmt::Error) -> Self {
        Self::Lines(error)
    }
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bench(error) => write!(f, "bench: {error}"),
            Self::Plant(error) => write!(f, "plant: {error}"),
            Self::Lines(error) => write!(f, "lines: {error}"),
            Self::Example(number, what) => write!(f, "example {number} of section 10: {what}"),
            Self::Mission(what) => write!(f, "mission: {what}"),
            Self::Conformance => f.write_str("a part does not conform"),
        }
    }
}

impl core::error::Error for Wrong {}

/// Everything: examples first, then the mission with this seed.
///
/// # Errors
/// The first thing that is wrong; the lines until then were written.
pub fn run(out: &mut dyn Write, seed: u64) -> Result<(), Wrong> {
    examples::run(out)?;
    mission::run(out, seed)?;
    writeln!(out, "all as it should be")?;
    Ok(())
}
