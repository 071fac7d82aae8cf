//! The main job end to end: a scenario's rails on a virtual board, measured by the parts' models,
//! read by firmware built on the driver over the virtual bus, totalled up, and held against the
//! truth.
//!
//! ```no_run
//! use crake_sim::run::{Silent, run};
//! use crake_sim::scenario::Scenario;
//!
//! let scenario = Scenario::load("examples/survey-skiff.toml")?;
//! let report = run(&scenario, 1, &mut Silent)?;
//! assert!(report.rails.iter().all(|rail| rail.energy_j.within));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod alerts;
mod board;
mod books;
mod crossings;
mod error;
mod extremes;
mod faults;
mod firmware;
mod host;
mod part;
mod reactions;
mod reading;
mod report;
mod service;
mod station;
mod verdict;

pub(crate) use alerts::kind;
pub(crate) use board::{Conversions, described};
pub use error::RunError;
pub use extremes::Spread;
pub use faults::{FailureReport, FaultReport};
pub use firmware::{Observer, Silent};
pub use part::{Fit, Fitting, OnBench, PARTS};
pub use reactions::AlertReport;
pub(crate) use reactions::word_of;
pub use reading::{ReadingBounds, Row};
pub use report::{BusReport, Figure, MonitorReport, PartReport, Parts, RailReport, Report};
pub use verdict::Verdict;

use crate::scenario::Scenario;

/// Runs a scenario to its end with all chance from `seed`; the same scenario and seed give the same
/// report, to the bit.
///
/// # Errors
/// A board that the driver refuses, or an operation of the driver that failed in a scenario without
/// faults: each says what and where. Whatever `observer` could not do.
pub fn run(
    scenario: &Scenario,
    seed: u64,
    observer: &mut dyn Observer,
) -> Result<Report, RunError> {
    run_with(&PARTS, scenario, seed, observer)
}

/// The same with other parts than this crate's, of a scenario that was
/// [read](Scenario::parse_with) with their kinds.
///
/// # Errors
/// As [`run`], and a part of the scenario that is not among `parts`.
pub fn run_with(
    parts: &[&dyn Fit],
    scenario: &Scenario,
    seed: u64,
    observer: &mut dyn Observer,
) -> Result<Report, RunError> {
    firmware::run(parts, scenario, seed, observer)
}
