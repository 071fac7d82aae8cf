//! A board for the tests of alerts: one ideal Corncrake with four rails set by hand, its monitor,
//! and a look at its registers behind the driver's back.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use crake::alert::{AlertFlag, AlertFlags, AlertQueue, Event};
use crake::board::{Board, Rail, SenseResistor as Resistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Monitor, WithClock};
use crake_sim::bench::{Bench, Delay, I2c, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::Speed;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{Means, Plant, Truth};
use embedded_hal::i2c::I2c as _;

pub const ADDRESS: u8 = 0x32;
/// Four channels, sense and rail.
pub const CONVERSIONS_PER_SCAN: u64 = 8;

/// Pointers, datasheet, section 3.
pub const LATCHING: u8 = 0x34;
pub const MASK_A: u8 = 0x35;
pub const MASK_B: u8 = 0x36;
pub const FLAGS: u8 = 0x37;
pub const CONDITIONS: u8 = 0x38;
/// Flags that are about limits, section 3.6.
pub const LIMITS: u64 = 0x0F_FFFF;

pub type Blocking<B> = Monitor<'static, B, Delay, Corncrake, 4, WithClock<HostClock>>;

/// The bench's time, as the host sees it: off by nothing.
#[derive(Clone)]
pub struct HostClock(pub crake_sim::bus::Clock);

impl crake::Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        self.0.now_ns() / 1_000
    }
}

/// A rail whose sense and rail codes are set by hand: held until set again.
#[derive(Clone, Default)]
pub struct Hand(Rc<Cell<(f64, f64)>>);

impl Hand {
    /// A current in nanoamperes and a voltage in nanovolts.
    pub fn set(&self, current_na: i64, voltage_nv: i64) {
        self.0.set((current_na as f64, voltage_nv as f64));
    }
}

impl Plant for Hand {
    fn window(&mut self, _: u64, _: u64) -> Means {
        let (current_na, voltage_nv) = self.0.get();
        Means {
            current_na,
            voltage_nv,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

/// A rail that is somewhere else for the conversions that begin within a stretch of time.
#[derive(Clone)]
pub struct Excursion {
    pub at_rest: (f64, f64),
    pub away: (f64, f64),
    /// From, inclusive, and to, exclusive, in nanoseconds; in rising order.
    pub when_ns: Rc<RefCell<Vec<(u64, u64)>>>,
}

impl Plant for Excursion {
    fn window(&mut self, from_ns: u64, _: u64) -> Means {
        let when_ns = self.when_ns.borrow();
        let begun = when_ns.partition_point(|&(from, _)| from <= from_ns);
        let away = begun > 0 && from_ns < when_ns[begun - 1].1;
        let (current_na, voltage_nv) = if away { self.away } else { self.at_rest };
        Means {
            current_na,
            voltage_nv,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

/// Four rails of the same sense resistor.
pub fn board(nanoohms: u64) -> &'static Board<4> {
    let resistor = Resistor::new(Resistance::from_nanoohms(nanoohms), Tolerance::ZERO);
    Box::leak(Box::new(Corncrake::board(&[Rail::new(resistor); 4])))
}

/// The coarse sense range and the finest rail range, section 3.4: 500 nV and 100 µV a code.
pub const COARSE: FullScale = FullScale::new(
    Voltage::from_microvolts(65_000),
    Voltage::from_microvolts(6_500_000),
);
/// The fine sense range, 200 nV a code, and the finest rail range.
pub const FINE: FullScale = FullScale::new(
    Voltage::from_microvolts(26_000),
    Voltage::from_microvolts(6_500_000),
);

/// All four channels, 500 scans a second: rests 1.5 ms after each scan.
pub const CONFIG: Config<4> = Config::continuous([COARSE; 4], ScanRate::per_second(500));
/// The same without a rest between scans.
pub const FAST: Config<4> = Config::continuous([COARSE; 4], ScanRate::per_second(2_000));

pub struct Fixture {
    pub bench: Bench,
    pub part: Part<model::Model>,
    pub hands: [Hand; 4],
    pub nanoohms: u64,
}

impl Fixture {
    /// An ideal part on a bus of 1 MHz, 1 Ω everywhere: one code of the coarse range is 500 nA.
    pub fn new() -> Self {
        Self::with_resistors(1_000_000_000)
    }

    pub fn with_resistors(nanoohms: u64) -> Self {
        Self::of(model::Corncrake::ideal(ADDRESS), nanoohms)
    }

    pub fn of(order: model::Corncrake, nanoohms: u64) -> Self {
        let bench = Bench::new(0);
        bench.set_bus_speed(Speed::FastPlus);
        let part = bench.part(order).expect("a free address");
        let hands: [Hand; 4] = Default::default();
        for (channel, hand) in hands.iter().enumerate() {
            part.rail(channel, hand.clone(), SenseResistor::ideal(nanoohms))
                .expect("a channel");
        }
        Self {
            bench,
            part,
            hands,
            nanoohms,
        }
    }

    pub fn monitor(&self) -> Blocking<I2c> {
        self.monitor_on(self.bench.i2c())
    }

    pub fn monitor_on<B: embedded_hal::i2c::I2c>(&self, bus: B) -> Blocking<B> {
        let part = Corncrake::new(Address::Strap0);
        Monitor::new(bus, self.bench.delay(), part, board(self.nanoohms))
            .with_clock(HostClock(self.bench.clock()))
    }

    /// Puts an excursion in place of a channel's hand.
    pub fn excursion(&self, channel: usize, at_rest: (i64, i64), away: (i64, i64)) -> Excursion {
        let plant = Excursion {
            at_rest: (at_rest.0 as f64, at_rest.1 as f64),
            away: (away.0 as f64, away.1 as f64),
            when_ns: Rc::default(),
        };
        self.part
            .rail(channel, plant.clone(), SenseResistor::ideal(self.nanoohms))
            .expect("a channel");
        plant
    }

    /// Whether outputs A and B are pulled low.
    pub fn low(&self) -> [bool; 2] {
        [model::Output::A, model::Output::B].map(|output| self.part.is_low(output))
    }

    /// To the end of the conversion in progress, or of the rest.
    pub fn step(&self) {
        let next = self.part.next_event_ns().expect("the part runs");
        self.bench.run_until(next);
    }

    /// To the end of the scan in progress, if one is.
    pub fn finish_scan(&self) {
        while !self.part.conversions().is_multiple_of(CONVERSIONS_PER_SCAN) {
            self.step();
        }
    }

    /// To the end of the next whole scan.
    pub fn next_scan(&self) {
        self.finish_scan();
        let before = self.part.conversions();
        while self.part.conversions() == before {
            self.step();
        }
        self.finish_scan();
    }

    pub fn scans(&self, count: u32) {
        for _ in 0..count {
            self.next_scan();
        }
    }

    /// A register of three bytes, read behind the driver's back, on the bare wire, which no fault
    /// of transfers strikes; takes a bus transfer's time.
    pub fn register(&self, pointer: u8) -> u64 {
        let wire = self.bench.wire();
        wire.start();
        assert!(wire.send(ADDRESS << 1) && wire.send(pointer));
        wire.start();
        assert!(wire.send(ADDRESS << 1 | 1), "the part answers");
        let bytes = [true, true, false].map(|more| wire.receive(more));
        wire.stop();
        bytes
            .iter()
            .fold(0, |value, byte| value << 8 | u64::from(*byte))
    }

    /// Flags of limits that are set.
    pub fn flags(&self) -> u64 {
        self.register(FLAGS) & LIMITS
    }

    /// Clears flags behind the driver's back.
    pub fn clear(&self, flags: u64) {
        let [.., high, middle, low] = flags.to_be_bytes();
        // CRC-8 of the SMBus specification: the crc crate is not ours.
        let smbus = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
        let check = smbus.checksum(&[ADDRESS << 1, FLAGS, high, middle, low]);
        self.bench
            .i2c()
            .write(ADDRESS, &[FLAGS, high, middle, low, check])
            .expect("the part answers");
    }
}

/// LSB of a sense range in nanovolts, datasheet section 3.4.
pub fn sense_lsb_nv(range: usize) -> i64 {
    [500, 200][range]
}

/// LSB of a rail range in nanovolts, datasheet section 3.4.
pub fn rail_lsb_nv(range: usize) -> i64 {
    [100_000, 250_000, 1_000_000][range]
}

/// All events in the queue.
pub fn events<const Q: usize>(queue: &mut AlertQueue<'_, Q>) -> Vec<Event> {
    std::iter::from_fn(|| queue.next_event()).collect()
}

/// What all events in the queue are about.
pub fn told<const Q: usize>(queue: &mut AlertQueue<'_, Q>) -> Vec<AlertFlag> {
    events(queue).iter().map(Event::flag).collect()
}

/// Flag bits as the part's registers have them, datasheet section 3.6, from ours.
pub fn bits(flags: AlertFlags) -> u64 {
    flags.bits() & LIMITS
}
