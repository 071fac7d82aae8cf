//! `crake-sim registers`: the state of a part, register by register, at a moment of a run; or what
//! registers a part has.

mod described;
pub(super) mod json;
mod listing;
mod stand;
mod table;
mod view;

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use crake::Channel;
use crake::units::Resistance;

use super::part::PartName;
use super::{seconds, show, text, whole};
use crate::bench::Bench;
use crate::inspect::{CORNCRAKE, GALLINULE, MOORHEN};
use crate::run::{self, Observer, OnBench, Row};
use crate::scenario::{PartPlan, Scenario};
use view::State;

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: crake-sim registers examples/survey-skiff.toml --at 20 --register FLAGS"
)]
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
    #[arg(
        long,
        value_name = "SECONDS",
        value_parser = seconds,
        allow_negative_numbers = true,
        conflicts_with = "part"
    )]
    at: Option<Duration>,
    /// Take all chance from this seed instead of the scenario's own.
    #[arg(
        long,
        value_name = "N",
        conflicts_with = "part",
        value_parser = whole::<u64>,
        allow_negative_numbers = true
    )]
    seed: Option<u64>,
    /// Of which part, where the scenario has several.
    #[arg(long, value_name = "NAME", conflicts_with = "part")]
    of: Option<String>,
    /// Only this register.
    #[arg(long, value_name = "NAME")]
    register: Option<String>,
    /// Print one JSON object (docs/registers.md describes it) instead of a table.
    #[arg(long)]
    json: bool,
}

/// Prints what was asked for, or says what is wrong.
pub(super) fn perform(args: &Registers) -> Result<(), String> {
    let name = args.register.as_deref();
    let printed = match (&args.scenario, args.part) {
        (Some(path), _) => {
            let scenario = Scenario::load(path).map_err(text)?;
            printed(&state(scenario, args)?, args.json)
        }
        (None, part) => {
            let part = part.unwrap_or(PartName::Corncrake);
            let described = match part {
                PartName::Corncrake => described::part(&CORNCRAKE, name)?,
                PartName::Moorhen => described::part(&MOORHEN, name)?,
                PartName::Gallinule => described::part(&GALLINULE, name)?,
            };
            if args.state {
                printed(&stand::state(part, name)?, args.json)
            } else if args.json {
                json::listing(&described)
            } else {
                listing::listing(&described)
            }
        }
    };
    show(&printed)
}

fn printed(state: &State, json: bool) -> String {
    if json {
        json::state(state)
    } else {
        table::state(state)
    }
}

/// Runs the scenario until the moment asked for, then looks at the part.
fn state(mut scenario: Scenario, args: &Registers) -> Result<State, String> {
    let place = chosen(&scenario.parts, args.of.as_deref())?;
    let plan = &scenario.parts[place];
    let description = plan.kind.registers;
    let name = args.register.as_deref();
    // A name that the part does not have is refused before anything runs.
    described::part(description, name)?;
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

    let rails = scenario.rails_of(place);
    let resistors: Vec<_> = rails
        .map(|rail| {
            let nominal = Resistance::from_nanoohms(rail.sense.resistance_nohm);
            (Channel::new(rail.channel), nominal)
        })
        .collect();
    let whom = (plan.fitted_address, description);
    described::state(scenario.title, &bench, whom, name, &resistors)
}

/// The part that is asked for, by its place.
fn chosen(parts: &[PartPlan], name: Option<&str>) -> Result<usize, String> {
    let found = match (parts, name) {
        ([_], None) => Some(0),
        (_, None) => None,
        (_, Some(name)) => parts.iter().position(|part| part.name == name),
    };
    let names: Vec<_> = parts.iter().map(|part| part.name.as_str()).collect();
    let names = names.join("\", \"");
    found.ok_or_else(|| format!("--of: the scenario has the parts \"{names}\"; name one of them"))
}

/// Keeps the bench of a run.
#[derive(Default)]
struct Onlooker {
    bench: Option<Bench>,
}

impl Observer for Onlooker {
    fn begin(&mut self, bench: &Bench, _: &[OnBench<'_>]) -> io::Result<()> {
        self.bench = Some(bench.clone());
        Ok(())
    }

    fn progress(&mut self, _: u64, _: u64) {}

    fn reading(&mut self, _: &Row<'_>) -> io::Result<()> {
        Ok(())
    }
}
