use crake::old::ledger::{Account, Ledger};
use crake::old::part::corncrake::{Corncrake, SPEC};
use crake::old::{Channel, Frame, Monitor, NoReading, Reading, ShuntMonitor, Stamp};

use super::RunError;
use super::accounted::Accounted;
use super::alerts::{self, Desk};
use super::board;
use super::extremes::Extremes;
use super::host::HostClock;
use super::report::{BusReport, MonitorReport, Outcome, RailReport, Report};
use crate::bench::Bench;
use crate::bus::{BusError, Speed};
use crate::old::corncrake::{self as model, Part};
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
    pub stamp: Stamp,
    /// The rail's name.
    pub rail: &'a str,
    /// The reading.
    pub reading: Reading,
    /// Whether a conversion since the reading before went over range: the reading is a limit then.
    pub clipped: bool,
    /// Totals so far.
    pub account: Account,
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
    let limit_ppb = f64::from(scenario.host.clock_limit_ppb);
    let error_ppb = scenario
        .host
        .clock_error_ppb
        .unwrap_or_else(|| bench.rng("host clock").rectangular(limit_ppb) as i32);
    let (clock, witness) = HostClock::new(&bench, &part, N, i64::from(error_ppb));

    let board = board::declared::<N>(scenario)?;
    let address = scenario.part.address;
    let mut monitor = Monitor::new(
        bench.i2c(),
        bench.delay(),
        clock,
        Corncrake::new(),
        address,
        &board,
    );
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut extremes = [Extremes::default(); N];

    let mut accounted: [Accounted; N] = std::array::from_fn(|_| Accounted::default());
    let mut note = |entry| {
        for (channel, accounted) in accounted.iter_mut().enumerate() {
            accounted.note(entry, witness.truth(channel));
        }
    };

    let setup = board::setup(scenario);
    let watches = alerts::watches(scenario);
    let mut desk = None;
    // The account begins with the frame at which the last change of set-up took over.
    let begun = monitor.init(&setup)?;
    if watches.is_empty() {
        note(ledger.update(&begun));
    } else {
        let watching = Desk::new(scenario, &bench, &part, &board, setup, &watches)?;
        let armed = desk.insert(watching).arm(&mut monitor);
        note(ledger.update(&armed.map_err(|error| named(scenario, error))?));
    }
    let begun_ns = bench.now_ns();

    let mut samples = 0;
    let mut next_ns = 0;
    while next_ns < scenario.duration_ns {
        next_ns = next_ns
            .saturating_add(scenario.host.read_every_ns)
            .min(scenario.duration_ns);
        let frame = match &mut desk {
            None => {
                bench.run_until(next_ns);
                latch(&mut monitor)?
            }
            Some(desk) => {
                while desk.wait_until(next_ns)? {
                    note(ledger.update(&desk.serve(&mut monitor)?));
                    samples += 1;
                }
                if desk.is_low() {
                    desk.serve(&mut monitor)?
                } else {
                    let frame = latch(&mut monitor)?;
                    desk.show(&frame);
                    frame
                }
            }
        };
        note(ledger.update(&frame));
        samples += 1;
        for plan in &scenario.rails {
            let channel = Channel::new(plan.channel);
            let (reading, clipped) = match frame.reading(channel) {
                Ok(reading) => (reading, false),
                Err(NoReading::Clipped { reading, .. }) => (reading, true),
                Err(_) => continue,
            };
            if let Some(extremes) = extremes.get_mut(channel.index()) {
                extremes.note(&reading);
            }
            if let Some(account) = ledger.account(channel) {
                let row = Row {
                    stamp: frame.stamp(),
                    rail: &plan.name,
                    reading,
                    clipped,
                    account,
                };
                observer.reading(&row).map_err(RunError::Observer)?;
            }
        }
        observer.progress(next_ns, scenario.duration_ns);
    }

    let rails = scenario.rails.iter().filter_map(|plan| {
        let channel = Channel::new(plan.channel);
        let outcome = Outcome {
            account: ledger.account(channel)?,
            truth: accounted.get(channel.index())?.truth(),
            extremes: *extremes.get(channel.index())?,
        };
        Some(RailReport::new(plan, &outcome))
    });
    Ok(Report {
        title: scenario.title.clone(),
        seed,
        duration_s: scenario.duration_ns as f64 / 1e9,
        scans_per_second: scenario.part.scans_per_second,
        read_every_s: scenario.host.read_every_ns as f64 / 1e9,
        rails: rails.collect(),
        unaccounted_s: [
            ledger.gap().least_us as f64 / 1e6,
            ledger.gap().greatest_us as f64 / 1e6,
        ],
        discontinuities: ledger.epoch(),
        alerts: desk.map(|desk| desk.timeline).unwrap_or_default(),
        samples,
        conversions: part.conversions(),
        bus: BusReport::new(bench.bus_stats(), bench.now_ns()),
        monitor: MonitorReport::new(&part, bench.now_ns(), begun_ns),
    })
}

/// A watch that cannot be, by the name of its rail.
fn named(scenario: &Scenario, error: RunError) -> RunError {
    use crake::old::Misuse::{LimitBeyondFullScale, LimitsCrossed};
    let RunError::Driver(driver) = &error else {
        return error;
    };
    match driver.misuse() {
        Some(misuse @ (LimitBeyondFullScale(channel, _) | LimitsCrossed(channel, _))) => {
            let rail = scenario
                .rails
                .iter()
                .find(|rail| rail.channel == channel.number());
            rail.map_or(error, |rail| RunError::Alert {
                rail: rail.name.clone(),
                misuse,
            })
        }
        _ => error,
    }
}

/// The part with its rails, each behind its own resistor.
fn wire(bench: &Bench, scenario: &Scenario) -> Result<Part, RunError> {
    let address = scenario.part.address;
    let part = bench.part(match scenario.part.errors {
        Errors::Individual => model::Corncrake::drawn(address),
        Errors::None => model::Corncrake::ideal(address),
    })?;
    for plan in &scenario.rails {
        let mut rng = bench.rng(&format!("sense resistor of {}", plan.name));
        let resistor = board::resistor(plan, scenario, &mut rng);
        part.rail(usize::from(plan.channel), plan.rail()?, resistor)?;
    }
    Ok(part)
}

/// What firmware does for a frame, written against the generic trait.
fn latch<const N: usize>(
    monitor: &mut dyn ShuntMonitor<N, BusError = BusError>,
) -> Result<Frame<'_>, crake::old::Error<BusError>> {
    monitor.latch()
}
