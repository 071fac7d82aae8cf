//! One firmware, any part: two rails of the skiff behind parts that differ in everything.
//!
//! ```sh
//! cargo run --example any_part
//! ```
//!
//! The firmware below knows [`ShuntMonitor`] alone. Corncrake scans, sums up and compares by
//! itself. Moorhen converts when it is told to, keeps no sums and compares two kinds of limits: the
//! driver makes up the rest with each sample that the firmware takes, so totals and reaction are as
//! coarse as that. Gallinule speaks PMBus, measures amperes itself, and has a page a rail.
//! [`PartInfo`] says who does what, and what nobody can find out.

use core::error::Error;
use core::fmt::Debug;
use core::time::Duration;

use crake::alert::{AlertQueue, Kind, Limit, Limits, Outputs, Threshold};
use crake::board::{Board, Load, LoadSteps, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::info::{PartInfo, Source};
use crake::part::{corncrake, moorhen, pmbus};
use crake::totals::{Margins, Totals};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, Sample, ShuntMonitor, TimedSample};
use crake_sim::bench::{Bench, Part};
use crake_sim::part as model;
use crake_sim::plant::{self, Constant, Recorded};

const DRIVE: Channel = Channel::C0;
const CELL: Channel = Channel::C1;

/// Up to 3 A, which jump ten times a second at the most.
const LOAD: Load = Load::smooth(Current::from_amps(3)).with_steps(LoadSteps {
    per_hour: 36_000,
    step: Current::from_amps(3),
});
/// 10 mΩ, so 60 mV are 6 A; a device that measures amperes itself has 1 V for 1 A.
const RESISTOR: SenseResistor =
    SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(1));
static RAILS: [Rail; 2] = [Rail::new(RESISTOR).with_load(LOAD); 2];
static PAGES: [Rail; 2] = [pmbus::RAIL.with_load(LOAD); 2];
const SIX_AMPS: FullScale = FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(5));
const SIX_AMPS_TOLD: FullScale = FullScale::new(Voltage::from_volts(6), Voltage::from_volts(5));

static LIMITS: Limits<'_> = Limits::new(&[
    Limit::new(DRIVE, Threshold::OverCurrent(Current::from_amps(2))).to(Outputs::A),
    Limit::new(
        CELL,
        Threshold::UnderVoltage(Voltage::from_millivolts(3_400)),
    )
    .to(Outputs::A),
]);
/// How often the firmware looks at what no output tells of, and takes a sample.
const INTERVAL: Duration = Duration::from_millis(20);

/// The firmware: all that it needs of a part is the trait. It gives its totals.
fn firmware<'m, M>(
    monitor: &mut M,
    full_scale: FullScale,
    margins: &'m Margins<'m, 2>,
    bench: &Bench,
) -> Result<Totals<'m, 2, crake::totals::Bounds<'m, 2>>, crake::Error<M::BusError>>
where
    M: ShuntMonitor<2>,
    M::BusError: Debug,
    M::Sample: TimedSample<2>,
{
    // A part that does not scan by itself converts with each sample.
    let config = match monitor.info().scan_periods_us {
        [] => Config::single_shot([full_scale; 2]),
        _ => Config::continuous([full_scale; 2], ScanRate::per_second(100)),
    };
    let mut queue: AlertQueue<'_, 8> = AlertQueue::new().with_interval(INTERVAL);
    let mut totals = Totals::with_bounds(margins);
    monitor.init(&config)?;
    queue.set_limits(monitor, &LIMITS)?;
    while bench.now_ns() < 1_000_000_000 {
        totals.update(queue.service(monitor)?);
        while let Some(event) = queue.next_event() {
            let value = event.value().map_or("?".into(), |value| value.to_string());
            let ms = bench.now_ns() / 1_000_000;
            println!("  {ms:>4} ms  {}, {value}", event.flag());
        }
        bench.run_for(INTERVAL);
    }
    let sample = monitor.sample()?;
    totals.update(sample);
    for (name, channel) in [("DRIVE", DRIVE), ("CELL", CELL)] {
        match sample.reading(channel) {
            Ok(reading) => println!("  {name:<5}  {}, {}", reading.voltage, reading.current),
            Err(why) => println!("  {name:<5}  no reading: {why}"),
        }
    }
    Ok(totals)
}

fn main() -> Result<(), Box<dyn Error>> {
    let bench = Bench::new(1);
    let part = bench.part(model::corncrake::Corncrake::new(0x32))?;
    let map = corncrake::Corncrake::new(corncrake::Address::Strap0);
    sail(&bench, &part, map, &RAILS, SIX_AMPS)?;

    let bench = Bench::new(1);
    let part = bench.part(model::moorhen::Moorhen::new(0x17))?;
    let map = moorhen::Moorhen::new(moorhen::Address::Strap0);
    sail(&bench, &part, map, &RAILS, SIX_AMPS)?;

    let bench = Bench::new(1);
    let part = bench.part(model::pmbus::Device::new(
        model::pmbus::Description::gallinule(),
        0x58,
    )?)?;
    let map = pmbus::gallinule::Gallinule::new(0x58);
    sail(&bench, &part, map, &PAGES, SIX_AMPS_TOLD)
}

/// Puts the rails behind a part, tells what the driver makes up, and runs the firmware.
fn sail<P, T>(
    bench: &Bench,
    part: &Part<T>,
    map: P,
    rails: &[Rail; 2],
    full_scale: FullScale,
) -> Result<(), Box<dyn Error>>
where
    P: crake::part::Part,
    T: model::PartModel,
{
    for (channel, rail) in [(0, drive()?), (1, cell()?)] {
        let resistor = rails[channel].resistor().resistance().as_nanoohms();
        part.rail(
            channel,
            rail,
            crake_sim::board::SenseResistor::ideal(resistor),
        )?;
    }
    tell(P::INFO);
    let board = Board::new(P::INFO, rails);
    let margins = Margins::new(P::INFO, &board, rails);
    let mut monitor =
        Monitor::new(bench.i2c(), bench.delay(), map, &board).with_clock(bench.clock());
    let totals = firmware(&mut monitor, full_scale, &margins, bench)?;
    for (name, channel) in [("DRIVE", DRIVE), ("CELL", CELL)] {
        let total = totals.energy(channel).ok_or("no such rail")?;
        let truth = part.truth(channel.index())?.energy();
        println!(
            "  {name:<5}  {} ± {}, truly {truth}",
            total.value, total.bound
        );
    }
    println!();
    Ok(())
}

fn tell(info: &PartInfo) {
    let who = |source| match source {
        Source::Part => "part",
        Source::Driver => "driver",
    };
    println!("{}", info.name);
    println!(
        "  power by the {}, sum of charge by the {}, sum of energy by the {}",
        who(info.power),
        who(info.charge_sum),
        who(info.energy_sum)
    );
    for limit in LIMITS.list() {
        let (channel, kind): (_, Kind) = (limit.channel(), limit.kind());
        let by = info.compared_by(channel.number(), kind, limit.debounce_count(), true);
        println!("  {} compared by the {}", limit.flag(), who(by));
    }
    println!("  nobody can find out: {}", info.undetectable);
}

/// 1 A at 4 V; 2.5 A from 300 to 600 ms.
fn drive() -> Result<plant::Rail, Box<dyn Error>> {
    let amps = [(300_000_000, 2_500_000_000), (600_000_000, 1_000_000_000)];
    let load = Recorded::steps(1_000_000_000, &amps)?;
    let source = plant::Source::of(Constant::new(4_000_000_000)?);
    Ok(plant::Rail::new(source, load)?)
}

/// 200 mA; 3.7 V, and 3.2 V from 700 to 800 ms.
fn cell() -> Result<plant::Rail, Box<dyn Error>> {
    let volts = [(700_000_000, 3_200_000_000), (800_000_000, 3_700_000_000)];
    let source = plant::Source::of(Recorded::steps(3_700_000_000, &volts)?);
    Ok(plant::Rail::new(source, Constant::new(200_000_000)?)?)
}
