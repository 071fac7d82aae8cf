//! A small boat in front of any part: the supervisor's rails on the bench, its firmware behind any monitor. The same code for every part; what differs is handed in.

use std::time::Duration;

use crake::old::alert::{Outputs, Watch};
use crake::old::board::{Board, Edges, Load, Rail, Shunt};
use crake::old::ledger::Account;
use crake::old::part::{BusRange, Part as Map, SenseRange, Spec};
use crake::old::units::{Current, Resistance, Tolerance, Voltage};
use crake::old::{Channel, Mode, Monitor, Ranges, Setup};
use crake_sim::bench::{Bench, Delay, I2c, Line, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::Clock;
use crake_sim::part::{AlertOutputs, Order};
use crake_sim::plant::{self, Recorded, Source, Switch, Switched};
use embedded_hal::digital::InputPin;
use skiff_supervisor::{CELL, Config, DRIVE, MODEM, Record, Supervisor, Switches};

/// Sense resistors by channel, in milliohms, and the greatest currents that they are meant for.
const RAILS: [(u64, Current); 4] = [
    (5, Current::from_amps(13)),
    (10, Current::from_milliamps(2_600)),
    (500, Current::from_milliamps(50)),
    (20, Current::from_milliamps(3_200)),
];
/// Their tolerance: 0.5 %.
const TOLERANCE_PPM: u32 = 5_000;
/// Volts of the rails without anything happening.
const VOLTS: [f64; 4] = [15.5, 3.8, 3.3, 3.8];
/// Amperes of the rails without anything happening.
const AMPS: [f64; 4] = [1.0, 0.5, 0.02, 0.06];

/// Lines for a part's outputs, and what each stands for.
pub type Wiring<M> = fn(&Bench, &Part<M>) -> Vec<(Line, Outputs)>;

/// What a part is put on the bench with.
pub struct Fitting<O: Order, M> {
    pub order: O,
    pub map: M,
    pub spec: &'static Spec,
    /// The pace: where the driver keeps the sums, the firmware's promise, longer than it takes from one look to the next.
    pub rounds_per_second: u32,
    /// Whether sense resistors stand outside the part; else it measures amperes itself, and each channel has ranges of its own, in their order.
    pub resistors: bool,
    /// The supervisor's limits and times, its thresholds of "no current" chosen beyond the zero errors of this part.
    pub config: Config,
    /// The part's outputs, each on a line of its own, and what each stands for.
    pub outputs: Wiring<O::Model>,
}

/// What goes on at the rails, in milliseconds and amperes or volts.
pub struct Plan {
    pub drive_amps: Vec<(f64, f64)>,
    pub cell_volts: Vec<(f64, f64)>,
    pub until_ms: u64,
}

/// What came of it.
pub struct Outcome {
    pub records: Vec<Record>,
    pub rails: Vec<(Channel, Account, plant::Truth)>,
    /// Time that is accounted for on no rail, at the most.
    pub gap_us: u64,
}

/// Runs the supervisor of the first `N` rails on a part.
pub fn sail<O, M, const N: usize>(fitting: Fitting<O, M>, plan: &Plan, seed: u64) -> Outcome
where
    O: Order,
    O::Model: AlertOutputs,
    M: Map,
{
    let bench = Bench::new(seed);
    let address = fitting.order.address();
    let part = bench.part(fitting.order).expect("an address of the part");
    let (drive, modem) = (Switch::open(bench.clock()), Switch::open(bench.clock()));
    let mut rng = bench.rng("sense resistors");
    for (channel, (mohm, _)) in Channel::first(N as u8).zip(RAILS) {
        let resistor = if fitting.resistors {
            SenseResistor::ideal(mohm * 1_000_000)
                .tolerance_ppm(TOLERANCE_PPM)
                .individual_from(&mut rng)
        } else {
            SenseResistor::ideal(0)
        };
        let rail = rail(channel, plan, &drive, &modem);
        part.rail(channel.index(), rail, resistor)
            .expect("a channel");
    }
    let board = board::<N>(fitting.spec, fitting.resistors);
    let mut monitor = Monitor::new(
        bench.i2c(),
        bench.delay(),
        bench.clock(),
        fitting.map,
        address,
        &board,
    );
    let config = fitting.config;
    let limits = config.limits();
    let limits: &[Watch] = &limits[..N];
    let setup = setup::<N>(fitting.spec, fitting.rounds_per_second, fitting.resistors);
    let mut switches = Switches { drive, modem };
    let mut supervisor: Supervisor<'_, N, 256, 16> =
        Supervisor::new(config, limits, setup, &board, fitting.spec);
    let mut lines = (fitting.outputs)(&bench, &part);
    run(
        &bench,
        &part,
        &mut monitor,
        &mut supervisor,
        &mut lines,
        &mut switches,
        plan.until_ms * 1_000_000,
    );
    let records = std::iter::from_fn(|| supervisor.next_record()).collect();
    Outcome {
        records,
        rails: Channel::first(N as u8)
            .map(|channel| {
                let account = supervisor.account(channel).expect("a rail");
                (
                    channel,
                    account,
                    part.truth(channel.index()).expect("a rail"),
                )
            })
            .collect(),
        gap_us: supervisor.ledger().gap().greatest_us,
    }
}

/// The loop of the firmware: it is called when the supervisor wants to be, or a line is low.
fn run<M, A, const N: usize>(
    bench: &Bench,
    part: &Part<A>,
    monitor: &mut Monitor<'_, I2c, Delay, Clock, M, N>,
    supervisor: &mut Supervisor<'_, N, 256, 16>,
    lines: &mut [(Line, Outputs)],
    switches: &mut Switches<Switch, Switch>,
    end_ns: u64,
) where
    M: Map,
    A: AlertOutputs,
{
    let mut due_us = 0;
    while bench.now_ns() < end_ns {
        let low = lines
            .iter_mut()
            .filter_map(|(line, outputs)| (line.is_low() == Ok(true)).then_some(*outputs))
            .fold(Outputs::empty(), |low, outputs| low | outputs);
        if due_us * 1_000 <= bench.now_ns() || low.intersects(supervisor.lines()) {
            let now_us = bench.now_ns() / 1_000;
            due_us = supervisor.poll(monitor, low, now_us, switches);
            bench.run_for(Duration::from_micros(10)); // the host's own work
        } else {
            let next_ns = part.next_event_ns().unwrap_or(u64::MAX);
            let next_ns = next_ns.min(due_us * 1_000).min(end_ns);
            bench.run_until(next_ns.max(bench.now_ns() + 1));
        }
    }
}

fn rail(channel: Channel, plan: &Plan, drive: &Switch, modem: &Switch) -> Switched {
    let own = |steps: &[(f64, f64)], value: f64| {
        let mut all = vec![(0.0, value)];
        all.extend_from_slice(steps);
        recorded(&all)
    };
    let none: &[(f64, f64)] = &[];
    let place = channel.index();
    let amps = if channel == DRIVE {
        &plan.drive_amps
    } else {
        none
    };
    let volts = if channel == CELL {
        &plan.cell_volts
    } else {
        none
    };
    let load = plant::Load::of(own(amps, AMPS[place]));
    let load = match channel {
        DRIVE => load.behind(drive),
        MODEM => load.behind(modem),
        _ => load,
    };
    Switched::new(Source::of(own(volts, VOLTS[place])), vec![load]).expect("a rail")
}

fn board<const N: usize>(spec: &'static Spec, resistors: bool) -> Board<N> {
    let mut number = 0;
    let rails = RAILS.map(|(mohm, greatest)| {
        let shunt = if resistors {
            let resistance = Resistance::from_milliohms(mohm);
            Shunt::new(resistance, Tolerance::from_ppm(TOLERANCE_PPM))
        } else {
            Shunt::inside()
        };
        // Switched on and off and stepped a few times a minute.
        let load = Load::smooth(greatest).with_edges(Edges {
            per_1000_s: 500,
            step: greatest,
        });
        let load = if number < 2 { load.both_ways() } else { load };
        let greatest = Voltage::from_volts(if number == 0 { 17 } else { 5 });
        number += 1;
        Rail::new(shunt, load).with_voltage(Voltage::from_volts(2), greatest)
    });
    let rails: [Rail; N] = core::array::from_fn(|index| rails[index]);
    Board::new(spec, rails).expect("rails that the part can be used with")
}

/// The finest ranges that reach what each rail is meant for.
fn setup<const N: usize>(spec: &'static Spec, rounds_per_second: u32, resistors: bool) -> Setup<N> {
    let ranges = |index: usize| {
        if !resistors {
            let own = index as u8;
            return Some(Ranges {
                sense: SenseRange(own),
                bus: BusRange(own),
            });
        }
        let (mohm, greatest) = RAILS[index];
        let peak = greatest.as_nanoamps() * mohm as i64 / 1_000;
        let volts = if index == 0 { 16 } else { 4 };
        Some(Ranges {
            sense: spec.sense_range_for(Voltage::from_nanovolts(peak))?,
            bus: spec.bus_range_for(Voltage::from_volts(volts))?,
        })
    };
    Setup {
        channels: core::array::from_fn(ranges),
        mode: Mode::Paced(spec.pace(rounds_per_second).expect("a pace of the part")),
        averaging: 0,
    }
}

fn recorded(steps: &[(f64, f64)]) -> Recorded {
    let nano = |value: f64| (value * 1e9).round() as i64;
    let rest: Vec<_> = steps[1..]
        .iter()
        .map(|(ms, value)| ((ms * 1e6).round() as u64, nano(*value)))
        .collect();
    Recorded::steps(nano(steps[0].1), &rest).expect("steps in the order of time")
}
