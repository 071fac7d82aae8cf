use std::io;
use std::path::{Path, PathBuf};

use super::readings::Readings;
use crate::bench::{Bench, Part};

use crate::run::Row;
use crate::scenario::Scenario;
use crate::trace::{Trace, Traced, Window};

/// What is written.
const FILES: [&str; 3] = ["readings.csv", "trace.vcd", "transactions.jsonl"];

/// The files of one run: none of them is there before the run has come to its end.
pub(super) struct Output {
    directory: PathBuf,
    readings: Readings,
    window: Window,
    channels: Vec<(usize, String)>,
    trace: Option<Trace>,
}

impl Output {
    pub(super) fn create(
        directory: &Path,
        window: Window,
        scenario: &Scenario,
        overwrite: bool,
    ) -> Result<Self, String> {
        if window.begin_ns() >= scenario.duration_ns {
            let seconds = scenario.duration_ns as f64 / 1e9;
            return Err(format!(
                "--trace-from: the run ends at {seconds} s, before the trace begins"
            ));
        }
        let taken = FILES.map(|name| directory.join(name));
        if let Some(path) = taken.iter().find(|path| !overwrite && path.exists()) {
            return Err(format!(
                "{}: is there already; name another directory with --out, or add --overwrite",
                path.display()
            ));
        }
        let readings = Readings::create(directory)
            .map_err(|error| format!("{error}; name another directory with --out"))?;
        let rails = scenario.rails.iter();
        Ok(Self {
            directory: directory.to_owned(),
            readings,
            window,
            channels: rails
                .map(|rail| (usize::from(rail.channel), rail.name.clone()))
                .collect(),
            trace: None,
        })
    }

    pub(super) fn begin(&mut self, bench: &Bench, part: &Part) -> io::Result<()> {
        let channels: Vec<(usize, &str)> = self
            .channels
            .iter()
            .map(|(channel, name)| (*channel, name.as_str()))
            .collect();
        let parts = [Traced::new(part, &channels)];
        self.trace = Some(Trace::start(bench, &parts, self.window, &self.directory)?);
        Ok(())
    }

    pub(super) fn reading(&mut self, row: &Row<'_>) -> io::Result<()> {
        self.readings.write(row)
    }

    /// The run is over: gives the files their names.
    pub(super) fn keep(self) -> Result<(), String> {
        let keep = || {
            self.readings.keep()?;
            self.trace.map_or(Ok(()), Trace::finish)
        };
        keep().map_err(|error| error.to_string())
    }
}
