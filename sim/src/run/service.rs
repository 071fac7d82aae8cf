//! What the firmware of a run does with one part: sets it up, serves its outputs, takes samples,
//! and tries again where a fault of the scenario made an operation fail.

use crake::alert::{Limits, Outputs};
use crake::board::{Board, Rail};
use crake::config::{Config, Scan};
use crake::info::{PartInfo, Source};
use crake::totals::Margins;
use crake::units::Tolerance;
use crake::{ShuntMonitor, TimedSample};

use super::RunError;
use super::alerts::{self, Awaited, Listener};
use super::books::Books;
use super::faults::Failures;
use super::firmware::{Busy, Observer, Setup};
use super::reactions::{self, Reactions};
use super::station::{Outcome, Station};
use crate::bench::{Line, Witness};
use crate::bus::BusError;
use crate::part::PartModel;

/// The firmware of one part, with what it knows.
pub(super) struct Firmware<'r, const N: usize, M, T> {
    setup: &'r Setup<'r>,
    monitor: M,
    config: Config<N>,
    clock: Tolerance,
    limits: &'r Limits<'r>,
    listener: Option<Listener<'r>>,
    /// The driver compares with limits, which it does when it serves the part.
    compares: bool,
    books: Books<'r, T, N>,
    busy: Busy,
    is_set_up: bool,
    /// Tries that are left for the present reading.
    tries: u8,
    begun_ns: Option<u64>,
    failures: Failures,
}

/// What it is built on: rails and board as declared, configuration as resolved.
pub(super) struct Ground<'r, const N: usize> {
    pub(super) info: &'static PartInfo,
    pub(super) rails: &'r [Rail; N],
    pub(super) board: &'r Board<N>,
    pub(super) config: Config<N>,
    pub(super) scan: Scan<N>,
    pub(super) lines: &'r [(Outputs, Line)],
    pub(super) busy: Busy,
}

/// Builds it, and hands it to `next`.
pub(super) fn enter<const N: usize, M, T: PartModel>(
    setup: &Setup<'_>,
    monitor: M,
    ground: Ground<'_, N>,
    witness: Witness<T>,
    next: &mut dyn FnMut(&mut dyn Station) -> Result<(), RunError>,
) -> Result<(), RunError>
where
    M: ShuntMonitor<N, BusError = BusError>,
    M::Sample: TimedSample<N>,
{
    let Ground {
        info,
        rails,
        board,
        config,
        scan,
        lines,
        busy,
    } = ground;
    let limits = alerts::limits(setup.rails());
    let limits = Limits::new(&limits);
    let listener = if limits.list().is_empty() {
        None
    } else {
        let reactions = Reactions::new(setup, rails, &scan, &busy)?;
        let latency_ns = setup.scenario.host.latency_ns;
        Some(Listener::new(setup.bench, lines, latency_ns, reactions))
    };
    let mut plans = setup
        .rails()
        .flat_map(|rail| rail.alerts.iter().map(move |it| (rail, it)));
    let compares =
        plans.any(|(rail, alert)| reactions::compared_by(info, rail, alert) == Source::Driver);
    let margins = Margins::new(info, board, rails);
    let books = Books::new(setup, rails, &scan, &margins, witness);
    next(&mut Firmware {
        setup,
        monitor,
        config,
        clock: board.clock(),
        limits: &limits,
        listener,
        compares,
        books,
        busy,
        is_set_up: false,
        tries: 0,
        begun_ns: None,
        failures: Failures::default(),
    })
}

impl<const N: usize, M, T: PartModel> Firmware<'_, N, M, T>
where
    M: ShuntMonitor<N, BusError = BusError>,
    M::Sample: TimedSample<N>,
{
    fn start(&mut self) -> Result<(), RunError> {
        let named = |error| RunError::named(self.setup, error);
        self.monitor.init(&self.config).map_err(named)?;
        if let Some(listener) = &mut self.listener {
            listener
                .arm(&mut self.monitor, self.limits)
                .map_err(named)?;
        }
        self.books.take(self.monitor.sample()?);
        self.is_set_up = true;
        self.begun_ns.get_or_insert(self.setup.bench.now_ns());
        Ok(())
    }

    fn answer(&mut self, reading_ns: u64) -> Result<(), RunError> {
        if let Some(listener) = &mut self.listener {
            listener.serve(&mut self.monitor, reading_ns)?;
            self.books.take(self.monitor.last_sample());
        }
        Ok(())
    }

    fn sample(&mut self, reading_ns: u64) -> Result<(), RunError> {
        let monitor = &mut self.monitor;
        match &mut self.listener {
            Some(listener) if listener.is_low() || self.compares => {
                listener.serve(monitor, reading_ns)?;
            }
            Some(listener) => {
                monitor.sample()?;
                listener.show(monitor)?;
            }
            None => {
                monitor.sample()?;
            }
        }
        self.books.take(self.monitor.last_sample());
        Ok(())
    }

    /// A failure of the driver is what faults are for; without one it ends the run, and so does
    /// every other.
    fn tried(&mut self, outcome: Result<(), RunError>) -> Result<bool, RunError> {
        match outcome {
            Ok(()) => Ok(true),
            Err(RunError::Driver(error))
                if self.setup.scenario.has_faults()
                    && error.fault() != crake::bus::Fault::Refused =>
            {
                self.tries = self.tries.saturating_sub(1);
                self.is_set_up &= error.may_repeat();
                self.failures.note(error, self.setup.bench.now_ns());
                Ok(false)
            }
            Err(error) => Err(error),
        }
    }
}

impl<const N: usize, M, T: PartModel> Station for Firmware<'_, N, M, T>
where
    M: ShuntMonitor<N, BusError = BusError>,
    M::Sample: TimedSample<N>,
{
    fn begin_reading(&mut self) {
        self.tries = 2;
    }

    fn is_busy(&self) -> bool {
        self.tries > 0
    }

    fn is_set_up(&self) -> bool {
        self.is_set_up
    }

    fn set_up(&mut self) -> Result<(), RunError> {
        let outcome = self.start();
        self.tried(outcome).map(drop)
    }

    fn awaits(&self) -> Option<Awaited> {
        self.listener.as_ref()?.awaits()
    }

    fn serve(&mut self, reading_ns: u64) -> Result<(), RunError> {
        let outcome = self.answer(reading_ns);
        self.tried(outcome).map(drop)
    }

    fn read(
        &mut self,
        reading_ns: u64,
        number: u64,
        observer: &mut dyn Observer,
    ) -> Result<(), RunError> {
        let outcome = self.sample(reading_ns);
        if self.tried(outcome)? {
            self.tries = 0;
            if let Some(listener) = &self.listener {
                observer.alerts(listener.timeline());
            }
            self.books
                .read(self.monitor.last_sample(), number, observer)?;
        }
        Ok(())
    }

    fn keeps_host_s(&self) -> f64 {
        let latency_s = self.setup.scenario.host.latency_ns as f64 / 1e9;
        latency_s + self.busy.reading_s + self.busy.service_s
    }

    fn wait_for_others(&mut self, others_s: f64) {
        if let Some(listener) = &mut self.listener {
            listener.wait_for_others(others_s);
        }
    }

    fn was_kept_waiting(&mut self) {
        if let Some(listener) = &mut self.listener {
            listener.was_kept_waiting();
        }
    }

    fn outcome(&mut self) -> Outcome {
        let info = self.monitor.info();
        let alerts = self.listener.take().map(Listener::into_timeline);
        Outcome {
            books: self.books.reports(info, self.clock),
            alerts: alerts.unwrap_or_default(),
            failures: core::mem::take(&mut self.failures).into_reports(),
            begun_ns: self.begun_ns,
        }
    }
}
