//! Scenario files: which rails, which part, how long. The format is described in
//! `docs/scenario.md`.
//!
//! A [`Scenario`] is read and checked as a whole, recordings included, before anything runs. Every
//! number has become a whole number of a small unit, worked out from the decimal text itself, so
//! that a scenario means the same everywhere.
//!
//! ```no_run
//! let scenario = crake_sim::scenario::Scenario::load("examples/survey-skiff.toml")?;
//! let plants = scenario.plants()?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod actual;
mod alert;
mod check;
mod contradiction;
mod converter;
pub(crate) mod decimal;
mod declared;
mod error;
mod fault;
mod jumps;
mod load;
mod mend;
mod part;
mod profile;
mod rail;
mod read;
mod recording;
mod renamed;
mod schema;
mod table;
mod way;
mod word;

use std::path::Path;

use crate::plant::{Plant, PlantError};

pub(crate) use alert::KINDS as ALERT_KINDS;
pub use alert::{AlertKind, AlertPlan, Route};
pub use check::mistakes;
pub use contradiction::Contradiction;
pub use converter::ConverterPlan;
pub use declared::{Declared, Flow};
pub use error::ScenarioError;
pub use fault::FaultPlan;
pub use load::{Draws, LoadPlan};
pub use part::{Errors, PartKind, PartPlan};
pub use profile::ProfilePlan;
pub use rail::{CellPlan, RailPlan, Sense, SourcePlan, Supply};
pub use read::{Board, Host};
pub(crate) use schema::schema;

/// Bytes of a scenario file, and of a recording.
const SCENARIO_MAX: u64 = 1 << 20;
const RECORDING_MAX: u64 = 256 << 20;

/// A scenario, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scenario {
    /// What it is about, in one line.
    pub title: String,
    /// How long it runs, in nanoseconds of the bench's time.
    pub duration_ns: u64,
    /// What all chance comes from.
    pub seed: u64,
    /// The parts that measure: one at least, no address and no name twice.
    pub parts: Vec<PartPlan>,
    /// Clock of the I2C bus, in hertz.
    pub bus_hz: u32,
    /// The host that reads the parts.
    pub host: Host,
    /// What the board is exposed to.
    pub board: Board,
    /// One rail at least, in the file's order; no channel of a part and no name twice.
    pub rails: Vec<RailPlan>,
    /// What goes wrong, in the file's order.
    pub faults: Vec<FaultPlan>,
}

impl Scenario {
    /// Reads a scenario file and the recordings that it names, whose paths are relative to it.
    ///
    /// # Errors
    /// The first thing that is wrong with the file, with its line; nothing is built.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, ScenarioError> {
        Self::load_with_text(path.as_ref()).map(|(scenario, _)| scenario)
    }

    /// The same, and the file's text as it was read.
    pub(crate) fn load_with_text(path: &Path) -> Result<(Self, String), ScenarioError> {
        let text = error::read_text(path, SCENARIO_MAX)
            .map_err(|cannot| ScenarioError::of_file(path, cannot))?;
        Ok((Self::parse(&text, path)?, text))
    }

    /// The same from a text in hand. `path` names it in errors and is where recordings are looked
    /// for; it need not exist.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn parse(text: &str, path: impl AsRef<Path>) -> Result<Self, ScenarioError> {
        Self::parse_with(&PartKind::ALL, text, path)
    }

    /// The same with parts of these kinds, of one's own among them; the first is what a part is
    /// that has no `model`. [`run_with`](crate::run::run_with) runs it.
    ///
    /// # Errors
    /// As [`load`](Self::load).
    pub fn parse_with(
        kinds: &[&'static PartKind],
        text: &str,
        path: impl AsRef<Path>,
    ) -> Result<Self, ScenarioError> {
        let path = path.as_ref();
        let spot = None;
        read::scenario(error::Text { path, text, spot }, kinds)
    }

    /// Whether anything goes wrong.
    pub(crate) fn has_faults(&self) -> bool {
        let mut parts = self.parts.iter();
        !self.faults.is_empty() || parts.any(|part| part.fitted_address != part.address)
    }

    /// The rails of a part, by its place.
    pub fn rails_of(&self, part: usize) -> impl Iterator<Item = &RailPlan> {
        self.rails.iter().filter(move |rail| rail.part == part)
    }

    /// The rails as plants, in the file's order.
    ///
    /// # Errors
    /// None for a scenario that was read from a file; one put together in code may ask for what
    /// cannot be built.
    pub fn plants(&self) -> Result<Vec<Box<dyn Plant>>, PlantError> {
        let plant = |plan: &RailPlan| Ok(Box::new(plan.rail()?) as Box<dyn Plant>);
        self.rails.iter().map(plant).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// docs/scenario.md: "another one is a fault".
    #[test]
    fn a_strap_that_is_not_the_declared_one_is_a_fault() {
        let has_faults = |keys: &str, rest: &str| {
            let text = format!(
                "title = \"t\"\nduration_s = 1\n[part]\nstrap = 1\n{keys}\n[[rail]]\n\
                 name = \"A\"\nsense.resistance_ohm = 1\nsource.voltage_v = 1\n\
                 load.current_a = 0\n{rest}"
            );
            Scenario::parse(&text, "case.toml").map(|scenario| scenario.has_faults())
        };
        assert_eq!(has_faults("", ""), Ok(false));
        assert_eq!(has_faults("fitted_strap = 1", ""), Ok(false));
        assert_eq!(has_faults("fitted_strap = 2", ""), Ok(true));
        let reset = "[[fault]]\nkind = \"reset\"";
        assert_eq!(has_faults("", reset), Ok(true));
    }
}
