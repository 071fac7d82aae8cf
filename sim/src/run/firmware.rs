use crake::alert::Limits;
use crake::part::corncrake::{Corncrake, INFO};
use crake::totals::Margins;
use crake::units::{Charge, Energy};
use crake::{Monitor, Reading, Sample, ShuntMonitor, Timestamp};

use super::RunError;
use super::alerts::{self, Listener};
use super::board;
use super::books::Books;
use super::host::HostClock;
use super::reactions::Reactions;
use super::report::{BusReport, MonitorReport, Report};
use super::verdict::Verdict;
use crate::bench::{Bench, Part, Witness};
use crate::bus::Speed;
use crate::part::corncrake as model;
use crate::scenario::{Errors, Scenario};

/// Looks on while a scenario runs.
pub trait Observer {
    /// The bench is built and the part is on it with its rails; no time has passed.
    ///
    /// # Errors
    /// Ends the run.
    fn begin(&mut self, bench: &Bench, part: &Part) -> std::io::Result<()> {
        let _ = (bench, part);
        Ok(())
    }

    /// How far the run has come, in nanoseconds of its own time.
    fn progress(&mut self, done_ns: u64, total_ns: u64);

    /// One reading of one rail.
    ///
    /// # Errors
    /// Ends the run.
    fn reading(&mut self, row: &Row<'_>) -> std::io::Result<()>;
}

/// Sees nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Observer for Silent {
    fn progress(&mut self, _: u64, _: u64) {}

    fn reading(&mut self, _: &Row<'_>) -> std::io::Result<()> {
        Ok(())
    }
}

/// One reading of one rail, with its totals so far.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// When, on the host's clock.
    pub timestamp: Timestamp,
    /// The rail's name.
    pub rail: &'a str,
    /// The reading.
    pub reading: Reading,
    /// Whether a conversion since the reading before went over range: the reading is a limit then.
    pub clipped: bool,
    /// Charge so far.
    pub charge: Charge,
    /// Energy so far.
    pub energy: Energy,
}

pub(super) fn run<const N: usize>(
    scenario: &Scenario,
    seed: u64,
    observer: &mut dyn Observer,
) -> Result<Report, RunError> {
    let bench = Bench::new(seed);
    bench.set_bus_speed(match scenario.bus_hz {
        100_000 => Speed::Standard,
        400_000 => Speed::Fast,
        _ => Speed::FastPlus,
    });
    let part = wire(&bench, scenario)?;
    observer.begin(&bench, &part).map_err(RunError::Observer)?;
    let witness = Witness::new(&part);
    let clock = witness.clock(clock(&bench, scenario));

    let rails = board::rails::<N>(scenario);
    let board = board::board(scenario, &rails);
    let address = board::address(scenario);
    let mut monitor =
        Monitor::new(bench.i2c(), bench.delay(), Corncrake::new(address), &board).with_clock(clock);
    let named = |error| RunError::named(scenario, error);
    monitor.init(&board::config(scenario)).map_err(named)?;
    let limits = alerts::limits(scenario);
    let limits = Limits::new(&limits);
    let mut listener = None;
    if !limits.list().is_empty() {
        let reactions = Reactions::new(scenario, &rails, monitor.last_sample().scan())?;
        let latency_ns = scenario.host.latency_ns;
        let listening = listener.insert(Listener::new(&bench, &part, latency_ns, reactions));
        listening.arm(&mut monitor, &limits).map_err(named)?;
    }
    let margins = Margins::new(&INFO, &board, &rails);
    let mut books = Books::new(scenario, &rails, &margins, witness);
    books.take(monitor.sample()?);
    let begun_ns = bench.now_ns();

    let mut next_ns = 0;
    while next_ns < scenario.duration_ns {
        next_ns = next_ns
            .saturating_add(scenario.host.read_every_ns)
            .min(scenario.duration_ns);
        match &mut listener {
            None => {
                bench.run_until(next_ns);
                monitor.sample()?;
            }
            Some(listener) => {
                while listener.wait_until(next_ns)? {
                    listener.serve(&mut monitor)?;
                    books.take(monitor.last_sample());
                }
                if listener.is_low() {
                    listener.serve(&mut monitor)?;
                } else {
                    monitor.sample()?;
                    listener.show(&mut monitor)?;
                }
            }
        }
        let sample = monitor.last_sample();
        books.take(sample);
        books.read(sample, observer)?;
        observer.progress(next_ns, scenario.duration_ns);
    }

    let rails = books.reports(&INFO, monitor.last_sample().scan(), board.clock());
    let alerts = listener.map(Listener::into_timeline).unwrap_or_default();
    Ok(Report {
        title: scenario.title.clone(),
        seed,
        duration_s: scenario.duration_ns as f64 / 1e9,
        scans_per_second: scenario.part.scans_per_second,
        read_every_s: scenario.host.read_every_ns as f64 / 1e9,
        verdict: Verdict::new(&rails, &alerts),
        rails,
        unaccounted_s: books.unaccounted_s(),
        discontinuities: books.totals.epoch(),
        alerts,
        samples: books.samples,
        conversions: part.conversions(),
        bus: BusReport::new(bench.bus_stats(), bench.now_ns()),
        monitor: MonitorReport::new(&part, bench.now_ns(), begun_ns),
    })
}

/// The part with its rails, each behind its own resistor.
fn wire(bench: &Bench, scenario: &Scenario) -> Result<Part, RunError> {
    let address = scenario.part.address;
    let part = bench.part(match scenario.part.errors {
        Errors::Individual => model::Corncrake::new(address),
        Errors::None => model::Corncrake::ideal(address),
    })?;
    for plan in &scenario.rails {
        let mut rng = bench.rng(&format!("sense resistor of {}", plan.name));
        let resistor = board::resistor(plan, scenario, &mut rng);
        part.rail(usize::from(plan.channel), plan.rail()?, resistor)?;
    }
    Ok(part)
}

/// The host's clock, with the error that the scenario gives it or the seed.
fn clock(bench: &Bench, scenario: &Scenario) -> HostClock {
    let limit_ppb = f64::from(scenario.host.clock_limit_ppb);
    let from_seed = || bench.rng("host clock").rectangular(limit_ppb) as i32;
    let error_ppb = scenario.host.clock_error_ppb.unwrap_or_else(from_seed);
    HostClock::new(bench.clock(), i64::from(error_ppb))
}
