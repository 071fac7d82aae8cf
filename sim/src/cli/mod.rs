//! The command line.
//!
//! Exit status: 0, all is well; 1, a run ended but some total or reaction lies outside its bound or
//! a rail was never measured, or a map does not conform, or a wrong one was taken for good, or log
//! and bench differ; 2, bad input, demands that nothing meets, or output that could not be written:
//! one message on standard error, and nothing half-written; 130, interrupted, nothing half-written
//! either.

mod characterise;
mod check;
mod conformance;
mod lists;
mod new;
mod output;
mod page;
mod part;
mod plan;
mod readings;
mod registers;
mod scans;
mod schema;
mod screen;
mod shunt;
mod table;
mod watch;

use std::fmt::Display;
use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;
use std::str::FromStr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use clap::{Parser, Subcommand};
use schemars::JsonSchema;
use serde::Serialize;

use crate::run::{self, Report};
use crate::scenario::{Scenario, decimal};
use crate::trace::Window;
use conformance::Conformance;
use output::{Output, Recording};
use screen::Screen;

/// Bench for firmware that watches power rails: a virtual board, a fictional part, your driver, no
/// hardware.
#[derive(Debug, Parser)]
#[command(name = "crake-sim", version)]
#[command(after_help = EXIT_STATUS)]
pub struct Args {
    #[command(subcommand)]
    command: Command,
    /// Say nothing on standard error but errors: no progress, no notice.
    #[arg(long, short, global = true, display_order = 1000)]
    quiet: bool,
}

const EXIT_STATUS: &str = "\
Exit status:
  0    all is well
  1    done, and what was asked about does not hold: a total or a reaction lies outside its bound,
       a map does not conform, log and bench differ
  2    bad input, demands that nothing meets, or output that could not be written: nothing is
       half-written
  130  interrupted: nothing is half-written

NO_COLOR in the environment leaves out colours.";

/// Whether `--quiet` was given.
static QUIET: AtomicBool = AtomicBool::new(false);

/// Whether notices and progress are left out.
fn is_quiet() -> bool {
    QUIET.load(Ordering::Relaxed)
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Write a first scenario to a file: one that runs, with a remark for each of its keys.
    New(new::New),
    /// Measure the rails of a scenario, total them up, and hold the totals against the truth.
    Run(Run),
    /// Tell the mistakes of a scenario file, with line, column and what would be right.
    Check(check::Check),
    /// Say what a log tells of its rails, and what may be declared and watched for because of it.
    Characterise(characterise::Characterise),
    /// Prove the register maps of the driver by the conformance kit, and the kit by wrong maps.
    Conformance(Conformance),
    /// Print a part's registers as they stand at a moment of a scenario, or list those that a part
    /// has.
    Registers(registers::Registers),
    /// Print the JSON Schema of the scenario file or of an output, or list them.
    Schema(schema::Args),
    /// Choose a sense resistor for a rail, with its error budget and what it costs.
    Shunt(shunt::Shunt),
    /// Work out mode, scan rate, debounce and read interval from what has to be known, and what
    /// measuring costs.
    Plan(plan::Plan),
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Example: crake-sim run examples/survey-skiff.toml --for 60 --out skiff")]
struct Run {
    /// The scenario file (docs/scenario.md describes it).
    scenario: PathBuf,
    /// Take all chance from this seed instead of the scenario's own.
    #[arg(long, value_name = "N", value_parser = whole::<u64>, allow_negative_numbers = true)]
    seed: Option<u64>,
    /// End after this many seconds of the scenario instead of at its own end.
    #[arg(
        long = "for",
        value_name = "SECONDS",
        value_parser = some_seconds,
        allow_negative_numbers = true
    )]
    length: Option<Duration>,
    /// Print one JSON object (docs/report.md describes it) instead of tables.
    #[arg(long)]
    json: bool,
    /// While it runs, show rails, alerts and how much of each bound is used, on standard error,
    /// which must be a terminal.
    #[arg(long)]
    watch: bool,
    /// Also write to DIR: a page to look at (report.html), report.txt and report.json, every
    /// reading (readings.csv), every alert (alerts.csv) and fault (faults.csv), and a stretch of
    /// the run (trace.vcd and transactions.jsonl; docs/trace.md describes them).
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Keep a reading every so many seconds in readings.csv, as near as the scenario's come, and
    /// the last one.
    #[arg(
        long,
        value_name = "SECONDS",
        default_value = "0",
        value_parser = seconds,
        allow_negative_numbers = true,
        requires = "out"
    )]
    readings_every: Duration,
    /// Write every scan of the scenario's first Corncrake to scans.csv, in place of trace.vcd and
    /// transactions.jsonl.
    #[arg(long, requires = "out", conflicts_with_all = ["trace_from", "trace_for"])]
    every_scan: bool,
    /// Write over files of an earlier run in DIR.
    #[arg(long, requires = "out")]
    overwrite: bool,
    /// Where that stretch begins, in seconds of the scenario.
    #[arg(
        long,
        value_name = "SECONDS",
        default_value = "0",
        value_parser = seconds,
        allow_negative_numbers = true,
        requires = "out"
    )]
    trace_from: Duration,
    /// How long that stretch is.
    #[arg(
        long,
        value_name = "SECONDS",
        default_value = "0.1",
        value_parser = seconds,
        allow_negative_numbers = true,
        requires = "out"
    )]
    trace_for: Duration,
}

/// Exit status after an interrupt, as shells have it.
const INTERRUPTED: i32 = 130;

/// Does what the arguments say.
#[must_use]
pub fn main(args: &Args) -> ExitCode {
    QUIET.store(args.quiet, Ordering::Relaxed);
    // Files that grow are hidden ones: nobody would find them.
    let watched = ctrlc::set_handler(|| {
        crate::growing::give_up(|| {
            if std::io::stderr().is_terminal() {
                // What was drawn ends without a line's end.
                eprintln!();
            }
            std::process::exit(INTERRUPTED)
        });
    });
    if let Err(error) = watched
        && !is_quiet()
    {
        eprintln!("crake-sim: an interrupt would leave unfinished files behind: {error}");
    }
    let (outcome, wrong) = match &args.command {
        Command::Run(run) => (perform(run), "a total or a reaction lies outside its bound"),
        Command::Check(args) => (check::perform(args).map(|()| true), ""),
        Command::Characterise(args) => (
            characterise::perform(args),
            "log and bench differ by more than both bounds",
        ),
        Command::Conformance(args) => (
            conformance::perform(args),
            "a map does not conform, or a wrong map was not found out",
        ),
        Command::New(new) => (new::perform(new).map(|()| true), ""),
        Command::Schema(args) => (schema::perform(args).map(|()| true), ""),
        Command::Plan(plan) => (plan::perform(plan).map(|()| true), ""),
        Command::Registers(registers) => (registers::perform(registers).map(|()| true), ""),
        Command::Shunt(args) => (shunt::perform(args).map(|()| true), ""),
    };
    match outcome {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => {
            eprintln!("crake-sim: {wrong}: see above");
            ExitCode::from(1)
        }
        Err(message) => {
            eprintln!("crake-sim: {message}");
            ExitCode::from(2)
        }
    }
}

/// Says in one line what is wrong with the arguments; help and version go their own way.
#[must_use]
pub fn refuse(error: &clap::Error) -> ExitCode {
    use clap::error::ErrorKind::{
        DisplayHelp, DisplayHelpOnMissingArgumentOrSubcommand, DisplayVersion,
    };

    if let DisplayHelp | DisplayVersion | DisplayHelpOnMissingArgumentOrSubcommand = error.kind() {
        error.exit();
    }
    let text = error.to_string();
    let lines: Vec<&str> = text
        .lines()
        .map(str::trim)
        .take_while(|line| !line.is_empty())
        .collect();
    let message = lines.join(" ");
    let message = message.strip_prefix("error: ").unwrap_or(&message);
    eprintln!("crake-sim: {message}; see --help");
    ExitCode::from(2)
}

/// Whether every total lies within its bound, or what is wrong.
fn perform(args: &Run) -> Result<bool, String> {
    let (mut scenario, source) = Scenario::load_with_text(&args.scenario).map_err(text)?;
    if let Some(length) = args.length {
        let ns = u64::try_from(length.as_nanos()).unwrap_or(u64::MAX);
        scenario.duration_ns = scenario.duration_ns.min(ns);
        scenario.host.read_every_ns = scenario.host.read_every_ns.min(ns);
    }
    let seed = args.seed.unwrap_or(scenario.seed);
    if args.watch && !std::io::stderr().is_terminal() {
        return Err(
            "--watch needs a terminal, and standard error is none; leave it out".to_owned(),
        );
    }
    let output = args
        .out
        .as_deref()
        .map(|directory| {
            let recording = match args.every_scan {
                true => Recording::EveryScan,
                false => Recording::Trace(Window::new(args.trace_from, args.trace_for)),
            };
            let every = args.readings_every;
            Output::create(directory, recording, every, &scenario, args.overwrite)
        })
        .transpose()?;
    let mut screen = Screen::new(output, args.watch.then_some(&scenario));

    let contradictions = scenario.contradictions().map_err(text)?;
    for told in contradictions.iter().filter(|_| !is_quiet()) {
        let (file, line) = (args.scenario.display(), told.line);
        eprintln!("crake-sim: {file}:{line}: {told}");
    }
    let begun = Instant::now();
    let outcome = run::run(&scenario, seed, &mut screen);
    screen.clear();
    let mut report = outcome.map_err(|error| match error.line() {
        Some(line) => format!("{}:{line}: {error}", args.scenario.display()),
        None => format!("{error} (seed {seed})"),
    })?;
    report.contradictions = contradictions;
    let wall_s = begun.elapsed().as_secs_f64();
    let (tables, object) = (table::report(&report, wall_s), object(&report, wall_s)?);
    if let Some(output) = screen.into_output() {
        let page = output.page(&report, &scenario, (&args.scenario, &source))?;
        output.keep(&report, &tables, &object, &page)?;
    }
    show(if args.json { &object } else { &tables })?;
    Ok(report.verdict.holds)
}

/// What a run prints for programs.
#[derive(JsonSchema, Serialize)]
struct Object<'r> {
    #[serde(flatten)]
    report: &'r Report,
    /// How long the run took by the clock on the wall, in seconds.
    wall_s: f64,
}

/// The report as one JSON object.
fn object(report: &Report, wall_s: f64) -> Result<String, String> {
    let object = serde_json::to_value(Object { report, wall_s }).map_err(text)?;
    Ok(format!("{object:#}\n"))
}

/// Writes to standard output.
fn show(printed: &str) -> Result<(), String> {
    use std::io::Write;

    match std::io::stdout().lock().write_all(printed.as_bytes()) {
        // Whoever reads us has seen enough.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        outcome => outcome.map_err(text),
    }
}

/// The same, above zero.
fn some_seconds(text: &str) -> Result<Duration, String> {
    match seconds(text)? {
        Duration::ZERO => Err("must be above 0".to_owned()),
        length => Ok(length),
    }
}

/// A length of time in decimal seconds, exact to the nanosecond.
fn seconds(text: &str) -> Result<Duration, String> {
    let ns = decimal::parse(text, 9).map_err(|error| error.to_string())?;
    match u64::try_from(ns) {
        Ok(ns) => Ok(Duration::from_nanos(ns)),
        Err(_) => Err("must lie between 0 and 1.8e10 seconds".to_owned()),
    }
}

/// A whole number that its type holds.
fn whole<T: FromStr>(text: &str) -> Result<T, String> {
    let bits = 8 * size_of::<T>();
    text.parse()
        .map_err(|_| format!("must be a whole number from 0 to 2^{bits} - 1"))
}

fn text(error: impl Display) -> String {
    error.to_string()
}
