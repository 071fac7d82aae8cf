use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::lists;
use super::page::{self, Curves};
use super::readings::{self, Readings};
use super::scans::Scans;
use crate::bench::Bench;
use crate::growing;
use crate::quantity::{count, quantity};
use crate::run::{OnBench, Report, Row};
use crate::scenario::Scenario;
use crate::trace::{Trace, Traced, Window};

/// What is written.
const FILES: [&str; 9] = [
    "readings.csv",
    "alerts.csv",
    "faults.csv",
    "report.txt",
    "report.json",
    "report.html",
    "trace.vcd",
    "transactions.jsonl",
    "scans.csv",
];

/// Bytes of readings.csv from which on whoever is no terminal is told of them, too.
const MUCH: u64 = 100_000_000;

/// The files of one run: none of them is there before the run has come to its end.
pub(super) struct Output {
    directory: PathBuf,
    readings: Readings,
    curves: Curves,
    recording: Recording,
    /// Rails of each part: channel and name.
    channels: Vec<Vec<(usize, String)>>,
    trace: Option<Trace>,
    scans: Option<Scans>,
}

/// What is written of the part and the bus.
pub(super) enum Recording {
    /// A stretch of both.
    Trace(Window),
    /// Every scan, of the whole run.
    EveryScan,
}

impl Output {
    pub(super) fn create(
        directory: &Path,
        recording: Recording,
        readings_every: Duration,
        scenario: &Scenario,
        overwrite: bool,
    ) -> Result<Self, String> {
        if let Recording::Trace(window) = &recording
            && window.begin_ns() >= scenario.duration_ns
        {
            let seconds = scenario.duration_ns as f64 / 1e9;
            return Err(format!(
                "--trace-from: the run ends at {seconds} s, before the trace begins"
            ));
        }
        growing::refuse_taken(directory, &FILES, overwrite)?;
        let readings = Readings::create(directory, scenario, readings_every)
            .map_err(|error| format!("{error}; name another directory with --out"))?;
        let scans = match recording {
            Recording::EveryScan => Some(Scans::create(directory, scenario)),
            Recording::Trace(_) => None,
        };
        let scans = scans.transpose().map_err(|error| error.to_string())?;
        foretell(directory, readings_every, scenario);
        let of_part = |place| {
            let rails = scenario.rails_of(place);
            let rails = rails.map(|rail| (usize::from(rail.channel), rail.name.clone()));
            rails.collect()
        };
        Ok(Self {
            directory: directory.to_owned(),
            readings,
            curves: Curves::new(scenario),
            recording,
            channels: (0..scenario.parts.len()).map(of_part).collect(),
            trace: None,
            scans,
        })
    }

    /// Of parts whose inside can be watched, that is recorded, too.
    pub(super) fn begin(&mut self, bench: &Bench, parts: &[OnBench<'_>]) -> io::Result<()> {
        if let Some(scans) = &self.scans {
            scans.watch(parts);
        }
        let Recording::Trace(window) = self.recording else {
            return Ok(());
        };
        let channels: Vec<Vec<(usize, &str)>> = self
            .channels
            .iter()
            .map(|rails| {
                rails
                    .iter()
                    .map(|(at, name)| (*at, name.as_str()))
                    .collect()
            })
            .collect();
        let parts = parts.iter().zip(&channels);
        let parts = parts.filter_map(|(part, rails)| Some(Traced::new(part.part()?, rails)));
        let parts: Vec<_> = parts.collect();
        self.trace = Some(Trace::start(bench, &parts, window, &self.directory)?);
        Ok(())
    }

    pub(super) fn reading(&mut self, row: &Row<'_>) -> io::Result<()> {
        self.curves.note(row);
        self.readings.write(row)
    }

    /// The page of the run, whose scenario was read from a file of this name and text.
    pub(super) fn page(
        &self,
        report: &Report,
        scenario: &Scenario,
        source: (&Path, &str),
    ) -> Result<String, String> {
        page::report(report, scenario, source, &self.curves).map_err(|error| error.to_string())
    }

    /// The run is over: writes what is known only now, and gives the files their names.
    pub(super) fn keep(
        self,
        report: &Report,
        tables: &str,
        object: &str,
        page: &str,
    ) -> Result<(), String> {
        let keep = || {
            let ends = [
                ("alerts.csv", lists::alerts(report)?),
                ("faults.csv", lists::faults(report)?),
                ("report.txt", tables.to_owned()),
                ("report.json", object.to_owned()),
                ("report.html", page.to_owned()),
            ];
            let ends = growing::grown(&self.directory, ends)?;
            self.readings.keep()?;
            growing::keep(ends)?;
            self.trace.map_or(Ok(()), Trace::finish)?;
            self.scans.map_or(Ok(()), Scans::keep)
        };
        keep().map_err(|error: io::Error| error.to_string())
    }
}

/// Says how great readings.csv will be: on a terminal, and anywhere if it is much.
fn foretell(directory: &Path, every: Duration, scenario: &Scenario) {
    let (rows, bytes) = readings::size(scenario, every);
    if super::is_quiet() || bytes < MUCH && !io::stderr().is_terminal() {
        return;
    }
    let path = directory.join(FILES[0]);
    let size = quantity(bytes as f64, 2, "B");
    eprintln!(
        "crake-sim: {} will have {} rows, some {size}; --readings-every SECONDS thins it",
        path.display(),
        count(rows)
    );
}
