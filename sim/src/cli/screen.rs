use std::fmt;
use std::io::{self, IsTerminal};

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

use super::output::Output;
use super::watch::Watch;
use crate::bench::Bench;
use crate::run::{AlertReport, Observer, OnBench, Row};
use crate::scenario::Scenario;

/// Shows progress on a terminal and passes on what goes to files.
pub(super) struct Screen {
    bar: ProgressBar,
    output: Option<Output>,
    watch: Option<Watch>,
}

impl Screen {
    /// With a live look at a scenario if one is given.
    pub(super) fn new(output: Option<Output>, watched: Option<&Scenario>) -> Self {
        let target = if io::stderr().is_terminal() && !super::is_quiet() {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(0), target);
        let template = match watched {
            Some(_) => "{msg}\n{bar:40} {pos} of {len} s{left}",
            None => "{bar:40} {pos} of {len} s{left}",
        };
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.with_key("left", left));
        }
        Self {
            bar,
            output,
            watch: watched.map(|scenario| Watch::new(scenario, wants_colour())),
        }
    }

    pub(super) fn clear(&self) {
        self.bar.finish_and_clear();
    }

    pub(super) fn into_output(self) -> Option<Output> {
        self.output
    }
}

impl Observer for Screen {
    fn begin(&mut self, bench: &Bench, parts: &[OnBench<'_>]) -> io::Result<()> {
        self.output
            .as_mut()
            .map_or(Ok(()), |output| output.begin(bench, parts))
    }

    fn progress(&mut self, done_ns: u64, total_ns: u64) {
        self.bar.set_length(total_ns / 1_000_000_000);
        self.bar.set_position(done_ns / 1_000_000_000);
        if let Some(picture) = self.watch.as_mut().and_then(Watch::due) {
            self.bar.set_message(picture);
        }
    }

    fn alerts(&mut self, so_far: &[AlertReport]) {
        if let Some(watch) = &mut self.watch {
            watch.alerts(so_far);
        }
    }

    fn reading(&mut self, row: &Row<'_>) -> io::Result<()> {
        if let Some(watch) = &mut self.watch {
            watch.reading(row);
        }
        self.output
            .as_mut()
            .map_or(Ok(()), |output| output.reading(row))
    }
}

/// How long it will take yet, once there is something to tell it by.
fn left(state: &ProgressState, out: &mut dyn fmt::Write) {
    if state.pos() > 0 {
        // There is nobody to tell of an error.
        let _ = write!(out, ", {:#} to go", HumanDuration(state.eta()));
    }
}

/// Whether colours are welcome, as <https://no-color.org> has it.
fn wants_colour() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}
