//! `crake-sim plan`: mode, rate, read interval and what measuring costs, from what has to be known.

mod question;
mod table;

use std::path::PathBuf;

use crake::part::corncrake::{self, Corncrake};
use crake::part::moorhen::{self, Moorhen};
use crake::part::pmbus::gallinule::{ADDRESSES, Gallinule};
use crake::plan::{Demand, Unmet};

use super::part::PartName;
use super::{decimal, show, text, whole};
use crate::plan::{self, Planned, Question};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example: crake-sim plan --alert-within 0.05 --event 0.02 --wake-every 60")]
pub(super) struct Plan {
    /// Plan for the rails and alerts of this scenario file (docs/scenario.md describes it).
    #[arg(long, value_name = "FILE", conflicts_with_all = ["part", "channels", "voltage"])]
    scenario: Option<PathBuf>,
    /// The part.
    #[arg(long, default_value = "corncrake")]
    part: PartName,
    /// How many of its channels are used; all unless given.
    #[arg(long, value_name = "N", value_parser = whole::<u8>, allow_negative_numbers = true)]
    channels: Option<u8>,

    /// Demand: from a limit passed to the event in the firmware, so many seconds at the most.
    #[arg(long, value_name = "SECONDS", value_parser = nano, allow_negative_numbers = true)]
    alert_within: Option<u64>,
    /// Demand: an excursion beyond a limit that lasts so many seconds is seen for sure.
    #[arg(long, value_name = "SECONDS", value_parser = nano, allow_negative_numbers = true)]
    event: Option<u64>,
    /// Demand: each rail's energy over a day is known within so many percent of it, in the worst
    /// case. It needs --scenario, or --voltage and its like.
    #[arg(long, value_name = "PERCENT", value_parser = nano, allow_negative_numbers = true)]
    energy_percent: Option<u64>,
    /// Demand: the host wakes every so many seconds, and no more often.
    #[arg(long, value_name = "SECONDS", value_parser = nano, allow_negative_numbers = true)]
    wake_every: Option<u64>,

    /// Voltage of each rail, for --energy-percent.
    #[arg(long, value_name = "VOLTS", value_parser = nano, requires_all = ["current", "resistance"],
        allow_negative_numbers = true)]
    voltage: Option<u64>,
    /// Mean current of each rail.
    #[arg(long, value_name = "AMPERES", value_parser = nano, requires = "voltage",
        allow_negative_numbers = true)]
    current: Option<u64>,
    /// Its sense resistor, of ±1 %; of a Gallinule, which measures amperes by itself, 1.
    #[arg(long, value_name = "OHMS", value_parser = nano, requires = "voltage",
        allow_negative_numbers = true)]
    resistance: Option<u64>,
    /// How far its load steps, to either side of the mean; 0 unless given.
    #[arg(long, value_name = "AMPERES", value_parser = nano, requires = "voltage",
        allow_negative_numbers = true)]
    step: Option<u64>,
    /// How often it does, in an hour.
    #[arg(long, value_name = "N", requires = "step", value_parser = whole::<u32>,
        allow_negative_numbers = true)]
    steps_per_hour: Option<u32>,

    /// The fastest clock that the bus is made for, in hertz [default: 400000, or the scenario's]
    #[arg(long, value_name = "HERTZ", value_parser = whole::<u32>, allow_negative_numbers = true)]
    bus_max: Option<u32>,
    /// Each of its two pull-ups.
    #[arg(long, value_name = "OHMS", value_parser = nano, default_value = "4700",
        allow_negative_numbers = true)]
    pull_up: u64,
    /// What they pull up to.
    #[arg(long, value_name = "VOLTS", value_parser = nano, default_value = "3.3",
        allow_negative_numbers = true)]
    supply: u64,
    /// What the host draws more awake than asleep.
    #[arg(long, value_name = "AMPERES", value_parser = nano, default_value = "0.004",
        allow_negative_numbers = true)]
    host_active: u64,
    /// How long it is awake besides the call, from what wakes it on, in seconds [default: 0.0001,
    /// or the scenario's latency]
    #[arg(long, value_name = "SECONDS", value_parser = nano, allow_negative_numbers = true)]
    host_wake: Option<u64>,
    /// What one single-channel monitor draws at the part's fastest scan rate: yours to state. The
    /// default is a rule of thumb.
    #[arg(long, value_name = "AMPERES", value_parser = nano, default_value = "0.00036",
        allow_negative_numbers = true)]
    single: u64,

    /// Print one JSON object instead of tables: crake-sim schema plan describes it.
    #[arg(long, conflicts_with_all = ["toml", "rust"])]
    json: bool,
    /// Print lines for a scenario file instead.
    #[arg(long, conflicts_with = "rust")]
    toml: bool,
    /// Print constants for firmware instead.
    #[arg(long)]
    rust: bool,
}

/// Prints what was asked for, or says what is wrong.
pub(super) fn perform(args: &Plan) -> Result<(), String> {
    let (part, question, names) = question::of(args)?;
    let planned = planned(part, &question).map_err(|unmet| {
        let told = unmet_text(part, &unmet);
        match worst_rail(part, &question, &unmet) {
            Some(channel) => match names.get(channel) {
                Some(name) => format!("{told} ({name} is the worst)"),
                None => format!("{told} (channel {channel} is the worst)"),
            },
            None => told,
        }
    })?;
    let printed = if args.json {
        format!(
            "{}\n",
            serde_json::to_string_pretty(&planned).map_err(text)?
        )
    } else if args.toml {
        plan::toml(&planned)?
    } else if args.rust {
        plan::rust(&planned)
    } else {
        table::plan(&planned)
    };
    show(&printed)
}

fn planned(part: PartName, question: &Question) -> Result<Planned, Unmet> {
    match part {
        PartName::Corncrake => {
            plan::plan::<_, 4>(Corncrake::new(corncrake::Address::Strap0), question)
        }
        PartName::Moorhen => plan::plan::<_, 2>(Moorhen::new(moorhen::Address::Strap0), question),
        PartName::Gallinule => plan::plan::<_, 4>(Gallinule::new(ADDRESSES[0]), question),
    }
}

/// The channel whose energy alone is as far off as that of all.
fn worst_rail(part: PartName, question: &Question, unmet: &Unmet) -> Option<usize> {
    let Unmet::Alone {
        demand: Demand::Energy,
        nearest: Some(_),
    } = unmet
    else {
        return None;
    };
    (0..question.rails.len()).find(|channel| {
        let mut alone = question.clone();
        for (other, rail) in alone.rails.iter_mut().enumerate() {
            if other != *channel {
                *rail = None;
            }
        }
        planned(part, &alone).as_ref().err() == Some(unmet)
    })
}

/// Which flag, what would do, and what to do about it.
fn unmet_text(part: PartName, unmet: &Unmet) -> String {
    let has_resistors = part != PartName::Gallinule;
    let part = part.info().name;
    match *unmet {
        Unmet::Alone {
            demand,
            nearest: None,
        } => format!("{}: a {part} does not know it in any mode", flag(demand)),
        Unmet::Alone {
            demand,
            nearest: Some(nearest),
        } => {
            let (bound, best) = match demand {
                Demand::Energy => ("at least", format!("{} %", nearest as f64 / 1e4)),
                // To the microsecond: what is told can be asked for.
                Demand::Wake => ("at most", format!("{} s", nearest as f64 / 1e6)),
                Demand::Alert | Demand::Event => {
                    ("at least", format!("{} s", nearest as f64 / 1e6))
                }
            };
            let remedy = match demand {
                Demand::Alert => "allow as much, or a faster bus by --bus-max",
                Demand::Event => "allow as much",
                Demand::Energy if !has_resistors => {
                    "allow as much: it measures amperes by itself, and most of it is its own"
                }
                Demand::Energy => {
                    "allow as much, take a better sense resistor, or calibrate: most of it does not \
                     depend on how often the part is read"
                }
                Demand::Wake => "wake as often",
            };
            format!(
                "{}: on a {part} it is {bound} {best}; {remedy}",
                flag(demand)
            )
        }
        Unmet::Crossed(one, other) => format!(
            "{} and {} cannot be met at once on a {part}, though each can alone; relax one of them",
            flag(one),
            flag(other)
        ),
        Unmet::Together => format!(
            "the demands cannot all be met at once on a {part}, though any two can; relax one"
        ),
        ref other => other.to_string(),
    }
}

fn flag(demand: Demand) -> &'static str {
    match demand {
        Demand::Alert => "--alert-within",
        Demand::Event => "--event",
        Demand::Energy => "--energy-percent",
        Demand::Wake => "--wake-every",
    }
}

/// A decimal number above zero, in billionths.
fn nano(text: &str) -> Result<u64, String> {
    let nano = decimal::parse(text, 9).map_err(|error| error.to_string())?;
    match u64::try_from(nano) {
        Ok(1..) => Ok(nano as u64),
        _ => Err("must be above 0, and at most 1.8e10".to_owned()),
    }
}
