use crake::Monitor;
use crake::alert::Limits;
use crake::config::Scan;
use crake::part::corncrake::{Corncrake, INFO};
use crake::totals::Margins;

use super::RunError;
use super::alerts::{self, Listener};
use super::board;
use super::books::Books;
use super::faults::Faults;
use super::host::HostClock;
use super::reactions::{AlertReport, Reactions};
use super::reading::Row;
use super::report::{BusReport, MonitorReport, Report};
use super::service::Firmware;
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

    /// After each sample: every alert that the firmware has heard of by then, in its order.
    fn alerts(&mut self, so_far: &[AlertReport]) {
        let _ = so_far;
    }
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

    let faults = Faults::new(&bench, &part, scenario)?;

    let rails = board::rails::<N>(scenario);
    let board = board::board(scenario, &rails);
    let address = board::address(scenario);
    let monitor =
        Monitor::new(bench.i2c(), bench.delay(), Corncrake::new(address), &board).with_clock(clock);
    let config = board::config(scenario);
    let mut scan = Scan::NONE;
    if config.resolve(&INFO, &mut scan).is_err() {
        // The set-up refuses it by the name of the rail.
        scan = Scan::NONE;
    }
    let limits = alerts::limits(scenario);
    let limits = Limits::new(&limits);
    let listener = if limits.list().is_empty() {
        None
    } else {
        let reactions = Reactions::new(scenario, &rails, &scan, &faults)?;
        let latency_ns = scenario.host.latency_ns;
        Some(Listener::new(&bench, &part, latency_ns, reactions))
    };
    let margins = Margins::new(&INFO, &board, &rails);
    let books = Books::new(scenario, &rails, &scan, &margins, witness);
    let mut firmware = Firmware::new(
        scenario,
        &bench,
        (monitor, config),
        (listener, &limits),
        books,
    );

    let mut next_ns = 0;
    while next_ns < scenario.duration_ns {
        next_ns = next_ns
            .saturating_add(scenario.host.read_every_ns)
            .min(scenario.duration_ns);
        firmware.read(next_ns, observer)?;
        observer.progress(next_ns, scenario.duration_ns);
    }

    let books = &firmware.books;
    let rails = books.reports(&INFO, board.clock());
    let alerts = firmware.listener.take().map(Listener::into_timeline);
    let alerts = alerts.unwrap_or_default();
    let names = scenario.rails.iter().map(|rail| rail.name.as_str());
    Ok(Report {
        title: scenario.title.clone(),
        seed,
        duration_s: scenario.duration_ns as f64 / 1e9,
        scans_per_second: scenario.part.scans_per_second,
        read_every_s: scenario.host.read_every_ns as f64 / 1e9,
        verdict: Verdict::new(names, &rails, &alerts),
        rails,
        unaccounted_s: books.unaccounted_s(),
        discontinuities: books.totals.epoch(),
        alerts,
        faults: faults.reports(),
        contradictions: Vec::new(),
        samples: books.samples,
        conversions: part.conversions(),
        bus: BusReport::new(bench.bus_stats(), bench.now_ns()),
        monitor: MonitorReport::new(&part, bench.now_ns(), firmware.begun_ns),
        failures: firmware.failures(),
    })
}

/// The part with its rails, each behind its own resistor.
fn wire(bench: &Bench, scenario: &Scenario) -> Result<Part, RunError> {
    let address = scenario.part.fitted_address;
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
