//! A part alone on a bench, configured and watched by the driver: its state without a scenario.

use core::time::Duration;

use crake::alert::{AlertQueue, Limits, Threshold};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, alert, board};

use super::PartName;
use super::view::State;
use super::{described, old};
use crate::bench::{Bench, Part};
use crate::board::SenseResistor;
use crate::cli::text;
use crate::inspect::CORNCRAKE;
use crate::old::moorhen;
use crate::part::{Order, PartModel, corncrake, pmbus};
use crate::plant::{Constant, Rail, Source};

const TITLE: &str =
    "Alone on the bench: 1 A at 5 V on each channel, the first watched for more than 3 A";
const SEED: u64 = 1;

/// What every rail carries; all parts can measure both in some range.
const CURRENT: Current = Current::from_amps(1);
const VOLTAGE: Voltage = Voltage::from_volts(5);
/// Where the resistor stands outside the part: 50 mV at the greatest current.
const RESISTANCE: Resistance = Resistance::from_milliohms(10);
const SENSE: Voltage = Voltage::from_millivolts(50);
const GREATEST: Current = Current::from_amps(5);
const LIMIT: Current = Current::from_amps(3);
const AWHILE: Duration = Duration::from_millis(100);

/// The part's state a tenth of a second later, a sample having been taken.
pub(super) fn state(part: PartName, name: Option<&str>) -> Result<State, String> {
    match part {
        PartName::Corncrake => corncrake_state(name),
        PartName::Moorhen => first_core::moorhen(moorhen::Moorhen::new(0x17), name),
        PartName::Gallinule => {
            let order = pmbus::Device::new(pmbus::Description::gallinule(), 0x58);
            first_core::gallinule(order.map_err(text)?, name)
        }
    }
}

static LIMITS: [alert::Limit; 1] =
    [alert::Limit::new(Channel::C0, Threshold::OverCurrent(LIMIT)).to(alert::Outputs::A)];

fn corncrake_state(name: Option<&str>) -> Result<State, String> {
    use crake::{Monitor, ShuntMonitor};

    let bench = Bench::new(SEED);
    let part = bench.part(corncrake::Corncrake::new(0x32)).map_err(text)?;
    for channel in 0..corncrake::CHANNELS {
        fit(
            &part,
            channel,
            SenseResistor::ideal(RESISTANCE.as_nanoohms()),
        )?;
    }
    let resistor = board::SenseResistor::new(RESISTANCE, Tolerance::from_percent(1));
    let board = Corncrake::board(&[board::Rail::new(resistor); corncrake::CHANNELS]);
    let map = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(bench.i2c(), bench.delay(), map, &board);
    let full_scales = [FullScale::new(SENSE, VOLTAGE); corncrake::CHANNELS];
    let config = Config::continuous(full_scales, ScanRate::per_second(100));
    monitor.init(&config).map_err(text)?;
    let limits = Limits::new(&LIMITS);
    let mut queue = AlertQueue::<4>::new();
    queue.set_limits(&mut monitor, &limits).map_err(text)?;
    bench.run_for(AWHILE);
    monitor.sample().map_err(text)?;
    let resistors: Vec<_> = Channel::first(CORNCRAKE.channels)
        .map(|channel| (channel, RESISTANCE))
        .collect();
    described::state(
        TITLE.to_owned(),
        &bench,
        (0x32, &CORNCRAKE),
        name,
        &resistors,
    )
}

/// Puts 1 A at 5 V behind a channel.
fn fit<M: PartModel>(
    part: &Part<M>,
    channel: usize,
    resistor: SenseResistor,
) -> Result<(), String> {
    let source = Source::of(Constant::new(VOLTAGE.as_nanovolts()).map_err(text)?);
    let load = Constant::new(CURRENT.as_nanoamps()).map_err(text)?;
    let rail = Rail::new(source, load).map_err(text)?;
    part.rail(channel, rail, resistor).map_err(text)
}

/// Parts whose maps stand on the first core.
mod first_core {
    use crake::old::alert::{Limit, Outputs, Station, Watch, Watches};
    use crake::old::board::{Board, Load, Rail, Shunt};
    use crake::old::part::description::Description;
    use crake::old::part::pmbus::gallinule;
    use crake::old::part::{self, Spec, moorhen};
    use crake::old::{Mode, Monitor, Ranges, Setup, ShuntMonitor};

    use super::*;

    static WATCHES: [Watch; 1] = [Watch::new(Channel::C0, Limit::OverCurrent(LIMIT))
        .held()
        .to(Outputs::A)];

    pub(super) fn moorhen(order: impl Order, name: Option<&str>) -> Result<State, String> {
        let map = moorhen::Moorhen::new();
        stood::<_, _, 2>(order, map, &moorhen::DESCRIPTION, outside, name)
    }

    pub(super) fn gallinule(order: impl Order, name: Option<&str>) -> Result<State, String> {
        let map = gallinule::Gallinule::new();
        stood::<_, _, 4>(order, map, &gallinule::DESCRIPTION, inside, name)
    }

    /// How a part meets its rails: the bench's resistor, the board's, and the ranges of a channel.
    type Fitting = fn(&Spec, Channel) -> Option<(SenseResistor, Shunt, Ranges)>;

    fn outside(spec: &Spec, _: Channel) -> Option<(SenseResistor, Shunt, Ranges)> {
        let ranges = Ranges {
            sense: spec.sense_range_for(SENSE)?,
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
        name: Option<&str>,
    ) -> Result<State, String> {
        let spec = description.spec;
        let bench = Bench::new(SEED);
        let address = order.address();
        let part = bench.part(order).map_err(text)?;
        let mut rails = [Rail::new(Shunt::inside(), Load::smooth(GREATEST)); N];
        let mut setup = Setup {
            channels: [None; N],
            mode: Mode::Paced(spec.pace(100).ok_or("a part without such a scan rate")?),
            averaging: 0,
        };
        let mut resistors = Vec::new();
        let channels = Channel::first(spec.channels).zip(&mut rails);
        for ((channel, rail), ranges) in channels.zip(&mut setup.channels) {
            let (resistor, shunt, those) =
                fitting(spec, channel).ok_or("a rail that the part cannot measure")?;
            fit(&part, channel.index(), resistor)?;
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
        bench.run_for(AWHILE);
        monitor.latch().map_err(text)?;
        let whom = (address, description);
        old::state(TITLE.to_owned(), &bench, whom, name, &resistors)
    }
}
