use super::RunError;
use super::faults::Faults;
use super::part::{Fit, OnBench, Seat};
use super::reactions::AlertReport;
use super::reading::Row;
use super::report::{BusReport, MonitorReport, PartReport, Report};
use super::station::{self, Outcome, Station};
use super::verdict::Verdict;
use crate::bench::Bench;
use crate::bus::Speed;
use crate::scenario::{PartPlan, RailPlan, Scenario};

/// Looks on while a scenario runs.
pub trait Observer {
    /// The bench is built and the parts are on it with their rails; no time has passed.
    ///
    /// # Errors
    /// Ends the run.
    fn begin(&mut self, bench: &Bench, parts: &[OnBench<'_>]) -> std::io::Result<()> {
        let _ = (bench, parts);
        Ok(())
    }

    /// How far the run has come, in nanoseconds of its own time.
    fn progress(&mut self, done_ns: u64, total_ns: u64);

    /// One reading of one rail.
    ///
    /// # Errors
    /// Ends the run.
    fn reading(&mut self, row: &Row<'_>) -> std::io::Result<()>;

    /// After each reading of a part with limits: every alert of it that the firmware has heard of
    /// by then, in its order.
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

/// What the firmware of one part of a run is built from.
pub struct Setup<'r> {
    pub(super) bench: &'r Bench,
    pub(super) scenario: &'r Scenario,
    /// The part, by its place.
    pub(super) place: usize,
    pub(super) faults: &'r Faults,
    pub(super) clock_error_ppb: i64,
}

/// How long a part may keep the host, in seconds.
pub struct Busy {
    /// Taking a reading, and what a condition that is over by it asks for.
    pub(super) reading_s: f64,
    /// A service.
    pub(super) service_s: f64,
}

impl<'r> Setup<'r> {
    pub(super) fn plan(&self) -> &'r PartPlan {
        &self.scenario.parts[self.place]
    }

    pub(super) fn rails(&self) -> impl Iterator<Item = &'r RailPlan> + use<'r> {
        self.scenario.rails_of(self.place)
    }
}

pub(super) fn run(
    fits: &[&dyn Fit],
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
    let mut seats = Vec::new();
    for (place, plan) in scenario.parts.iter().enumerate() {
        let mut fits = fits.iter();
        let fit = fits.find(|fit| fit.kind() == plan.kind);
        let fit = fit.ok_or(RunError::NoModel(plan.kind.word))?;
        seats.push(fit.put(&bench, scenario, place)?);
    }
    let parts = scenario.parts.iter().zip(&seats);
    let parts: Vec<_> = parts
        .map(|(plan, seat)| OnBench {
            plan,
            seat: &**seat,
        })
        .collect();
    observer.begin(&bench, &parts).map_err(RunError::Observer)?;
    let clock_error_ppb = clock_error_ppb(&bench, scenario);
    let faults = Faults::new(&bench, scenario)?;
    let setup = |place| Setup {
        bench: &bench,
        scenario,
        place,
        faults: &faults,
        clock_error_ppb,
    };

    let mut outcomes = Vec::new();
    enter(&seats, &setup, Vec::new(), &mut |stations| {
        work(&bench, scenario, stations, observer)?;
        outcomes.extend(stations.iter_mut().map(|station| station.outcome()));
        Ok(())
    })?;
    Ok(report(&bench, scenario, &parts, &faults, outcomes))
}

/// What is done with the firmware of all parts.
type Work<'w> = dyn FnMut(&mut [&mut dyn Station]) -> Result<(), RunError> + 'w;

/// Builds firmware for one part after the other, each within the call of the one before, and does
/// `work` with all of them.
fn enter<'r>(
    seats: &[Box<dyn Seat>],
    setup: &dyn Fn(usize) -> Setup<'r>,
    stations: Vec<&mut dyn Station>,
    work: &mut Work<'_>,
) -> Result<(), RunError> {
    let mut stations = stations;
    let place = stations.len();
    let Some(seat) = seats.get(place) else {
        return work(&mut stations);
    };
    seat.enter(&setup(place), &mut |station| {
        let earlier = stations.iter_mut();
        let mut all: Vec<&mut dyn Station> = Vec::with_capacity(place + 1);
        for one in earlier {
            all.push(&mut **one);
        }
        all.push(station);
        enter(seats, setup, all, work)
    })
}

/// The host's loop.
fn work(
    bench: &Bench,
    scenario: &Scenario,
    stations: &mut [&mut dyn Station],
    observer: &mut dyn Observer,
) -> Result<(), RunError> {
    let all_s: f64 = stations.iter().map(|station| station.keeps_host_s()).sum();
    for station in stations.iter_mut() {
        station.wait_for_others(all_s - station.keeps_host_s());
    }
    let (mut next_ns, mut number) = (0, 0);
    while next_ns < scenario.duration_ns {
        next_ns = next_ns
            .saturating_add(scenario.host.read_every_ns)
            .min(scenario.duration_ns);
        station::read(bench, stations, next_ns, number, observer)?;
        number += 1;
        observer.progress(next_ns, scenario.duration_ns);
    }
    Ok(())
}

fn report(
    bench: &Bench,
    scenario: &Scenario,
    parts: &[OnBench<'_>],
    faults: &Faults,
    mut outcomes: Vec<Outcome>,
) -> Report {
    let books = || outcomes.iter().map(|outcome| &outcome.books);
    let unaccounted_s = books().map(|books| books.unaccounted_s);
    let unaccounted_s = unaccounted_s.max_by(|one, other| one[1].total_cmp(&other[1]));
    let discontinuities = books().map(|books| books.discontinuities).sum();
    let samples = books().map(|books| books.samples).sum();
    let begun_ns = outcomes.iter().map(|outcome| outcome.begun_ns);
    let begun_ns = begun_ns
        .reduce(|one, other| Some(one?.max(other?)))
        .flatten();
    let spent = parts.iter().map(|part| part.seat.spent());
    let (conversions, energy_j) =
        spent.fold((0, 0.0), |sum, part| (sum.0 + part.0, sum.1 + part.1));

    let measured = || books().flat_map(|books| &books.rails);
    let of_plan = |plan: &RailPlan| measured().find(|rail| rail.name == plan.name).cloned();
    let rails: Vec<_> = scenario.rails.iter().filter_map(of_plan).collect();
    let mut alerts: Vec<_> = outcomes
        .iter_mut()
        .flat_map(|it| it.alerts.drain(..))
        .collect();
    alerts.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
    let mut failures: Vec<_> = outcomes
        .iter_mut()
        .flat_map(|it| it.failures.drain(..))
        .collect();
    failures.sort_by(|one, other| one.first_s.total_cmp(&other.first_s));
    let names: Vec<_> = scenario
        .rails
        .iter()
        .map(|plan| called(scenario, plan))
        .collect();
    let plans = scenario.parts.iter().enumerate();
    Report {
        title: scenario.title.clone(),
        seed: bench.seed(),
        duration_s: scenario.duration_ns as f64 / 1e9,
        parts: plans
            .map(|(place, plan)| PartReport::new(plan, scenario, place))
            .collect(),
        read_every_s: scenario.host.read_every_ns as f64 / 1e9,
        verdict: Verdict::new(&names, &rails, &alerts),
        rails,
        unaccounted_s: unaccounted_s.unwrap_or_default(),
        discontinuities,
        alerts,
        faults: faults.reports(),
        contradictions: Vec::new(),
        samples,
        conversions,
        bus: BusReport::new(bench.bus_stats(), bench.now_ns()),
        monitor: MonitorReport::new(energy_j, bench.now_ns(), begun_ns),
        failures,
    }
}

/// A rail's name, and with that of its part where there are several.
fn called<'s>(scenario: &'s Scenario, plan: &'s RailPlan) -> (&'s str, String) {
    let called = match scenario.parts.as_slice() {
        [_] => plan.name.clone(),
        parts => format!("{} on {}", plan.name, parts[plan.part].name),
    };
    (&plan.name, called)
}

/// By how much the host's clock is fast, as the scenario has it or the seed.
fn clock_error_ppb(bench: &Bench, scenario: &Scenario) -> i64 {
    let limit_ppb = f64::from(scenario.host.clock_limit_ppb);
    let from_seed = || bench.rng("host clock").rectangular(limit_ppb) as i32;
    i64::from(scenario.host.clock_error_ppb.unwrap_or_else(from_seed))
}
