use core::time::Duration;

use crake::board::{self, Board};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Channel, Error, Monitor, NoClock, Sample, ShuntMonitor};
use crake_sim::bench::{Bench, Delay, I2c, Injected, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::BusError;
use crake_sim::fault::Fault;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{Constant, Rail, Source};
use embedded_hal::i2c::ErrorKind;

const RAIL: board::Rail = board::Rail::new(board::SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::ZERO,
));
static BOARD: Board<1> = Corncrake::board(&[RAIL]);

/// An ideal part whose channel 0 sees 2 A through 10 mΩ and 5 V, set up by the driver.
pub struct Fixture {
    pub bench: Bench,
    pub part: Part,
    pub monitor: Monitor<'static, I2c, Delay, Corncrake, 1, NoClock>,
}

impl Fixture {
    pub fn new() -> Self {
        let bench = Bench::new(1);
        let part = bench.part(model::Corncrake::ideal(0x32)).expect("a part");
        let source = Source::of(Constant::new(5_000_000_000).expect("volts"));
        let load = Constant::new(2_000_000_000).expect("amperes");
        let rail = Rail::new(source, load).expect("a rail");
        part.rail(0, rail, SenseResistor::ideal(10_000_000))
            .expect("a channel");
        let corncrake = Corncrake::new(Address::Strap0);
        let mut monitor = Monitor::new(bench.i2c(), bench.delay(), corncrake, &BOARD);
        let scale = FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(6));
        let config = Config::continuous([scale], ScanRate::per_second(2_000));
        monitor.init(&config).expect("a part that answers");
        let fixture = Self {
            bench,
            part,
            monitor,
        };
        fixture.pass_ms(10);
        fixture
    }

    pub fn pass_ms(&self, ms: u64) {
        self.bench.run_for(Duration::from_millis(ms));
    }

    /// From the bench's present moment on, and so many milliseconds later.
    pub fn in_ms(&self, ms: u64) -> Duration {
        Duration::from_nanos(self.bench.now_ns()) + Duration::from_millis(ms)
    }

    pub fn fault(&self, fault: Fault) -> Injected {
        self.bench.fault(fault).expect("a fault that can be")
    }

    /// The current of a sample, in milliamperes.
    pub fn sample_ma(&mut self) -> Result<i64, Error<BusError>> {
        let reading = self.monitor.sample()?.reading(Channel::C0);
        let current = reading.expect("a reading").current;
        Ok((current.as_nanoamps() + 500_000).div_euclid(1_000_000))
    }

    /// The driver's fault of a sample that fails, and the bus's.
    pub fn failure(&mut self) -> (crake::bus::Fault, Option<ErrorKind>) {
        let error = self.sample_ma().expect_err("a sample that fails");
        (error.fault(), error.bus_kind())
    }
}
