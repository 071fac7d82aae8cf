//! A part alone on a bench, set up and watched by the driver: its state without a scenario.

use core::time::Duration;

use crake::old::alert::{Limit, Outputs, Station, Watch, Watches};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::description::{Description, Register};
use crake::old::part::pmbus::gallinule;
use crake::old::part::{self, Spec, corncrake, moorhen};
use crake::old::units::{Current, Resistance, Tolerance, Voltage};
use crake::old::{Channel, Mode, Monitor, Ranges, Setup, ShuntMonitor};

use super::PartName;
use super::state::State;
use crate::bench::Bench;
use crate::board::SenseResistor;
use crate::cli::text;
use crate::old::corncrake as corncrake_model;
use crate::part::{Order, moorhen as moorhen_model, pmbus};
use crate::plant::{Constant, Rail as Plant, Source};

const TITLE: &str =
    "Alone on the bench: 1 A at 5 V on each channel, the first watched for more than 3 A";
const SEED: u64 = 1;

/// What every rail carries; all parts can measure both in some range.
const CURRENT: Current = Current::from_amps(1);
const VOLTAGE: Voltage = Voltage::from_volts(5);
/// Where the resistor stands outside the part: 50 mV at the greatest current.
const RESISTANCE: Resistance = Resistance::from_milliohms(10);
const GREATEST: Current = Current::from_amps(5);
static WATCHES: [Watch; 1] = [
    Watch::new(Channel::C0, Limit::OverCurrent(Current::from_amps(3)))
        .held()
        .to(Outputs::A),
];

/// The part's state a tenth of a second later, a frame having been taken.
pub(super) fn state(part: PartName, registers: Vec<&'static Register>) -> Result<State, String> {
    match part {
        PartName::Corncrake => {
            let order = corncrake_model::Corncrake::drawn(0x32);
            let map = corncrake::Corncrake::new();
            stood::<_, _, 4>(order, map, &corncrake::DESCRIPTION, outside, registers)
        }
        PartName::Moorhen => {
            let order = moorhen_model::Moorhen::new(0x17);
            let map = moorhen::Moorhen::new();
            stood::<_, _, 2>(order, map, &moorhen::DESCRIPTION, outside, registers)
        }
        PartName::Gallinule => {
            let order = pmbus::Device::new(pmbus::Description::gallinule(), 0x58);
            let map = gallinule::Gallinule::new();
            let description = &gallinule::DESCRIPTION;
            stood::<_, _, 4>(order.map_err(text)?, map, description, inside, registers)
        }
    }
}

/// How a part meets its rails: the bench's resistor, the board's, and the ranges of a channel.
type Fitting = fn(&Spec, Channel) -> Option<(SenseResistor, Shunt, Ranges)>;

fn outside(spec: &Spec, _: Channel) -> Option<(SenseResistor, Shunt, Ranges)> {
    let ranges = Ranges {
        sense: spec.sense_range_for(Voltage::from_millivolts(50))?,
        bus: spec.bus_range_for(VOLTAGE)?,
    };
    let resistor = SenseResistor::ideal(RESISTANCE.as_nanoohms());
    let shunt = Shunt::new(RESISTANCE, Tolerance::from_percent(1));
    Some((resistor, shunt, ranges))
}

/// Each page has ranges of its own.
fn inside(_: &Spec, channel: Channel) -> Option<(SenseResistor, Shunt, Ranges)> {
    let ranges = gallinule::ranges(channel.number());
    Some((SenseResistor::ideal(0), Shunt::inside(), ranges))
}

fn stood<O: Order, P: part::Part, const N: usize>(
    order: O,
    map: P,
    description: &'static Description,
    fitting: Fitting,
    registers: Vec<&'static Register>,
) -> Result<State, String> {
    let spec = description.spec;
    let bench = Bench::new(SEED);
    let address = order.address();
    let part = bench.part(order).map_err(text)?;
    let mut rails = [Rail::new(Shunt::inside(), Load::smooth(GREATEST)); N];
    let mut setup = Setup {
        channels: [None; N],
        mode: Mode::Paced(spec.pace(100).ok_or("a part without such a pace")?),
        averaging: 0,
    };
    let mut resistors = Vec::new();
    let channels = Channel::first(spec.channels).zip(&mut rails);
    for ((channel, rail), ranges) in channels.zip(&mut setup.channels) {
        let (resistor, shunt, those) =
            fitting(spec, channel).ok_or("a rail that the part cannot measure")?;
        let source = Source::of(Constant::new(VOLTAGE.as_nanovolts()).map_err(text)?);
        let load = Constant::new(CURRENT.as_nanoamps()).map_err(text)?;
        let plant = Plant::new(source, load).map_err(text)?;
        part.rail(channel.index(), plant, resistor).map_err(text)?;
        *rail = Rail::new(shunt, Load::smooth(GREATEST));
        *ranges = Some(those);
        resistors.push((channel, RESISTANCE));
    }
    let board = Board::new(spec, rails).map_err(text)?;
    let mut monitor: Monitor<'_, _, _, _, P, N> = Monitor::new(
        bench.i2c(),
        bench.delay(),
        bench.clock(),
        map,
        address,
        &board,
    );
    let mut station: Station<'_, N, 4> = Station::new(setup, Watches::limits(&WATCHES));
    monitor.init(&setup).map_err(text)?;
    station.arm(&mut monitor).map_err(text)?;
    bench.run_for(Duration::from_millis(100));
    monitor.latch().map_err(text)?;
    State::read(
        TITLE.to_owned(),
        &bench,
        (address, description),
        registers,
        &resistors,
    )
}
