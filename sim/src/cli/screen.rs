use std::io::{self, IsTerminal};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::output::Output;
use crate::bench::{Bench, Part};

use crate::run::{Observer, Row};

/// Shows progress on a terminal and passes on what goes to files.
pub(super) struct Screen {
    bar: ProgressBar,
    output: Option<Output>,
}

impl Screen {
    pub(super) fn new(output: Option<Output>) -> Self {
        let target = if io::stderr().is_terminal() {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(0), target);
        if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos} of {len} s, {eta} to go") {
            bar.set_style(style);
        }
        Self { bar, output }
    }

    pub(super) fn clear(&self) {
        self.bar.finish_and_clear();
    }

    pub(super) fn into_output(self) -> Option<Output> {
        self.output
    }
}

impl Observer for Screen {
    fn begin(&mut self, bench: &Bench, part: &Part) -> io::Result<()> {
        self.output
            .as_mut()
            .map_or(Ok(()), |output| output.begin(bench, part))
    }

    fn progress(&mut self, done_ns: u64, total_ns: u64) {
        self.bar.set_length(total_ns / 1_000_000_000);
        self.bar.set_position(done_ns / 1_000_000_000);
    }

    fn reading(&mut self, row: &Row<'_>) -> io::Result<()> {
        self.output
            .as_mut()
            .map_or(Ok(()), |output| output.reading(row))
    }
}
