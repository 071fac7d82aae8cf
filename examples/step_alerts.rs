//! Steps through an alert conversion by conversion: the part's comparators on the bench, and the same rule in software beside them.
//!
//! ```sh
//! cargo run --example step_alerts
//! ```
//!
//! DRIVE goes from 8 A to 11 A at 15 ms; its limit is 9.5 A, with a debounce of three conversions. Every turn of the loop is one conversion, so that a debugger that stops
//! in it stops time with it. docs/debugging.md says where to stop and what to look at.

use core::error::Error;

use crake::old::alert::{Judge, Kind, Limit, Outputs, Plan, Station, Watch, Watches};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::corncrake::{self, BUS_16_V, PACE_2000, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance, Voltage};
use crake::old::{Channel, Mode, Monitor, Ranges, Setup};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::old::corncrake::{Converted, Corncrake, Input, Output};
use crake_sim::plant::{self, Constant, Recorded, Source};

/// An over-current after three conversions, and an under-voltage that does not happen.
const LIMITS: [Watch; 2] = [
    Watch::new(
        Channel::C0,
        Limit::OverCurrent(Current::from_milliamps(9_500)),
    )
    .debounce(3)
    .held()
    .to(Outputs::A),
    Watch::new(Channel::C0, Limit::UnderVoltage(Voltage::from_volts(12)))
        .held()
        .to(Outputs::A),
];

fn main() -> Result<(), Box<dyn Error>> {
    // The bench: an ideal part, 5 mΩ, 15 V.
    let bench = Bench::new(1);
    let part = bench.part(Corncrake::ideal(0x32))?;
    let load = Recorded::steps(8_000_000_000, &[(15_000_000, 11_000_000_000)])?;
    let rail = plant::Rail::new(Source::of(Constant::new(15_000_000_000)?), load)?;
    part.rail(0, rail, SenseResistor::ideal(5_000_000))?;

    // The firmware: one channel at 2000 rounds a second.
    let drive = Rail::new(
        Shunt::new(Resistance::from_milliohms(5), Tolerance::ZERO),
        Load::smooth(Current::from_amps(13)),
    );
    let board = Board::new(&SPEC, [drive])?;
    let ranges = Ranges {
        sense: SENSE_65_MV,
        bus: BUS_16_V,
    };
    let setup: Setup<1> = Setup::all(ranges, Mode::Paced(PACE_2000));
    let (i2c, delay, clock) = (bench.i2c(), bench.delay(), bench.clock());
    let mut monitor = Monitor::new(i2c, delay, clock, corncrake::Corncrake::new(), 0x32, &board);
    let mut station: Station<'_, 1, 4> = Station::new(setup, Watches::limits(&LIMITS));
    crake::old::ShuntMonitor::init(&mut monitor, &setup)?;
    station.arm(&mut monitor)?;

    // The same limits in software.
    let sampling = setup.view();
    let plan = Plan::new(&SPEC, board.rails(), &sampling, Watches::limits(&LIMITS))?;
    let mut judge: Judge<1> = Judge::new(&plan);

    println!("        at  input    code  limits             software  line A");
    while let Some(step) = bench.step() {
        let is_low = part.is_low(Output::A);
        judge_step(&mut judge, step.converted);
        print_step(&judge, &plan, step.converted, is_low);
        if is_low {
            break;
        }
    }
    println!("{judge:?}");

    station.service(&mut monitor)?;
    while let Some(event) = station.next_event() {
        println!("event: {} at {} us", event.cause, event.stamp.after_us);
        println!("{event:?}");
    }
    Ok(())
}

/// Lets the software judge what the part has just converted.
fn judge_step(judge: &mut Judge<1>, converted: Converted) {
    for kind in kinds(converted.input) {
        judge.code(Channel::C0, kind, i64::from(converted.code));
    }
}

/// What a conversion of an input is compared with.
const fn kinds(input: Input) -> [Kind; 2] {
    match input {
        Input::Sense => [Kind::OverCurrent, Kind::UnderCurrent],
        Input::Rail => [Kind::OverVoltage, Kind::UnderVoltage],
    }
}

fn print_step(judge: &Judge<1>, plan: &Plan<'_>, converted: Converted, is_low: bool) {
    let limits = kinds(converted.input)
        .into_iter()
        .filter_map(|kind| Some((kind, plan.code(Channel::C0, kind)?)))
        .map(|(kind, code)| {
            let sign = if kind.is_over() { '>' } else { '<' };
            format!("trips {sign} {code}")
        });
    let input = match converted.input {
        Input::Sense => "sense",
        Input::Rail => "rail",
    };
    println!(
        "{:>7}.{} us  {input:<5}  {:>6}  {:<17}  {:<8}  {}",
        converted.at_ns / 1_000,
        converted.at_ns / 100 % 10,
        converted.code,
        limits.collect::<Vec<_>>().join(", "),
        if judge.causes().is_empty() {
            "-"
        } else {
            "cause"
        },
        if is_low { "low" } else { "high" },
    );
}
