//! What is planned against what the bench measures: the part's current, the bus's load, rollovers,
//! and the time from a limit to the edge, each within 2 %; of individuals after scaling by their
//! own oscillator.

use core::time::Duration;

use crake::alert::{AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, Kind, Mode};
use crake::part::Part as _;
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::plan::{Demands, Duty, Host, Plan, choose};
use crake::units::{Power, Resistance, Tolerance, Voltage};
use crake::{Channel, Clock, Monitor, Sample, ShuntMonitor, TimedSample};
use crake_sim::bench::{Bench, Part};
use crake_sim::board::SenseResistor as Fitted;
use crake_sim::bus::Speed;
use crake_sim::part::corncrake::{self as model, Individual, Output};
use crake_sim::plant::{self, Constant, Recorded, Source};
use crake_sim::rng::Rng;

const CHANNELS: usize = 4;
const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::ZERO,
));
static BOARD: Board<CHANNELS> = Corncrake::board(&[RAIL; CHANNELS]);
const UP_TO: FullScale = FullScale::new(Voltage::from_millivolts(65), Voltage::from_volts(16));
const CONFIG: Config<CHANNELS> = Config::single_shot([UP_TO; CHANNELS]);
const SEED: u64 = 1;

/// The nominal individual, then three from seeds.
fn individuals() -> impl Iterator<Item = Individual> {
    let drawn = (SEED..SEED + 3).map(|seed| Individual::from_seed(&Rng::new(seed)));
    [Individual::ideal()].into_iter().chain(drawn)
}

/// How much longer than nominal it takes for everything.
fn slowness(individual: &Individual) -> f64 {
    individual.conversion_ns as f64 / 62_500.0
}

fn planned(demands: &Demands<'_>) -> Plan<CHANNELS> {
    let bench = Bench::new(SEED);
    let part = Corncrake::new(Address::Strap0);
    let monitor = Monitor::new(bench.i2c(), bench.delay(), part, &BOARD);
    choose(
        (&INFO, &Corncrake::SUPPLY_TYPICAL),
        &CONFIG,
        demands,
        &Host::TYPICAL,
        |call, config| monitor.traffic(call, config),
    )
    .expect("a plan")
}

fn bench_of(plan: &Plan<CHANNELS>, individual: Individual) -> (Bench, Part) {
    let bench = Bench::new(SEED);
    bench.set_bus_speed(match plan.bus_hz {
        100_000 => Speed::Standard,
        400_000 => Speed::Fast,
        _ => Speed::FastPlus,
    });
    let part = bench.part(model::Corncrake::individual(0x32, individual));
    (bench, part.expect("an address"))
}

/// 12 V, and so much.
fn rail(na: i64) -> plant::Rail {
    let source = Source::of(Constant::new(12_000_000_000).expect("a voltage"));
    plant::Rail::new(source, Constant::new(na).expect("a load")).expect("a rail")
}

struct HostClock(crake_sim::bus::Clock);

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        self.0.now_ns() / 1_000
    }
}

fn within(what: &str, planned: f64, measured: f64) {
    let off = (planned / measured - 1.0).abs();
    assert!(
        off <= 0.02,
        "{what}: {planned} planned, {measured} measured"
    );
}

const MS: u64 = 1_000;
const S: u64 = 1_000_000;

/// Each scan rate, and single shots, at intervals of their own.
#[test]
fn current_bus_and_rollovers_are_as_planned() {
    let none = Demands::NONE;
    for (event_us, wake_us, period_us) in [
        (Some(MS), 50 * MS, Some(500)),
        (Some(3 * MS), 300 * MS, Some(2_000)),
        (Some(20 * MS), S, Some(10_000)),
        (Some(S / 2), 5 * S, Some(100_000)),
        (Some(2 * S), 20 * S, Some(1_000_000)),
        (None, 2 * S, None),
    ] {
        let wake_us = Some(wake_us);
        let plan = planned(&Demands {
            event_us,
            wake_us,
            ..none
        });
        let scan = &plan.scan;
        assert_eq!(Some(scan.period_us(&INFO)).filter(|us| *us != 0), period_us);
        for individual in individuals() {
            measure(&plan, individual);
        }
    }
}

fn measure(plan: &Plan<CHANNELS>, individual: Individual) {
    let slowness = slowness(&individual);
    let (bench, part) = bench_of(plan, individual);
    for channel in 0..CHANNELS {
        // 60 of 65.5 mV.
        let (rail, resistor) = (rail(6_000_000_000), Fitted::ideal(10_000_000));
        part.rail(channel, rail, resistor).expect("a channel");
    }
    let driver = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(bench.i2c(), bench.delay(), driver, &BOARD)
        .with_clock(HostClock(bench.clock()));
    monitor.init(&plan.config).expect("init");
    let interval = Duration::from_micros(plan.interval_us);
    // Wake-up and the first mean.
    let mean_us = Duty::new(&INFO, &plan.scan, 0).mean_us();
    bench.run_for(interval.max(Duration::from_micros(2 * mean_us)));

    let sums = |sample: &dyn TimedSample<CHANNELS>| {
        (
            sample.sums(Channel::C2),
            sample.timestamp().after_us,
            sample.codes(Channel::C2).sense,
        )
    };
    let (first, first_us, _) = sums(monitor.sample().expect("a sample"));
    let (began_ns, charge) = (bench.now_ns(), part.supply_charge_na_ns());
    let busy_ns = bench.bus_stats().busy_ns;
    let mut last = (first, first_us, 0);
    for _ in 0..10 {
        let next = Duration::from_nanos(bench.now_ns()) + interval;
        // The sample ends at the interval's end.
        let sample_us = plan.sample.us(plan.bus_hz);
        bench.run_until((next.as_nanos() as u64).saturating_sub(sample_us * 1_000));
        last = sums(monitor.sample().expect("a sample"));
    }
    let ns = (bench.now_ns() - began_ns) as f64;
    let drawn_na = (part.supply_charge_na_ns() - charge) as f64 / ns;
    let is_shot = plan.config.mode() == Mode::SingleShot;
    // Shots come by the host's clock; a slow part converts for longer in each.
    let scaled_na = match is_shot {
        false => plan.spent.part.as_nanoamps() as f64,
        true => {
            let idle_na = Corncrake::SUPPLY_TYPICAL.idle.as_nanoamps() as f64;
            let more_na = plan.spent.part.as_nanoamps() as f64 - idle_na;
            // 150 µs of wake-up stay.
            idle_na + more_na * (150.0 + 500.0 * slowness) / 650.0
        }
    };
    within("the part's current", scaled_na, drawn_na);

    let busy = (bench.bus_stats().busy_ns - busy_ns) as f64 / ns;
    let planned_busy = plan.sample.bus_us(plan.bus_hz) as f64 / plan.interval_us as f64;
    within("the bus's load", planned_busy, busy);

    let duty = Duty::new(&INFO, &plan.scan, plan.interval_us);
    let Some(rollovers) = duty.rollovers(Channel::C2) else {
        assert!(is_shot);
        return;
    };
    let (sums, last_us, code) = last;
    let per_us = (sums.charge - first.charge) as f64 / (last_us - first_us) as f64;
    // 44 bits with a sign, at the greatest code of 2^17.
    let measured_us = 2_f64.powi(43) / per_us * f64::from(code) / 2_f64.powi(17);
    within(
        "charge rolls over",
        rollovers.charge_us as f64 * slowness,
        measured_us,
    );
    // 60 bits, at 2^17 × 2^16, from the power's own code.
    let per_us = (sums.energy - first.energy) as f64 / (last_us - first_us) as f64;
    let power = monitor.last_sample().codes(Channel::C2).power as f64;
    let measured_us = 2_f64.powi(59) / per_us * power / 2_f64.powi(33);
    within(
        "energy rolls over",
        rollovers.energy_us as f64 * slowness,
        measured_us,
    );
}

/// Excursions begin at 200 phases of a scan. The longest to the edge is what is planned, for a
/// part whose oscillator is off by so much; no event comes later than planned.
#[test]
fn the_longest_time_to_an_alert_is_as_planned() {
    for (event_us, alert_us, debounce) in [(25 * MS, 60 * MS, 2), (11 * MS, 40 * MS, 1)] {
        let plan = planned(&Demands {
            event_us: Some(event_us),
            alert_us: Some(alert_us),
            wake_us: Some(S),
            kinds: &[Kind::OverPower],
            ..Demands::NONE
        });
        assert_eq!(
            (plan.scan.period_us(&INFO), plan.debounce),
            (10_000, debounce)
        );
        for individual in individuals() {
            let slowness = slowness(&individual);
            let (edge_us, event_us) = latencies(&plan, individual);
            // The plan holds for an oscillator that is 1.5 % slow.
            let planned_us = plan.seen_us as f64 * 0.985 * slowness;
            within("limit to edge", planned_us, edge_us);
            assert!(edge_us <= plan.seen_us as f64, "{edge_us} µs");
            assert!(event_us <= plan.told_us as f64, "{event_us} µs");
        }
    }
}

/// The longest from an excursion's beginning to the edge, and to the event.
fn latencies(plan: &Plan<CHANNELS>, individual: Individual) -> (f64, f64) {
    const PULSES: u64 = 200;
    // A scan of 10 ms and a 200th more or less apart, whatever the oscillator.
    let begins = |pulse: u64| 100_000_000 + pulse * 100_050_000;
    let mut steps = vec![(0, 1_000_000_000)];
    for pulse in 0..PULSES {
        steps.push((begins(pulse), 5_000_000_000));
        steps.push((begins(pulse) + 40_000_000, 1_000_000_000));
    }
    let (bench, part) = bench_of(plan, individual);
    let load = Recorded::steps(steps[0].1, &steps[1..]).expect("steps");
    let source = Source::of(Constant::new(12_000_000_000).expect("a voltage"));
    let rail = plant::Rail::new(source, load).expect("a rail");
    let resistor = Fitted::ideal(10_000_000);
    part.rail(0, rail, resistor).expect("a channel");
    let line = bench.alert(&part, Output::A);
    line.set_recording(true);

    // A whole conversion has to be beyond: of 60 W in steps from 12 W it takes 99 %.
    const OVER: Threshold = Threshold::OverPower(Power::from_milliwatts(59_300));
    let limits = [Limit::new(Channel::C0, OVER)
        .to(Outputs::A)
        .debounce(plan.debounce)];
    let limits = Limits::new(&limits);
    let mut queue = AlertQueue::<4>::new();
    let driver = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(bench.i2c(), bench.delay(), driver, &BOARD);
    // Single scans, so that each sample shows what is.
    monitor.init(&plan.config.averaging(0)).expect("init");
    queue.set_limits(&mut monitor, &limits).expect("limits");
    let (mut to_edge, mut to_event) = (0.0_f64, 0.0_f64);
    for pulse in 0..PULSES {
        bench.run_until(begins(pulse) + 40_000_000);
        let edges = line.edges();
        let edge = edges.first();
        let edge_ns = edge
            .unwrap_or_else(|| panic!("pulse {pulse}: no edge"))
            .at_ns;
        to_edge = to_edge.max((edge_ns - begins(pulse)) as f64 / 1e3);
        // As if the host had been woken by the edge: the service takes as long any time.
        let woken_ns = bench.now_ns();
        queue.service(&mut monitor).expect("a service");
        assert!(queue.next_event().is_some(), "pulse {pulse}");
        let served_us = (bench.now_ns() - woken_ns) as f64 / 1e3;
        to_event = to_event.max((edge_ns - begins(pulse)) as f64 / 1e3 + served_us);
        bench.run_until(begins(pulse) + 90_000_000);
        queue.service(&mut monitor).expect("a service");
        line.edges();
    }
    (to_edge, to_event)
}
