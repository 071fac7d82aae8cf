//! Several monitors of different kinds on one bus, all their alert outputs on one line.
//!
//! ```sh
//! cargo run --example shared_line
//! ```
//!
//! The bus is shared by `embedded-hal-bus`, each monitor has a device of it. The firmware knows them as `dyn ShuntMonitor<2>` and nothing else. A line that several parts
//! pull does not tell who calls, so all are served, in turn, until it is high: on its *level*, for a second part may pull it while the first is being served.

use core::cell::RefCell;
use core::error::Error;
use core::time::Duration;

use crake::old::alert::{Limit, Outputs, Station, Watch, Watches};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::pmbus::{Declaration, Device, PageSpec, Pmbus, gallinule};
use crake::old::part::{BusRange, SenseRange, Spec, corncrake, moorhen};
use crake::old::units::{Current, Resistance, Tolerance, Voltage};
use crake::old::{Channel, Mode, Monitor, Ranges, Setup, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::bus::BusError;
use crake_sim::old::corncrake as corncrake_model;
use crake_sim::part::{moorhen as moorhen_model, pmbus as pmbus_model};
use crake_sim::plant::{self, Constant, Recorded, Source};
use embedded_hal::digital::InputPin;
use embedded_hal_bus::i2c::RefCellDevice;

/// The two rails of each monitor: 10 mΩ, up to 5 A.
const RAIL: Rail = Rail::new(
    Shunt::new(Resistance::from_milliohms(10), Tolerance::from_percent(1)),
    Load::smooth(Current::from_amps(5)),
);

/// The rails of a part that measures amperes itself.
const METERED: Rail = Rail::new(Shunt::inside(), Load::smooth(Current::from_amps(5)));

/// The PMBus device, declared with the two pages that are used here.
#[derive(Debug)]
struct TwoPages;

impl Device for TwoPages {
    const DECLARATION: &'static Declaration = &Declaration {
        spec: TWO_PAGES,
        pages: &PAGES,
        ..*gallinule::Map::DECLARATION
    };
}

const TWO_PAGES: Spec = Spec {
    channels: 2,
    ..gallinule::SPEC
};
const PAGES: [PageSpec; 2] = match gallinule::Map::DECLARATION.pages.first_chunk() {
    Some(pages) => *pages,
    None => panic!("the device has four pages"),
};

/// What is watched on each: too much current on the first rail, told again only after it was below 2.5 A. The line is low for as long as it lasts.
static WATCHES: [Watch; 1] = [
    Watch::new(Channel::C0, Limit::OverCurrent(Current::from_amps(3)))
        .held()
        .hysteresis(500_000_000)
        .to(Outputs::A),
];

/// One monitor with its station, whatever the part.
struct Post<'a> {
    name: &'static str,
    monitor: &'a mut dyn ShuntMonitor<2, BusError = BusError>,
    station: Station<'static, 2, 4>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let bench = Bench::new(1);
    let first = bench.part(corncrake_model::Corncrake::drawn(0x32))?;
    let second = bench.part(moorhen_model::Moorhen::new(0x17))?;
    let resistor = || SenseResistor::ideal(10_000_000);
    first.rail(0, steps(&[(30, 4), (60, 1)])?, resistor())?;
    first.rail(1, steps(&[])?, resistor())?;
    second.rail(0, steps(&[(45, 4), (100, 2)])?, resistor())?;
    second.rail(1, steps(&[])?, resistor())?;
    let description = pmbus_model::Description::gallinule();
    let third = bench.part(pmbus_model::Device::new(description, 0x58)?)?;
    third.rail(0, steps(&[(70, 4), (120, 1)])?, SenseResistor::ideal(0))?;
    third.rail(1, steps(&[])?, SenseResistor::ideal(0))?;
    let mut line = bench.line();
    line.wire(&first, corncrake_model::Output::A);
    line.wire(&second, moorhen_model::Output::Alert);
    line.wire(&third, pmbus_model::SmbAlert);

    let bus = RefCell::new(bench.i2c());
    let device = || RefCellDevice::new(&bus);
    let (board_1, board_2, board_3) = (
        Board::new(&corncrake::SPEC, [RAIL; 2])?,
        Board::new(&moorhen::SPEC, [RAIL; 2])?,
        Board::new(&TWO_PAGES, [METERED; 2])?,
    );
    let (delay, clock) = (bench.delay(), bench.clock());
    let part = corncrake::Corncrake::new();
    let mut monitor_1 = Monitor::new(device(), delay, clock, part, 0x32, &board_1);
    let (delay, clock) = (bench.delay(), bench.clock());
    let part = moorhen::Moorhen::new();
    let mut monitor_2 = Monitor::new(device(), delay, clock, part, 0x17, &board_2);
    let (delay, clock) = (bench.delay(), bench.clock());
    let part: Pmbus<TwoPages, 2> = Pmbus::new();
    let mut monitor_3 = Monitor::new(device(), delay, clock, part, 0x58, &board_3);

    let mut posts = [
        Post::new("Corncrake", &mut monitor_1, shared)?,
        Post::new("Moorhen", &mut monitor_2, shared)?,
        Post::new("Gallinule", &mut monitor_3, paged)?,
    ];
    let mut was_low = false;
    while bench.now_ns() < 150_000_000 {
        // Parts that convert only when they are asked have to be asked: every 5 ms.
        for post in &mut posts {
            post.station.report(&post.monitor.latch()?);
        }
        let is_low = line.is_low()?;
        if is_low != was_low {
            let level = if is_low { "low" } else { "high" };
            println!("{:>4} ms  the line is {level}", bench.now_ns() / 1_000_000);
        }
        was_low = is_low;
        if is_low {
            serve(&bench, &mut posts)?;
        }
        bench.run_for(Duration::from_millis(5));
    }
    Ok(())
}

/// Serves everybody: who else pulls the line cannot be told from its level.
fn serve(bench: &Bench, posts: &mut [Post<'_>]) -> Result<(), Box<dyn Error>> {
    for post in posts {
        post.station.service(post.monitor)?;
        while let Some(event) = post.station.next_event() {
            let reading = event.reading.and_then(Result::ok);
            let amperes = reading.map_or("no reading".into(), |it| it.current.to_string());
            println!(
                "{:>4} ms  {}: {} ({amperes})",
                bench.now_ns() / 1_000_000,
                post.name,
                event.cause
            );
        }
    }
    Ok(())
}

impl<'a> Post<'a> {
    /// Sets a part up and puts the watches in force, in the finest ranges that hold the rails.
    fn new(
        name: &'static str,
        monitor: &'a mut dyn ShuntMonitor<2, BusError = BusError>,
        ranges: fn(&Spec) -> Option<[Ranges; 2]>,
    ) -> Result<Self, Box<dyn Error>> {
        let spec = monitor.spec();
        let ranges = ranges(spec).ok_or("a rail that the part cannot measure")?;
        let setup = Setup {
            channels: ranges.map(Some),
            mode: Mode::Paced(spec.pace(100).ok_or("a part without such a pace")?),
            averaging: 0,
        };
        let mut station = Station::new(setup, Watches::limits(&WATCHES));
        monitor.init(&setup)?;
        station.arm(monitor)?;
        Ok(Self {
            name,
            monitor,
            station,
        })
    }
}

/// The finest ranges that hold 5 A through 10 mΩ, and the rails' voltage.
fn shared(spec: &Spec) -> Option<[Ranges; 2]> {
    let ranges = Ranges {
        sense: spec.sense_range_for(Voltage::from_millivolts(50))?,
        bus: spec.bus_range_for(Voltage::from_volts(5))?,
    };
    Some([ranges; 2])
}

/// Each page has ranges of its own.
fn paged(_: &Spec) -> Option<[Ranges; 2]> {
    Some([0, 1].map(|page| Ranges {
        sense: SenseRange(page),
        bus: BusRange(page),
    }))
}

/// 5 V, and amperes: 1 at first, then as the steps say, from so many milliseconds on.
fn steps(steps: &[(u64, i64)]) -> Result<plant::Rail, Box<dyn Error>> {
    let steps: Vec<_> = steps
        .iter()
        .map(|(ms, amps)| (ms * 1_000_000, amps * 1_000_000_000))
        .collect();
    let source = Source::of(Constant::new(5_000_000_000)?);
    let load = Recorded::steps(1_000_000_000, &steps)?;
    Ok(plant::Rail::new(source, load)?)
}
