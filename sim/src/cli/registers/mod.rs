//! `crake-sim registers`: the state of a part, register by register, at a moment of a run; or what registers a part has.

mod json;
mod listing;
mod stand;
mod state;
mod table;

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use clap::ValueEnum;
use crake::old::Channel;
use crake::old::part::description::{Description, Register};
use crake::old::part::pmbus::gallinule;
use crake::old::part::{corncrake, moorhen};
use crake::old::units::Resistance;

use super::{seconds, show, text};
use crate::bench::Bench;
use crate::old::corncrake::Part;
use crate::old::inspect::find;
use crate::run::{self, Observer, Row};
use crate::scenario::{Model, Scenario};
use state::State;

#[derive(Debug, clap::Args)]
pub(super) struct Registers {
    /// The scenario file (docs/scenario.md describes it).
    #[arg(required_unless_present = "part", conflicts_with = "part")]
    scenario: Option<PathBuf>,
    /// List the registers of this part, and run no scenario.
    #[arg(long)]
    part: Option<PartName>,
    /// Put this part on a bench with 1 A at 5 V on each channel, and print its state.
    #[arg(long, requires = "part", conflicts_with = "scenario")]
    state: bool,
    /// When to look, in seconds of the scenario; its end if this is left out.
    #[arg(long, value_name = "SECONDS", value_parser = seconds, allow_negative_numbers = true, conflicts_with = "part")]
    at: Option<Duration>,
    /// Take all chance from this seed instead of the scenario's own.
    #[arg(long, value_name = "N", conflicts_with = "part")]
    seed: Option<u64>,
    /// Only this register.
    #[arg(long, value_name = "NAME")]
    register: Option<String>,
    /// Print one JSON object (docs/registers.md describes it) instead of a table.
    #[arg(long)]
    json: bool,
}

/// A part whose registers are described.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum PartName {
    Corncrake,
    Moorhen,
    Gallinule,
}

/// Prints what was asked for, or says what is wrong.
pub(super) fn perform(args: &Registers) -> Result<(), String> {
    let printed = match (&args.scenario, args.part) {
        (Some(path), _) => {
            let scenario = Scenario::load(path).map_err(text)?;
            printed_state(&state(scenario, args)?, args.json)
        }
        (None, part) => {
            let part = part.unwrap_or(PartName::Corncrake);
            let description = match part {
                PartName::Corncrake => &corncrake::DESCRIPTION,
                PartName::Moorhen => &moorhen::DESCRIPTION,
                PartName::Gallinule => &gallinule::DESCRIPTION,
            };
            let registers = asked(description, args.register.as_deref())?;
            if args.state {
                printed_state(&stand::state(part, registers)?, args.json)
            } else if args.json {
                json::listing(description, &registers)
            } else {
                listing::listing(description, &registers)
            }
        }
    };
    show(&printed)
}

fn printed_state(state: &State, json: bool) -> String {
    if json {
        json::state(state)
    } else {
        table::state(state)
    }
}

/// The register of this name, or all.
fn asked(
    description: &'static Description,
    name: Option<&str>,
) -> Result<Vec<&'static Register>, String> {
    match name {
        Some(name) => Ok(vec![find(description, name).map_err(text)?]),
        None => Ok(description.registers.iter().collect()),
    }
}

/// Runs the scenario until the moment asked for, then looks at the part.
fn state(mut scenario: Scenario, args: &Registers) -> Result<State, String> {
    let description = match scenario.part.model {
        Model::Corncrake => &corncrake::DESCRIPTION,
    };
    let registers = asked(description, args.register.as_deref())?;
    if let Some(at) = args.at {
        let at_ns = u64::try_from(at.as_nanos()).unwrap_or(u64::MAX);
        if at_ns > scenario.duration_ns {
            let seconds = scenario.duration_ns as f64 / 1e9;
            return Err(format!("--at: the run ends at {seconds} s"));
        }
        scenario.duration_ns = at_ns;
    }
    let seed = args.seed.unwrap_or(scenario.seed);
    let mut onlooker = Onlooker::default();
    run::run(&scenario, seed, &mut onlooker).map_err(|error| format!("{error} (seed {seed})"))?;
    let Some(bench) = onlooker.bench else {
        return Err("the run never began".to_owned());
    };

    let resistors: Vec<_> = scenario
        .rails
        .iter()
        .map(|rail| {
            let nominal = Resistance::from_nanoohms(rail.sense.resistance_nohm);
            (Channel::new(rail.channel), nominal)
        })
        .collect();
    let address = scenario.part.address;
    State::read(
        scenario.title,
        &bench,
        (address, description),
        registers,
        &resistors,
    )
}

/// Keeps the bench of a run.
#[derive(Default)]
struct Onlooker {
    bench: Option<Bench>,
}

impl Observer for Onlooker {
    fn begin(&mut self, bench: &Bench, _: &Part) -> io::Result<()> {
        self.bench = Some(bench.clone());
        Ok(())
    }

    fn progress(&mut self, _: u64, _: u64) {}

    fn reading(&mut self, _: &Row<'_>) -> io::Result<()> {
        Ok(())
    }
}
