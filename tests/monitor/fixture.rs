//! A bench with one Corncrake, four steady rails, and the driver for it.

use std::time::Duration;

use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Clock, Monitor, WithClock};
use crake_sim::bench::{Bench, Delay, Part};
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Source};

pub const ADDRESS: u8 = 0x32;
pub const CHANNELS: usize = 4;

/// 10 mΩ.
pub const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::ZERO,
));
pub static BOARD: Board<CHANNELS> = Corncrake::board(&[RAIL; CHANNELS]);

/// The finest ranges that reach it: 500 nV and 100 µV (datasheet, section 3.4).
pub const FINE_RAIL: FullScale = FullScale::new(
    Voltage::from_millivolts(65),
    Voltage::from_millivolts(6_500),
);
/// 200 nV and 250 µV.
pub const FINE_SENSE: FullScale = FullScale::new(
    Voltage::from_millivolts(26),
    Voltage::from_millivolts(16_000),
);

/// All channels as fast as can be.
pub fn fast() -> Config<CHANNELS> {
    Config::continuous([FINE_RAIL; CHANNELS], ScanRate::per_second(2_000))
}

/// A part, and rails of 1 A and 3 V, each 0.1 of either more than the one before.
pub struct Fixture {
    pub bench: Bench,
    pub part: Part<model::Model>,
}

pub type Blocking<B> = Monitor<'static, B, Delay, Corncrake, CHANNELS, WithClock<HostClock>>;

impl Fixture {
    /// A part without errors.
    pub fn new() -> Self {
        let bench = Bench::new(1);
        let part = bench
            .part(model::Corncrake::ideal(ADDRESS))
            .expect("an address");
        let fixture = Self { bench, part };
        for channel in 0..CHANNELS {
            let more = 100_000_000 * channel as i64;
            fixture.rail(channel, 1_000_000_000 + more, 3_000_000_000 + more);
        }
        fixture
    }

    /// Puts a steady rail behind a channel, in nanoamperes and nanovolts.
    pub fn rail(&self, channel: usize, current_na: i64, voltage_nv: i64) {
        let source = Source::of(Constant::new(voltage_nv).expect("a voltage"));
        let load = Constant::new(current_na).expect("a current");
        let rail = plant::Rail::new(source, load).expect("a rail");
        let resistor = crake_sim::board::SenseResistor::ideal(10_000_000);
        self.part.rail(channel, rail, resistor).expect("a channel");
    }

    /// The driver on a controller.
    pub fn monitor_on<B: embedded_hal::i2c::I2c>(&self, i2c: B) -> Blocking<B> {
        self.monitor_of(Corncrake::new(Address::Strap0), i2c)
    }

    /// The same for a part that is set up in another way.
    pub fn monitor_of<B: embedded_hal::i2c::I2c>(&self, part: Corncrake, i2c: B) -> Blocking<B> {
        Monitor::new(i2c, self.bench.delay(), part, &BOARD)
            .with_clock(HostClock(self.bench.clock()))
    }

    pub fn pass_us(&self, us: u64) {
        self.bench.run_for(Duration::from_micros(us));
    }
}

/// The bench's time in whole microseconds.
#[derive(Clone)]
pub struct HostClock(pub crake_sim::bus::Clock);

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        self.0.now_ns() / 1_000
    }
}
