//! The bench: one clock, one bus, and the parts and rails on it.
//!
//! # A first test of your own
//!
//! A bench with a part; a rail behind one of its channels; the driver on the bench's bus and delay;
//! then let time pass, and look at what your code made of it. `overloaded` stands for your
//! firmware, which knows the trait alone, `CONFIG` and `BOARD` for its constants; the last nine
//! lines are the test.
//!
//! ```
//! use core::time::Duration;
//! use crake::board::{self, Board};
//! use crake::config::{Config, FullScale, ScanRate};
//! use crake::part::corncrake::{Address, Corncrake};
//! use crake::units::{Current, Resistance, Tolerance, Voltage};
//! use crake::{Channel, Monitor, Sample, ShuntMonitor};
//! use crake_sim::{bench::Bench, board::SenseResistor, part::corncrake};
//! use crake_sim::plant::{Constant, Rail, Recorded, Source};
//!
//! const DRIVE: board::Rail = board::Rail::new(board::SenseResistor::new(
//!     Resistance::from_milliohms(5),
//!     Tolerance::from_percent(1),
//! ));
//! static BOARD: Board<1> = Corncrake::board(&[DRIVE]);
//! const PART: Corncrake = Corncrake::new(Address::Strap0);
//! const FULL_SCALE: FullScale =
//!     FullScale::new(Voltage::from_millivolts(50), Voltage::from_volts(15));
//! const CONFIG: Config<1> = Config::continuous([FULL_SCALE], ScanRate::per_second(2_000));
//!
//! fn overloaded<M: ShuntMonitor<1>>(monitor: &mut M) -> Result<bool, crake::Error<M::BusError>> {
//!     let reading = monitor.sample()?.reading(Channel::C0);
//!     Ok(reading.is_ok_and(|reading| reading.current > Current::from_amps(4)))
//! }
//!
//! # fn main() -> Result<(), Box<dyn core::error::Error>> {
//! // 12 V in nV; 2 A, from 1 s on 5 A, in nA and ns; 5 mΩ in nΩ. The seed of all chance is 1.
//! let bench = Bench::new(1);
//! let part = bench.part(corncrake::Corncrake::new(0x32))?;
//! let source = Source::of(Constant::new(12_000_000_000)?);
//! let load = Recorded::steps(2_000_000_000, &[(1_000_000_000, 5_000_000_000)])?;
//! part.rail(0, Rail::new(source, load)?, SenseResistor::ideal(5_000_000))?;
//! let mut monitor = Monitor::new(bench.i2c(), bench.delay(), PART, &BOARD);
//! monitor.init(&CONFIG)?;
//! bench.run_for(Duration::from_millis(1_100));
//! assert!(overloaded(&mut monitor)?);
//! # Ok(())
//! # }
//! ```
//!
//! [`Part::truth`] tells what really flowed, a [`Witness`] what of it lies in the span of your
//! totals, and [`Rail::span`](crate::plant::Rail::span) a rail's least, mean and greatest values.
//! [`Bench::fault`] makes go [wrong](crate::fault) what can, at a moment, for a time or for so many
//! transfers, a [`Switched`](crate::plant::Switched) rail obeys the firmware's pins, and [`Tasks`]
//! runs async firmware. With the feature `cli` the rails can come from a scenario file.
//!
//! # Without the driver
//!
//! ```
//! # fn main() -> Result<(), Box<dyn core::error::Error>> {
//! use core::time::Duration;
//! use crake_sim::{bench::Bench, part::corncrake::Corncrake};
//! use embedded_hal::i2c::I2c;
//!
//! let bench = Bench::new(1);
//! let part = bench.part(Corncrake::new(0x32))?;
//! bench.run_for(Duration::from_millis(5));
//!
//! let mut identity = [0; 4];
//! bench.i2c().write_read(0x32, &[0x00], &mut identity)?;
//! assert_eq!(identity, [0x9E, 0x37, 0xC4, 0x02]);
//! assert_eq!(part.conversions(), 0); // idle after a reset
//! # Ok(())
//! # }
//! ```

mod asynch;
mod error;
mod faults;
mod handles;
mod line;
mod part;
#[cfg(target_has_atomic = "ptr")]
mod stall;
mod step;
// Wakers are counted references, which take atomic read-modify-write.
#[cfg(target_has_atomic = "ptr")]
mod tasks;
mod waits;
mod witness;

use alloc::{rc::Rc, vec::Vec};
use core::{cell::RefCell, fmt, time::Duration};

pub use error::BenchError;
pub use faults::Injected;
pub use handles::{Delay, I2c, Wire};
pub use line::{Edge, Line};
pub use part::Part;
#[cfg(target_has_atomic = "ptr")]
pub use stall::{Stall, StallReason, StalledTask};
pub use step::Step;
#[cfg(target_has_atomic = "ptr")]
pub use tasks::Tasks;
pub use witness::{Witness, WitnessedClock};

use crate::{
    bus::{Bus, Clock, Logging, Restart, Speed, Stats, Transaction, WireWatcher},
    part::{AlertOutputs, Order, Target},
    rng::Rng,
};
use faults::Faults;
use line::Lines;
use step::Steps;
use waits::Waits;

/// A handle of a bench; clones are the same bench.
///
/// Time is virtual and moves when something takes time: a transfer, a delay,
/// [`run_for`](Self::run_for). Whenever it moves, every part on the bus has lived until then before
/// the call returns.
#[derive(Clone)]
pub struct Bench {
    seed: u64,
    clock: Clock,
    world: Rc<RefCell<World>>,
    lines: Rc<Lines>,
    waits: Rc<Waits>,
    steps: Rc<Steps>,
    faults: Rc<Faults>,
}

struct World {
    bus: Bus,
    addresses: Vec<u8>,
}

impl Bench {
    /// A bench without parts, at time 0, with a bus of 400 kHz. All chance on it comes from `seed`.
    pub fn new(seed: u64) -> Self {
        let clock = Clock::default();
        let (lines, steps) = (Rc::new(Lines::default()), Rc::new(Steps::default()));
        let faults = Rc::new(Faults::new(clock.clone(), steps.clone(), lines.clone()));
        let mut bus = Bus::new(clock.clone(), Speed::default());
        bus.set_watcher(lines.clone());
        bus.set_disturbance(faults.clone());
        Self {
            seed,
            clock,
            world: Rc::new(RefCell::new(World {
                bus,
                addresses: Vec::new(),
            })),
            lines,
            waits: Rc::new(Waits::default()),
            steps,
            faults,
        }
    }

    /// The seed it was made with.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The generator for the concern called `name`, for whatever a test draws itself: resistors,
    /// faults, loads.
    pub fn rng(&self, name: &str) -> Rng {
        Rng::new(self.seed).stream(name)
    }

    /// Puts a part on the bus: one of [`part`](crate::part), or of a model of your own. Its
    /// individual follows from the bench's seed and its address alone.
    ///
    /// # Errors
    /// An address that the part cannot have, or that is taken; nothing is added then.
    pub fn part<O: Order>(&self, order: O) -> Result<Part<O::Model>, BenchError> {
        let address = order.address();
        let model = order
            .build(&Rng::new(self.seed))
            .ok_or(BenchError::NoSuchAddress(address))?;
        let model = Rc::new(RefCell::new(model));
        self.attach(address, model.clone())?;
        self.steps.add(model.clone());
        Ok(Part::new(model))
    }

    /// Puts a target on the bus that is no part: it has no rails, no alert outputs and no steps.
    ///
    /// # Errors
    /// An address that is taken; nothing is added then.
    pub fn attach(&self, address: u8, target: Rc<RefCell<dyn Target>>) -> Result<(), BenchError> {
        let mut world = self.world.borrow_mut();
        if world.addresses.contains(&address) {
            return Err(BenchError::AddressTaken(address));
        }
        world.addresses.push(address);
        world.bus.attach(target);
        Ok(())
    }

    /// The line that an alert output of a part is wired to; the first call makes it. It is an input
    /// pin, active low.
    pub fn alert<M: AlertOutputs>(&self, part: &Part<M>, output: M::Output) -> Line {
        if let Some(node) = self.lines.of(part, output) {
            return Line::new(self.clone(), node);
        }
        let line = self.line();
        line.wire(part, output);
        line
    }

    /// A line with nothing wired to it yet, for several outputs together.
    pub fn line(&self) -> Line {
        Line::new(self.clone(), self.lines.add())
    }

    /// A controller on the bus.
    pub fn i2c(&self) -> I2c {
        I2c::new(self.clone(), Restart::Repeated)
    }

    /// A delay that moves the bench's time.
    pub fn delay(&self) -> Delay {
        Delay::new(self.clone())
    }

    /// The bare wire, for tests that send what no controller would.
    pub fn wire(&self) -> Wire {
        Wire::new(self.clone())
    }

    /// The bench's clock, to read without touching the bench.
    pub fn clock(&self) -> Clock {
        self.clock.clone()
    }

    /// Nanoseconds since the bench began.
    pub fn now_ns(&self) -> u64 {
        self.clock.now_ns()
    }

    /// Lets time pass, up to 292 years in all.
    pub fn run_for(&self, duration: Duration) {
        let ns = u64::try_from(duration.as_nanos()).unwrap_or(u64::MAX);
        self.run_until(self.now_ns().saturating_add(ns));
    }

    /// Lets time pass until a moment; one that has gone by has no effect.
    pub fn run_until(&self, ns: u64) {
        self.world.borrow_mut().bus.advance_to(ns.min(LAST_NS));
    }

    /// Sets the bus clock for transfers from now on.
    pub fn set_bus_speed(&self, speed: Speed) {
        self.world.borrow_mut().bus.set_speed(speed);
    }

    /// Keeps transactions from now on, or stops keeping them.
    pub fn set_logging(&self, logging: Logging) {
        self.world.borrow_mut().bus.set_logging(logging);
    }

    /// Transfers, bytes and busy time since the bench began.
    pub fn bus_stats(&self) -> Stats {
        self.world.borrow().bus.stats()
    }

    /// The transactions kept since the last call, oldest first. Nothing is kept before
    /// [`set_logging`](Self::set_logging).
    pub fn log(&self) -> Vec<Transaction> {
        self.world.borrow_mut().bus.take_log()
    }

    /// Shows the bus's wires to `watcher` from the next START on, in place of a watcher before; to
    /// nobody with `None`.
    pub fn watch_wires(&self, watcher: Option<Rc<RefCell<dyn WireWatcher>>>) {
        self.with_bus(|bus| bus.watch(watcher));
    }

    fn with_bus<R>(&self, act: impl FnOnce(&mut Bus) -> R) -> R {
        act(&mut self.world.borrow_mut().bus)
    }
}

/// Seed, time and parts.
impl fmt::Debug for Bench {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (seed, now_ns) = (self.seed, self.now_ns());
        write!(f, "Bench(seed {seed}, at {now_ns} ns, {:?})", self.steps)
    }
}

/// Far enough from the end of the count that what follows in the parts cannot overflow it.
const LAST_NS: u64 = u64::MAX / 2;
