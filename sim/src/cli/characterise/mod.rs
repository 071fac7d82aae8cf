//! `crake-sim characterise`: what a log tells of its rails.

mod page;
mod table;

use std::path::PathBuf;
use std::time::Duration;

use super::{show, some_seconds, text, whole};
use crate::characterise::{AgainstError, Options, Watched, against, characterise};
use crate::growing;
use crate::log::{Column, Log, Mapping, check_name};
use crate::scenario::{ALERT_KINDS, Scenario};

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: crake-sim characterise board.csv --column current=I_LOAD:mA --pass-over-torn"
)]
pub(super) struct Characterise {
    /// The log: readings.csv of a run, or one from a board (docs/characterise.md).
    log: PathBuf,
    /// Which column has what, in which unit, such as current=I_LOAD:mA; for time, rail, voltage,
    /// current, power, charge, energy, clipped and check.
    #[arg(long = "column", value_name = "WHAT=NAME[:UNIT]", value_parser = column)]
    columns: Vec<(Column, String, Option<String>)>,
    /// What separates columns: one character, or tab.
    #[arg(long, value_name = "CHARACTER", default_value = ",", value_parser = separator)]
    separator: u8,
    /// The log has no line of names: a column's name is its place, from 0.
    #[arg(long)]
    no_header: bool,
    /// Pass over torn lines and count them, instead of refusing the log.
    #[arg(long)]
    pass_over_torn: bool,
    /// Take a longer time between two readings for a gap, across which nothing is counted.
    #[arg(long, value_name = "SECONDS", value_parser = some_seconds, allow_negative_numbers = true)]
    gap: Option<Duration>,
    /// End after this many seconds of the log's time, or where it does not begin within them, of
    /// its own.
    #[arg(
        long = "for",
        value_name = "SECONDS",
        value_parser = some_seconds,
        allow_negative_numbers = true
    )]
    length: Option<Duration>,
    /// What to call the rail of a log without names; its file name without this.
    #[arg(long, value_name = "NAME", value_parser = rail_name)]
    rail: Option<String>,
    /// Look for excursions beyond a limit, such as MODEM:over_current=1.5.
    #[arg(long = "limit", value_name = "RAIL:KIND=VALUE", value_parser = limit)]
    limits: Vec<Watched>,
    /// Tell how long a battery of so many ampere-hours would last.
    #[arg(long, value_name = "AH", value_parser = above_zero, allow_negative_numbers = true)]
    capacity: Option<f64>,
    /// Suggest figures so far beyond what was seen.
    #[arg(
        long,
        value_name = "PERCENT",
        default_value = "10",
        value_parser = above_zero,
        allow_negative_numbers = true
    )]
    margin: f64,
    /// Run this scenario, and tell where log and bench differ by more than both bounds; its limits
    /// are looked for, too.
    #[arg(long, value_name = "SCENARIO")]
    against: Option<PathBuf>,
    /// Take all chance of that run from this seed instead of the scenario's own.
    #[arg(
        long,
        value_name = "N",
        requires = "against",
        value_parser = whole::<u64>,
        allow_negative_numbers = true
    )]
    seed: Option<u64>,
    /// Print one JSON object (`crake-sim schema characterise` is its schema) instead of tables.
    #[arg(long)]
    json: bool,
    /// Also write to DIR: a page to look at (characterise.html), characterise.txt and
    /// characterise.json.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write over files of an earlier time in DIR.
    #[arg(long, requires = "out")]
    overwrite: bool,
}

/// Nothing in a log is greater.
const LIMIT_MAX: f64 = 1e6;

/// What is written.
const FILES: [&str; 3] = ["characterise.html", "characterise.txt", "characterise.json"];

/// Whether log and bench agree, or what is wrong.
pub(super) fn perform(args: &Characterise) -> Result<bool, String> {
    if let Some(directory) = &args.out {
        growing::refuse_taken(directory, &FILES, args.overwrite)?;
    }
    let scenario = args
        .against
        .as_ref()
        .map(Scenario::load)
        .transpose()
        .map_err(text)?;
    let mapping = Mapping {
        columns: args.columns.clone(),
        separator: args.separator,
        is_headed: !args.no_header,
        pass_over_torn: args.pass_over_torn,
        ..Mapping::default()
    };
    let stem = args.log.file_stem().unwrap_or_default().to_string_lossy();
    let stem = stem.replace(char::is_control, "_");
    let mut limits = args.limits.clone();
    for rail in scenario.iter().flat_map(|scenario| &scenario.rails) {
        limits.extend(rail.alerts.iter().map(|alert| Watched {
            rail: rail.name.clone(),
            kind: alert.kind,
            limit: alert.limit as f64 / 1e9,
        }));
    }
    let options = Options {
        limits,
        capacity_ah: args.capacity,
        margin: args.margin / 100.0,
        gap_ns: args.gap.map_or(i64::MAX, nanoseconds),
        name: args.rail.clone().unwrap_or(stem),
    };
    let mut log = Log::open(&args.log, &mapping).map_err(text)?;
    if let Some(length) = args.length {
        log.end_after(nanoseconds(length));
    }
    let mut told = characterise(&mut log, &options).map_err(text)?;
    if let Some(stray) = args
        .limits
        .iter()
        .find(|limit| told.rails.iter().all(|rail| rail.name != limit.rail))
    {
        let names: Vec<_> = told.rails.iter().map(|rail| rail.name.as_str()).collect();
        let names = names.join("\", \"");
        return Err(format!(
            "--limit: no rail is called \"{}\"; there is \"{names}\"",
            stray.rail
        ));
    }
    if let Some(scenario) = &scenario {
        let seed = args.seed.unwrap_or(scenario.seed);
        let compared = against(&told, scenario, seed).map_err(|error| match error {
            AgainstError::Run(error) => format!("{error} (seed {seed})"),
            error => format!("--against: {error}"),
        })?;
        told.differences = Some(compared.differences);
        told.not_logged = compared.not_logged;
    }
    let agrees = told
        .differences
        .iter()
        .flatten()
        .all(|difference| !difference.differs);
    let tables = table::table(&told);
    let object = format!("{:#}\n", serde_json::to_value(&told).map_err(text)?);
    if let Some(directory) = &args.out {
        let page = page::page((&args.log, &mut log), &told, options.gap_ns).map_err(text)?;
        let texts = FILES
            .into_iter()
            .zip([page, tables.clone(), object.clone()]);
        let grown = growing::grown(directory, texts);
        grown.and_then(growing::keep).map_err(text)?;
    }
    show(if args.json { &object } else { &tables })?;
    Ok(agrees)
}

fn nanoseconds(length: Duration) -> i64 {
    i64::try_from(length.as_nanos()).unwrap_or(i64::MAX)
}

fn column(text: &str) -> Result<(Column, String, Option<String>), String> {
    let words = || Column::words().join(", ");
    let (word, name) = text
        .split_once('=')
        .ok_or("write WHAT=NAME or WHAT=NAME:UNIT, such as current=I_LOAD:mA")?;
    let column = Column::of(word).ok_or_else(|| format!("{word} is none of {}", words()))?;
    Ok(match name.rsplit_once(':') {
        Some((name, unit)) => (column, name.to_owned(), Some(unit.to_owned())),
        None => (column, name.to_owned(), None),
    })
}

fn rail_name(text: &str) -> Result<String, &'static str> {
    check_name(text).map(|()| text.to_owned())
}

fn separator(text: &str) -> Result<u8, String> {
    match text.as_bytes() {
        b"tab" => Ok(b'\t'),
        [one] if one.is_ascii() && !b"\r\n\"".contains(one) => Ok(*one),
        _ => Err("must be one ASCII character, or tab".to_owned()),
    }
}

fn limit(text: &str) -> Result<Watched, String> {
    let parts = text.rsplit_once('=').and_then(|(of, value)| {
        let (rail, kind) = of.rsplit_once(':')?;
        Some((rail, kind, value))
    });
    let (rail, kind, value) =
        parts.ok_or("write RAIL:KIND=VALUE, such as MODEM:over_current=1.5")?;
    let found = ALERT_KINDS.iter().find(|(word, _)| *word == kind);
    let (_, kind) = found.ok_or_else(|| {
        let words: Vec<_> = ALERT_KINDS.iter().map(|(word, _)| *word).collect();
        format!("{kind} is none of {}", words.join(", "))
    })?;
    let limit = value.parse().ok();
    let limit = limit.filter(|limit: &f64| limit.abs() <= LIMIT_MAX);
    Ok(Watched {
        rail: rail.to_owned(),
        kind: *kind,
        limit: limit
            .ok_or("its value must be a number of volts, amperes or watts, a million at most")?,
    })
}

fn above_zero(text: &str) -> Result<f64, String> {
    let number: Option<f64> = text.parse().ok();
    let number = number.filter(|number| number.is_finite() && *number > 0.0);
    number.ok_or_else(|| "must be a number above 0".to_owned())
}
