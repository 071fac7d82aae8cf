//! A board for the tests of alerts: one ideal Corncrake with four rails set by hand, its monitor, and a look at its registers behind the driver's back.
#![allow(dead_code, reason = "each test takes what it needs")]

pub mod faults;
pub mod sweep;

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use crake::old::alert::{Causes, Event, Station};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::BusRange;
use crake::old::part::SenseRange;
use crake::old::part::corncrake::{BUS_6_V, Corncrake, PACE_500, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Mode, Monitor, Ranges, Setup};
use crake_sim::bench::{Bench, Delay, I2c};
use crake_sim::board::SenseResistor;
use crake_sim::bus::Speed;
use crake_sim::old::corncrake::{self as model, Part};
use crake_sim::plant::{Means, Plant, Truth};
use embedded_hal::i2c::I2c as _;

pub const ADDRESS: u8 = 0x32;
/// Datasheet, section 6.
pub const CONVERSION_NS: u64 = 62_500;
/// Four channels, sense and bus.
pub const CONVERSIONS_PER_ROUND: u64 = 8;

/// Pointers, datasheet, section 3.
pub const HOLD: u8 = 0x34;
pub const MASK_A: u8 = 0x35;
pub const MASK_B: u8 = 0x36;
pub const CAUSES: u8 = 0x37;
pub const LEVELS: u8 = 0x38;
/// Causes that are about limits, section 3.6.
pub const LIMITS: u64 = 0x0F_FFFF;

pub type Bus = I2c;
pub type Blocking<B> = Monitor<'static, B, Delay, crake_sim::bus::Clock, Corncrake, 4>;

/// A rail whose sense and bus codes are set by hand: held until set again.
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
    /// From, inclusive, and to, exclusive, in nanoseconds.
    pub when_ns: Rc<RefCell<Vec<(u64, u64)>>>,
}

impl Plant for Excursion {
    fn window(&mut self, from_ns: u64, _: u64) -> Means {
        let away = self
            .when_ns
            .borrow()
            .iter()
            .any(|&(from, to)| (from..to).contains(&from_ns));
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
    let shunt = Shunt::new(Resistance::from_nanoohms(nanoohms), Tolerance::ZERO);
    let rail = Rail::new(shunt, Load::smooth(Current::from_milliamps(65)));
    Box::leak(Box::new(
        Board::new(&SPEC, [rail; 4]).expect("a board that can be"),
    ))
}

/// All four channels in the coarse sense range and the finest bus range, 500 rounds a second: rests 1.5 ms after each round.
pub const SETUP: Setup<4> = Setup::all(
    Ranges {
        sense: SENSE_65_MV,
        bus: BUS_6_V,
    },
    Mode::Paced(PACE_500),
);

pub struct Desk {
    pub bench: Bench,
    pub part: Part,
    pub hands: [Hand; 4],
    pub nanoohms: u64,
}

impl Desk {
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

    pub fn monitor(&self) -> Blocking<Bus> {
        self.monitor_on(self.bench.i2c())
    }

    pub fn monitor_on<B: embedded_hal::i2c::I2c>(&self, bus: B) -> Blocking<B> {
        Monitor::new(
            bus,
            self.bench.delay(),
            self.bench.clock(),
            Corncrake::new(),
            ADDRESS,
            board(self.nanoohms),
        )
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

    /// To the end of the round in progress, if one is.
    pub fn finish_round(&self) {
        while !self
            .part
            .conversions()
            .is_multiple_of(CONVERSIONS_PER_ROUND)
        {
            self.step();
        }
    }

    /// To the end of the next whole round.
    pub fn next_round(&self) {
        self.finish_round();
        let before = self.part.conversions();
        while self.part.conversions() == before {
            self.step();
        }
        self.finish_round();
    }

    /// A register of three bytes, read behind the driver's back; takes a bus transfer's time.
    pub fn register(&self, pointer: u8) -> u64 {
        let mut bytes = [0; 3];
        self.bench
            .i2c()
            .write_read(ADDRESS, &[pointer], &mut bytes)
            .expect("the part answers");
        bytes
            .iter()
            .fold(0, |value, byte| value << 8 | u64::from(*byte))
    }

    /// Clears causes behind the driver's back.
    pub fn clear(&self, causes: u64) {
        let [.., high, middle, low] = causes.to_be_bytes();
        // CRC-8 of the SMBus specification: the crc crate is not ours.
        let smbus = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
        let check = smbus.checksum(&[ADDRESS << 1, CAUSES, high, middle, low]);
        self.bench
            .i2c()
            .write(ADDRESS, &[CAUSES, high, middle, low, check])
            .expect("the part answers");
    }
}

/// LSB of a sense range in nanovolts, datasheet section 3.4.
pub fn sense_lsb_nv(range: SenseRange) -> i64 {
    [500, 200][usize::from(range.0)]
}

/// LSB of a bus range in nanovolts, datasheet section 3.4.
pub fn bus_lsb_nv(range: BusRange) -> i64 {
    [100_000, 250_000, 1_000_000][usize::from(range.0)]
}

/// All events in the queue.
pub fn events<const Q: usize>(station: &mut Station<'_, 4, Q>) -> Vec<Event> {
    std::iter::from_fn(|| station.next_event()).collect()
}

/// Cause bits as the part's registers have them, datasheet section 3.6, from ours.
pub fn bits(causes: Causes) -> u64 {
    causes.bits() & LIMITS
}
