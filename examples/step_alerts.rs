//! Steps through an alert conversion by conversion: the part's comparators on the bench, the same
//! rule in software beside them, and what the driver makes of the part's flag.
//!
//! ```sh
//! cargo run --example step_alerts
//! ```
//!
//! DRIVE goes from 8 A to 11 A at 8 ms; its limit is 9.5 A, with a debounce of three conversions.
//! Every turn of the loop is one conversion, so that a debugger that stops in it stops time with
//! it. docs/debugging.md says where to stop and what to look at.

use core::error::Error;

use crake::alert::{
    AlertQueue, Compare, Kind, Limit, Limits, Outputs, SoftwareComparator, Threshold,
    limit_in_force,
};
use crake::board::{Board, LimitPlan, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::part::corncrake::{self as model, Converted, Input, Output};
use crake_sim::plant::{self, Constant, Recorded, Source};

/// 5 mΩ.
const DRIVE: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(5),
    Tolerance::ZERO,
));
static BOARD: Board<1> = Corncrake::board(&[DRIVE]);
/// 13 A and 16 V, 2000 scans a second.
const CONFIG: Config<1> = Config::continuous(
    [FullScale::new(
        Voltage::from_millivolts(65),
        Voltage::from_volts(16),
    )],
    ScanRate::per_second(2_000),
);

/// An over-current after three conversions, and an under-voltage that does not happen.
const OVER: Threshold = Threshold::OverCurrent(Current::from_milliamps(9_500));
const UNDER: Threshold = Threshold::UnderVoltage(Voltage::from_volts(12));
static LIMITS: Limits<'_> = Limits::new(&[
    Limit::new(Channel::C0, OVER).debounce(3).to(Outputs::A),
    Limit::new(Channel::C0, UNDER).to(Outputs::A),
]);

fn main() -> Result<(), Box<dyn Error>> {
    // The bench: an ideal part, 5 mΩ, 15 V.
    let bench = Bench::new(1);
    let part = bench.part(model::Corncrake::ideal(0x32))?;
    let load = Recorded::steps(8_000_000_000, &[(8_000_000, 11_000_000_000)])?;
    let rail = plant::Rail::new(Source::of(Constant::new(15_000_000_000)?), load)?;
    part.rail(0, rail, crake_sim::board::SenseResistor::ideal(5_000_000))?;

    // The firmware.
    let (i2c, delay) = (bench.i2c(), bench.delay());
    let corncrake = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(i2c, delay, corncrake, &BOARD).with_clock(bench.clock());
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    monitor.init(&CONFIG)?;
    queue.set_limits(&mut monitor, &LIMITS)?;

    // The same limits in software.
    let mut software: SoftwareComparator<1> = SoftwareComparator::new();
    let scan = *monitor.last_sample().scan();
    software.set_all(&LimitPlan::new(&INFO, &BOARD, &scan, &LIMITS));

    println!("        at  input    code  limit           software  line A");
    while let Some(step) = bench.step() {
        let is_low = part.is_low(Output::A);
        compare(&mut software, step.converted);
        print_step(monitor.last_sample(), step.converted, &software, is_low);
        if is_low {
            break;
        }
    }

    queue.service(&mut monitor)?;
    while let Some(event) = queue.next_event() {
        println!("event: {}", event.flag());
        println!("{event:?}");
    }
    Ok(())
}

/// The limit that a conversion of an input is compared with.
const fn limit(input: Input) -> (Threshold, Kind, &'static str) {
    match input {
        Input::Sense => (OVER, Kind::OverCurrent, "above"),
        Input::Rail => (UNDER, Kind::UnderVoltage, "below"),
    }
}

/// Lets the software compare what the part has just converted.
fn compare(software: &mut SoftwareComparator<1>, converted: Converted) {
    let (_, kind, _) = limit(converted.input);
    software.code(Channel::C0, kind, i64::from(converted.code));
}

/// A conversion, the limit that it was compared with, and what came of it.
fn print_step(
    sample: &impl Sample<1>,
    converted: Converted,
    software: &SoftwareComparator<1>,
    is_low: bool,
) {
    let (threshold, _, side) = limit(converted.input);
    let in_force = limit_in_force(sample, Channel::C0, threshold).map(|limit| limit.quantity());
    let input = match converted.input {
        Input::Sense => "sense",
        Input::Rail => "rail",
    };
    println!(
        "{:>7}.{} us  {input:<5}  {:>6}  {side} {:<8}  {:<8}  {}",
        converted.at_ns / 1_000,
        converted.at_ns / 100 % 10,
        converted.code,
        in_force.map_or("-".into(), |limit| limit.to_string()),
        if software.flags().is_empty() {
            "-"
        } else {
            "flag"
        },
        if is_low { "low" } else { "high" },
    );
}
