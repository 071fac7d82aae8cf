//! A bench with one Moorhen, two rails set by hand, a bus that can be spoiled, and the driver.

use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::time::Duration;

use crake::board::{Board, Load, LoadSteps, Rail, SenseResistor};
use crake::config::{Config, FullScale};
use crake::part::moorhen::{Address, Moorhen};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Clock, Monitor, WithClock};
use crake_sim::bench::{Bench, Delay, I2c, Part};
use crake_sim::part::moorhen as model;
use crake_sim::plant::{Means, Plant, Truth};
use embedded_hal::i2c::{ErrorType, I2c as Bus, Operation};

pub const ADDRESS: u8 = 0x17;
pub const NANOOHMS: u64 = 10_000_000;

/// 10 mΩ, 2 A at the most, which jump ten times a second.
const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_nanoohms(NANOOHMS),
    Tolerance::ZERO,
))
.with_load(
    Load::smooth(Current::from_amps(2))
        .both_ways()
        .with_steps(LoadSteps {
            per_hour: 36_000,
            step: Current::from_amps(2),
        }),
)
.with_voltage(Voltage::ZERO, Voltage::from_volts(6));
pub static RAILS: [Rail; 2] = [RAIL; 2];
pub static BOARD: Board<2> = Moorhen::board(&RAILS);

/// Wide sense ranges and narrow rail ranges (section 3.2): 36 µV and 1.75 mV.
pub static CONFIG: Config<2> =
    Config::single_shot([FullScale::new(Voltage::from_millivolts(70), Voltage::from_volts(7)); 2]);

pub type Driver = Monitor<'static, Spoilt, Delay, Moorhen, 2, WithClock<HostClock>>;

/// Current in nanoamperes and voltage in nanovolts, held until set again; keeps the truth.
#[derive(Clone, Default)]
pub struct Hand(Rc<RefCell<Held>>);

#[derive(Default)]
struct Held {
    current_na: i64,
    voltage_nv: i64,
    since_ns: u64,
    /// nA × ns and nA × ns × nV.
    charge: i128,
    energy: i128,
}

impl Hand {
    pub fn set(&self, now_ns: u64, current_na: i64, voltage_nv: i64) {
        self.flow(now_ns);
        let mut held = self.0.borrow_mut();
        (held.current_na, held.voltage_nv) = (current_na, voltage_nv);
    }

    /// What has flowed, in nA × ns, and with the voltage in nV.
    pub fn flow(&self, now_ns: u64) -> (i128, i128) {
        let mut held = self.0.borrow_mut();
        let ns = i128::from(now_ns - held.since_ns);
        held.since_ns = now_ns;
        let charge = i128::from(held.current_na) * ns;
        held.charge += charge;
        held.energy += charge * i128::from(held.voltage_nv);
        (held.charge, held.energy)
    }
}

impl Plant for Hand {
    fn window(&mut self, _: u64, _: u64) -> Means {
        let held = self.0.borrow();
        Means {
            current_na: held.current_na as f64,
            voltage_nv: held.voltage_nv as f64,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
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

/// What happens to a transfer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spoil {
    /// It is told as done, and never sent; what is read are ones.
    Lost,
    /// Right before it the part is reset, and answers again.
    Reset,
}

/// A controller that counts transfers, and spoils those that it is told to.
#[derive(Clone)]
pub struct Spoilt {
    bus: I2c,
    plan: Rc<RefCell<Vec<(usize, Spoil)>>>,
    count: Rc<Cell<usize>>,
    reset: Rc<dyn Fn()>,
}

impl Spoilt {
    /// Counts from zero; these are spoilt.
    pub fn plan(&self, plan: &[(usize, Spoil)]) {
        *self.plan.borrow_mut() = plan.to_vec();
        self.count.set(0);
    }

    pub fn count(&self) -> usize {
        self.count.get()
    }
}

impl ErrorType for Spoilt {
    type Error = <I2c as ErrorType>::Error;
}

impl Bus for Spoilt {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), Self::Error> {
        let number = self.count.replace(self.count.get() + 1);
        let spoils: Vec<Spoil> = self
            .plan
            .borrow()
            .iter()
            .filter(|(planned, _)| *planned == number)
            .map(|(_, spoil)| *spoil)
            .collect();
        for spoil in spoils {
            match spoil {
                Spoil::Reset => (self.reset)(),
                Spoil::Lost => {
                    for operation in operations {
                        if let Operation::Read(bytes) = operation {
                            bytes.fill(0xFF);
                        }
                    }
                    return Ok(());
                }
            }
        }
        self.bus.transaction(address, operations)
    }
}

pub struct Fixture {
    pub bench: Bench,
    pub part: Part<model::Model>,
    pub bus: Spoilt,
    pub rails: [Hand; 2],
}

impl Fixture {
    /// A part without errors.
    pub fn new() -> Self {
        Self::of(1, model::Moorhen::ideal(ADDRESS))
    }

    /// A part drawn from a seed.
    pub fn individual(seed: u64) -> Self {
        Self::of(seed, model::Moorhen::new(ADDRESS))
    }

    fn of(seed: u64, order: model::Moorhen) -> Self {
        let bench = Bench::new(seed);
        let part = bench.part(order).expect("an address");
        let rails: [Hand; 2] = Default::default();
        for (channel, rail) in rails.iter().enumerate() {
            let resistor = crake_sim::board::SenseResistor::ideal(NANOOHMS);
            part.rail(channel, rail.clone(), resistor)
                .expect("a channel");
        }
        let reset: Rc<dyn Fn()> = {
            let (bench, part) = (bench.clone(), part.clone());
            Rc::new(move || {
                part.brown_out();
                // Section 5: not addressable for 2200 µs.
                bench.run_for(Duration::from_micros(2_300));
            })
        };
        let bus = Spoilt {
            bus: bench.i2c(),
            plan: Rc::default(),
            count: Rc::default(),
            reset,
        };
        let fixture = Self {
            bench,
            part,
            bus,
            rails,
        };
        fixture.set(0, 1_000_000_000, 3_500_000_000);
        fixture.set(1, -250_000_000, 5_250_000_000);
        fixture
    }

    /// Nanoamperes and nanovolts of a rail from now on.
    pub fn set(&self, channel: usize, current_na: i64, voltage_nv: i64) {
        self.rails[channel].set(self.bench.now_ns(), current_na, voltage_nv);
    }

    pub fn driver(&self) -> Driver {
        let part = Moorhen::new(Address::Strap0);
        Monitor::new(self.bus.clone(), self.bench.delay(), part, &BOARD)
            .with_clock(HostClock(self.bench.clock()))
    }

    pub fn pass_ms(&self, ms: u64) {
        self.bench.run_for(Duration::from_millis(ms));
    }
}
