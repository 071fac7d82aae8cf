//! What the firmware of a run does: sets the part up, serves its outputs, takes samples, and tries
//! again where a fault of the scenario made an operation fail.

use crake::alert::Limits;
use crake::config::Config;
use crake::{ShuntMonitor, TimedSample};

use super::alerts::Listener;
use super::books::Books;
use super::faults::Failures;
use super::firmware::Observer;
use super::{FailureReport, RunError};
use crate::bench::Bench;
use crate::bus::BusError;
use crate::scenario::Scenario;

/// The firmware, with what it knows.
pub(super) struct Firmware<'r, const N: usize, M> {
    scenario: &'r Scenario,
    bench: Bench,
    monitor: M,
    config: Config<N>,
    limits: &'r Limits<'r>,
    pub(super) listener: Option<Listener<'r>>,
    pub(super) books: Books<'r, N>,
    is_set_up: bool,
    /// When the totals had begun.
    pub(super) begun_ns: Option<u64>,
    failures: Failures,
}

impl<'r, const N: usize, M> Firmware<'r, N, M>
where
    M: ShuntMonitor<N, BusError = BusError>,
    M::Sample: TimedSample<N>,
{
    pub(super) fn new(
        scenario: &'r Scenario,
        bench: &Bench,
        (monitor, config): (M, Config<N>),
        (listener, limits): (Option<Listener<'r>>, &'r Limits<'r>),
        books: Books<'r, N>,
    ) -> Self {
        Self {
            scenario,
            bench: bench.clone(),
            monitor,
            config,
            limits,
            listener,
            books,
            is_set_up: false,
            begun_ns: None,
            failures: Failures::default(),
        }
    }

    /// Serves until a moment and then takes a sample; one failure on the way is made good by
    /// another try, after two the firmware waits for the moment.
    pub(super) fn read(&mut self, at_ns: u64, observer: &mut dyn Observer) -> Result<(), RunError> {
        for _ in 0..2 {
            match self.sample(at_ns) {
                Ok(()) => {
                    if let Some(listener) = &self.listener {
                        observer.alerts(listener.timeline());
                    }
                    return self.books.read(self.monitor.last_sample(), observer);
                }
                Err(error) => self.note(error)?,
            }
        }
        self.bench.run_until(at_ns);
        Ok(())
    }

    /// What the driver said where something failed.
    pub(super) fn failures(self) -> Vec<FailureReport> {
        self.failures.into_reports()
    }

    fn sample(&mut self, at_ns: u64) -> Result<(), RunError> {
        if !self.is_set_up {
            self.set_up()?;
        }
        let Self {
            bench,
            monitor,
            books,
            ..
        } = self;
        match &mut self.listener {
            None => {
                bench.run_until(at_ns);
                monitor.sample()?;
            }
            Some(listener) => {
                while listener.wait_until(at_ns)? {
                    listener.serve(monitor, at_ns)?;
                    books.take(monitor.last_sample());
                }
                if listener.is_low() {
                    listener.serve(monitor, at_ns)?;
                } else {
                    monitor.sample()?;
                    listener.show(monitor)?;
                }
            }
        }
        books.take(monitor.last_sample());
        Ok(())
    }

    fn set_up(&mut self) -> Result<(), RunError> {
        let named = |error| RunError::named(self.scenario, error);
        self.monitor.init(&self.config).map_err(named)?;
        if let Some(listener) = &mut self.listener {
            listener
                .arm(&mut self.monitor, self.limits)
                .map_err(named)?;
        }
        self.books.take(self.monitor.sample()?);
        self.is_set_up = true;
        self.begun_ns.get_or_insert(self.bench.now_ns());
        Ok(())
    }

    /// A failure of the driver is what faults are for; without one it ends the run, and so does
    /// every other.
    fn note(&mut self, error: RunError) -> Result<(), RunError> {
        match error {
            RunError::Driver(error)
                if self.scenario.has_faults() && error.fault() != crake::bus::Fault::Refused =>
            {
                self.is_set_up &= error.may_repeat();
                self.failures.note(error, self.bench.now_ns());
                Ok(())
            }
            error => Err(error),
        }
    }
}
