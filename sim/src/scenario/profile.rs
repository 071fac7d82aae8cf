use std::path::PathBuf;

use super::ScenarioError;
use super::recording::Recording;
use super::table::{Field, Limits, Table};
use crate::plant::{
    AfterEnd, Constant, Interpolation, PlantError, Profile, Pulses, Recorded, Scaled, Sum, Train,
};

/// A profile as a scenario describes it: of a load in nanoamperes, of a source in nanovolts; times
/// in nanoseconds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ProfilePlan {
    /// One value for ever.
    Constant(i64),
    /// A value until the first step, then each step's from its time on.
    Steps {
        /// The value before the first step.
        initial: i64,
        /// Time and value of each step.
        steps: Vec<(u64, i64)>,
    },
    /// A straight line between two points (time, value), level before and after.
    Ramp {
        /// Where it begins.
        from: (u64, i64),
        /// Where it ends.
        to: (u64, i64),
    },
    /// Pulses; see [`Pulses`].
    Pulses {
        /// Value at rest.
        low: i64,
        /// Value of the pulse.
        high: i64,
        /// From one pulse's beginning to the next.
        period_ns: u64,
        /// From the beginning of the rise to the beginning of the fall.
        width_ns: u64,
        /// Beginning of the first.
        first_ns: u64,
        /// How long the rise and the fall take each.
        edge_ns: u64,
        /// Grouping, if they come in groups.
        train: Option<Train>,
    },
    /// A recording.
    Recorded {
        /// The file it was read from.
        file: PathBuf,
        /// Time since the first row, and value.
        points: Vec<(u64, i64)>,
        /// What lies between points.
        interpolation: Interpolation,
        /// What comes after the last point.
        after: AfterEnd,
        /// What each value is multiplied by, in millionths.
        scale_millionths: i64,
    },
    /// Several added up.
    Sum(Vec<ProfilePlan>),
}

impl ProfilePlan {
    /// The profile itself.
    ///
    /// # Errors
    /// Whatever its constructor refuses.
    pub fn profile(&self) -> Result<Box<dyn Profile>, PlantError> {
        Ok(match self {
            Self::Constant(value) => Box::new(Constant::new(*value)?),
            Self::Steps { initial, steps } => Box::new(Recorded::steps(*initial, steps)?),
            Self::Ramp { from, to } => Box::new(Recorded::ramp(*from, *to)?),
            Self::Pulses {
                low,
                high,
                period_ns,
                width_ns,
                first_ns,
                edge_ns,
                train,
            } => {
                let pulses = Pulses::new(*low, *high, *period_ns, *width_ns)?
                    .first_at(*first_ns)
                    .with_edges(*edge_ns)?;
                match train {
                    Some(train) => Box::new(pulses.in_trains(*train)?),
                    None => Box::new(pulses),
                }
            }
            Self::Recorded {
                points,
                interpolation,
                after,
                scale_millionths,
                ..
            } => {
                let recorded = Recorded::new(points.clone(), *interpolation, *after)?;
                Box::new(Scaled::new(recorded, *scale_millionths, 1_000_000)?)
            }
            Self::Sum(parts) => {
                let parts: Result<Vec<_>, _> = parts.iter().map(Self::profile).collect();
                Box::new(Sum::new(parts?)?)
            }
        })
    }
}

/// What a profile's numbers are: `a` or `v` ends their keys.
#[derive(Clone, Copy)]
pub(super) struct Unit {
    pub(super) suffix: &'static str,
    pub(super) limits: Limits,
}

impl Unit {
    /// The key of a value that stays.
    pub(super) fn constant(self) -> &'static str {
        match self.suffix {
            "v" => "voltage_v",
            _ => "current_a",
        }
    }

    /// The key of another of its values.
    pub(super) fn key(self, what: &str) -> String {
        format!("{what}_{}", self.suffix)
    }
}

/// Kinds of profile, as a file names them.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Constant,
    Steps,
    Ramp,
    Pulses,
    Recorded,
    Sum,
}

pub(super) const KINDS: [(&str, Kind); 6] = [
    ("constant", Kind::Constant),
    ("steps", Kind::Steps),
    ("ramp", Kind::Ramp),
    ("pulses", Kind::Pulses),
    ("recorded", Kind::Recorded),
    ("sum", Kind::Sum),
];

/// Its kind by the table's key; `constant` where one value is given and nothing else is said.
pub(super) fn kind<T: Copy>(
    table: &mut Table<'_>,
    unit: Unit,
    words: &[(&str, T)],
    constant: T,
) -> Result<T, ScenarioError> {
    match table.field("kind") {
        None if table.has(unit.constant()) => Ok(constant),
        None => table.needed("kind", KIND)?.one_of(words),
        Some(field) => field.one_of(words),
    }
}

/// Takes the keys of a profile of `kind` from `table` and checks that it can be built.
pub(super) fn read(
    table: &mut Table<'_>,
    kind: Kind,
    unit: Unit,
) -> Result<ProfilePlan, ScenarioError> {
    let key = |what| unit.key(what);
    let plan = match kind {
        Kind::Constant => ProfilePlan::Constant(table.number(unit.constant(), unit.limits)?),
        Kind::Steps => ProfilePlan::Steps {
            initial: table.number(&key("initial"), unit.limits)?,
            steps: steps(&table.needed("steps", STEPS)?, unit)?,
        },
        Kind::Ramp => ProfilePlan::Ramp {
            from: (
                table.count("start_s", TIME)?,
                table.number(&key("from"), unit.limits)?,
            ),
            to: (
                table.count("end_s", TIME)?,
                table.number(&key("to"), unit.limits)?,
            ),
        },
        Kind::Pulses => ProfilePlan::Pulses {
            low: table.number(&key("low"), unit.limits)?,
            high: table.number(&key("high"), unit.limits)?,
            period_ns: table.count("period_s", TIME)?,
            width_ns: table.count("width_s", TIME)?,
            first_ns: table.count_or("first_s", TIME, 0)?,
            edge_ns: table.count_or("edge_s", TIME, 0)?,
            train: train(table)?,
        },
        Kind::Recorded => recorded(table, unit)?,
        Kind::Sum => {
            let parts = table.needed("parts", PARTS)?.elements(PARTS)?;
            let parts = parts.iter().map(|part| {
                let mut table = part.table("parts")?;
                let kind = table.needed("kind", KIND)?.one_of(&KINDS)?;
                let plan = read(&mut table, kind, unit)?;
                table.finish()?;
                Ok(plan)
            });
            ProfilePlan::Sum(parts.collect::<Result<_, _>>()?)
        }
    };
    match plan.profile() {
        Ok(_) => Ok(plan),
        Err(error) => Err(table.error(error.to_string())),
    }
}

fn steps(field: &Field<'_>, unit: Unit) -> Result<Vec<(u64, i64)>, ScenarioError> {
    let step = |field: &Field<'_>| {
        let (time, value) = field.pair(TIME, unit.limits, STEPS)?;
        Ok((time.unsigned_abs(), value))
    };
    field.elements(STEPS)?.iter().map(step).collect()
}

fn train(table: &mut Table<'_>) -> Result<Option<Train>, ScenarioError> {
    let period = table.field("train_period_s");
    match (table.field("train_pulses"), period) {
        (None, None) => Ok(None),
        (Some(pulses), Some(period)) => Ok(Some(Train {
            pulses: pulses.number(PULSES)?.unsigned_abs(),
            period_ns: period.number(TIME)?.unsigned_abs(),
        })),
        (Some(lonely), None) | (None, Some(lonely)) => {
            Err(lonely.error("train_pulses and train_period_s belong together"))
        }
    }
}

fn recorded(table: &mut Table<'_>, unit: Unit) -> Result<ProfilePlan, ScenarioError> {
    let recording = Recording::describe(table)?;
    let interpolation = table
        .needed("interpolation", "\"hold\" or \"linear\"")?
        .one_of(&INTERPOLATION)?;
    let after = table
        .needed("at_end", "\"repeat\", \"hold\" or \"zero\"")?
        .one_of(&AT_END)?;
    Ok(ProfilePlan::Recorded {
        file: recording.path().to_owned(),
        points: recording.read(table.owner(), unit.limits)?,
        interpolation,
        after,
        scale_millionths: table.number_or("scale", SCALE, 1_000_000)?,
    })
}

pub(super) const INTERPOLATION: [(&str, Interpolation); 2] = [
    ("hold", Interpolation::Hold),
    ("linear", Interpolation::Linear),
];
pub(super) const AT_END: [(&str, AfterEnd); 3] = [
    ("repeat", AfterEnd::Repeat),
    ("hold", AfterEnd::Hold),
    ("zero", AfterEnd::Value(0)),
];
const KIND: &str = "what it is, such as \"constant\"";
const STEPS: &str = "steps are pairs of time and value, such as [[10, 0.5], [20, 0.1]]";
const PARTS: &str = "parts are profiles, such as [{ kind = \"constant\", current_a = 0.1 }]";

/// Times of profiles: up to 10 years.
pub(super) const TIME: Limits = Limits::new(
    9,
    0,
    315_576_000_000_000_000,
    "a time must lie between 0 and 315576000 s",
);

pub(super) const PULSES: Limits =
    Limits::new(0, 1, 1_000_000_000, "a train has 1 to 1000000000 pulses");

pub(super) const SCALE: Limits = Limits::new(
    6,
    -1_000_000_000,
    1_000_000_000,
    "a scale must lie between -1000 and 1000",
);
