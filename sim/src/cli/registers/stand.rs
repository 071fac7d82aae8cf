//! A part alone on a bench, configured and watched by the driver: its state without a scenario.

use core::time::Duration;

use crake::alert::{AlertQueue, Limits, Threshold};
use crake::board::Board;
use crake::config::{Config, FullScale, Mode, ScanRate};
use crake::part::{
    Part, corncrake, corncrake::Corncrake, moorhen, moorhen::Moorhen, pmbus::RAIL,
    pmbus::gallinule::Gallinule,
};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, ShuntMonitor, alert, board};

use super::described;
use super::view::State;
use crate::bench::{self, Bench};
use crate::board::SenseResistor;
use crate::cli::part::PartName;
use crate::cli::text;
use crate::inspect::{CORNCRAKE, Description, GALLINULE, MOORHEN};
use crate::part::{self as model, Order, PartModel, pmbus};
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
const LIMIT: Current = Current::from_amps(3);
const AWHILE: Duration = Duration::from_millis(100);

/// The part's state a tenth of a second later, a sample having been taken.
pub(super) fn state(part: PartName, name: Option<&str>) -> Result<State, String> {
    match part {
        PartName::Corncrake => {
            let map = Corncrake::new(corncrake::Address::Strap0);
            let mode = Mode::Continuous(ScanRate::per_second(100));
            let order = model::corncrake::Corncrake::new(0x32);
            outside::<_, _, 4>(order, map, mode, &CORNCRAKE, name)
        }
        PartName::Moorhen => {
            let map = Moorhen::new(moorhen::Address::Strap0);
            let order = model::moorhen::Moorhen::new(0x17);
            outside::<_, _, 2>(order, map, Mode::SingleShot, &MOORHEN, name)
        }
        PartName::Gallinule => {
            let order = pmbus::Device::new(pmbus::Description::gallinule(), 0x58);
            let board = Gallinule::board(&[RAIL; 4]);
            let greatest = FullScale::new(Voltage::from_volts(5), VOLTAGE);
            let config = Config::continuous([greatest; 4], ScanRate::per_second(100));
            let (order, map) = (order.map_err(text)?, Gallinule::new(0x58));
            // It measures amperes itself: the bench has no resistor for it.
            let sense = SenseResistor::ideal(0);
            alone(order, map, (&board, &config), sense, &GALLINULE, name)
        }
    }
}

static LIMITS: [alert::Limit; 1] =
    [alert::Limit::new(Channel::C0, Threshold::OverCurrent(LIMIT)).to(alert::Outputs::A)];

/// Of a part with sense resistors beside it, in this mode.
fn outside<O: Order, P: Part, const N: usize>(
    order: O,
    map: P,
    mode: Mode,
    description: &'static Description,
    name: Option<&str>,
) -> Result<State, String> {
    let resistor = board::SenseResistor::new(RESISTANCE, Tolerance::from_percent(1));
    let board = Board::new(P::INFO, &[board::Rail::new(resistor); N]);
    let config = Config::single_shot([FullScale::new(SENSE, VOLTAGE); N]).with_mode(mode);
    let sense = SenseResistor::ideal(RESISTANCE.as_nanoohms());
    alone(order, map, (&board, &config), sense, description, name)
}

fn alone<O: Order, P: Part, const N: usize>(
    order: O,
    map: P,
    (board, config): (&Board<N>, &Config<N>),
    sense: SenseResistor,
    description: &'static Description,
    name: Option<&str>,
) -> Result<State, String> {
    let bench = Bench::new(SEED);
    let address = order.address();
    let part = bench.part(order).map_err(text)?;
    let mut resistors = Vec::new();
    for channel in Channel::first(description.channels) {
        fit(&part, channel.index(), sense)?;
        resistors.push((channel, RESISTANCE));
    }
    let mut monitor = Monitor::new(bench.i2c(), bench.delay(), map, board);
    monitor.init(config).map_err(text)?;
    let limits = Limits::new(&LIMITS);
    let mut queue = AlertQueue::<4>::new();
    queue.set_limits(&mut monitor, &limits).map_err(text)?;
    bench.run_for(AWHILE);
    monitor.sample().map_err(text)?;
    let whom = (address, description);
    described::state(TITLE.to_owned(), &bench, whom, name, &resistors)
}

/// Puts 1 A at 5 V behind a channel.
fn fit<M: PartModel>(
    part: &bench::Part<M>,
    channel: usize,
    resistor: SenseResistor,
) -> Result<(), String> {
    let source = Source::of(Constant::new(VOLTAGE.as_nanovolts()).map_err(text)?);
    let load = Constant::new(CURRENT.as_nanoamps()).map_err(text)?;
    let rail = Rail::new(source, load).map_err(text)?;
    part.rail(channel, rail, resistor).map_err(text)
}
