//! An ideal Corncrake on a bench, whose rails write down over which apertures they were looked at.

use std::cell::RefCell;
use std::rc::Rc;

use crake::Monitor;
use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake_sim::bench::{Bench, Delay, I2c, Part};
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Means, Plant, Pulses, Source, Truth};
use num_bigint::BigInt;
use num_rational::BigRational;

/// Datasheet, section 1: a fast capture keeps so many codes, a conversion takes 62.5 µs.
pub const KEPT: usize = 1_024;
pub const CONVERSION_NS: u64 = 62_500;

pub const COARSE: Voltage = Voltage::from_millivolts(60);
pub const FINE: Voltage = Voltage::from_millivolts(20);
const RAIL: Voltage = Voltage::from_volts(5);

pub type On<'b, B> = Monitor<'b, B, Delay, Corncrake, 4>;
pub type Windows = Rc<RefCell<Vec<(u64, u64)>>>;

pub struct Fixture {
    pub bench: Bench,
    pub part: Part<model::Model>,
    pub nanoohms: u64,
}

impl Fixture {
    /// Sense resistors of so many nanoohms.
    pub fn new(nanoohms: u64) -> Self {
        let bench = Bench::new(1);
        let part = bench
            .part(model::Corncrake::ideal(0x32))
            .expect("a free address");
        Self {
            bench,
            part,
            nanoohms,
        }
    }

    pub fn fit(&self, channel: u8, plant: impl Plant + 'static) -> Windows {
        let windows = Windows::default();
        let noted = Noted {
            plant,
            windows: windows.clone(),
        };
        let resistor = crake_sim::board::SenseResistor::ideal(self.nanoohms);
        self.part
            .rail(channel.into(), noted, resistor)
            .expect("a channel");
        windows
    }

    pub fn board(&self) -> &'static Board<4> {
        let resistance = Resistance::from_nanoohms(self.nanoohms);
        let rail = Rail::new(SenseResistor::new(resistance, Tolerance::ZERO));
        Box::leak(Box::new(Corncrake::board(&[rail; 4])))
    }

    pub fn monitor(&self) -> On<'static, I2c> {
        self.monitor_on(self.bench.i2c())
    }

    pub fn monitor_on<B: embedded_hal::i2c::I2c>(&self, bus: B) -> On<'static, B> {
        let part = Corncrake::new(Address::Strap0);
        Monitor::new(bus, self.bench.delay(), part, self.board())
    }
}

/// All channels, the sense range that reaches so much, so many scans a second.
pub fn config(sense: Voltage, scans: u32) -> Config<4> {
    Config::continuous(
        [FullScale::new(sense, RAIL); 4],
        ScanRate::per_second(scans),
    )
}

/// A plant whose apertures are written down.
struct Noted<P> {
    plant: P,
    windows: Windows,
}

impl<P: Plant> Plant for Noted<P> {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        self.windows.borrow_mut().push((from_ns, to_ns));
        self.plant.window(from_ns, to_ns)
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        self.plant.truth(at_ns)
    }
}

/// 1 A for every eight seconds, from −4 mA at time 0: an eighth of a nanoampere per nanosecond,
/// exact in binary.
pub struct Ramp;

impl Plant for Ramp {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        Means {
            current_na: (from_ns + to_ns) as f64 / 16.0 - 4e6,
            voltage_nv: 3e9,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

/// Mean of the ramp over an aperture, nA.
pub fn ramp_na((from_ns, to_ns): (u64, u64)) -> BigRational {
    ratio(i128::from(from_ns + to_ns), 16) - ratio(4_000_000, 1)
}

const PERIOD_NS: u64 = 1_000_003;
const WIDTH_NS: u64 = 300_001;

/// 1 mA, and 20 mA for 300.001 µs of every 1.000003 ms, from time 0 on.
pub fn pulses() -> plant::Rail {
    let source = Source::of(Constant::new(3_000_000_000).expect("3 V"));
    let load = Pulses::new(1_000_000, 20_000_000, PERIOD_NS, WIDTH_NS).expect("pulses");
    plant::Rail::new(source, load).expect("a rail")
}

/// Mean of the pulses over an aperture, nA.
pub fn pulses_na((from_ns, to_ns): (u64, u64)) -> BigRational {
    let high: u64 = (from_ns / PERIOD_NS..=to_ns / PERIOD_NS)
        .map(|number| {
            let begin = number * PERIOD_NS;
            let end = (begin + WIDTH_NS).min(to_ns);
            end.saturating_sub(begin.max(from_ns))
        })
        .sum();
    let length = i128::from(to_ns - from_ns);
    ratio(1_000_000 * length + 19_000_000 * i128::from(high), length)
}

pub fn ratio(numerator: i128, denominator: i128) -> BigRational {
    BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
}
