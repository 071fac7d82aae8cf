//! A device on the bench with the driver in front of it, and what went over the bus.

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use crake::board::{Board, Load, Rail};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::Part as Map;
use crake::part::pmbus::gallinule::Gallinule;
use crake::part::pmbus::{RAIL, gallinule};
use crake::units::{Current, Tolerance, Voltage};
use crake::{Channel, Clock, Monitor, WithClock};
use crake_sim::bench::{Bench, Delay, Line, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::{BusError, Speed};
use crake_sim::part::pmbus::{Description, Device, Model, SmbAlert};
use crake_sim::plant::{Profile, Rail as Plant, Recorded, Source};
use embedded_hal::i2c::{ErrorType, I2c, Operation};

pub const ADDRESS: u8 = 0x58;
pub const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
/// Volts and amperes of the four pages, where nothing else is said: those of the document's
/// examples.
pub const USUAL: [(f64, f64); 4] = [(3.3, 4.2), (1.2, -1.5), (48.0, -1.25), (54.0, 0.7)];

/// Current flows either way, as far as the pages measure it.
const fn rail(amps: i64) -> Rail {
    RAIL.with_load(Load::smooth(Current::from_amps(amps)))
}
pub const RAILS: [Rail; 4] = [rail(25), rail(15), rail(40), rail(50)];
pub static BOARD: Board<4> = Gallinule::board(&RAILS).with_clock(Tolerance::ZERO);

/// What pages are asked to reach: much less than they do.
pub const CONFIG: Config<4> = Config::continuous(
    [FullScale::new(Voltage::from_volts(10), Voltage::from_volts(5)); 4],
    ScanRate::per_second(200),
);
pub const CHANNELS: [Channel; 4] = [Channel::C0, Channel::C1, Channel::C2, Channel::C3];

/// What happens before a transfer.
type Trick = Box<dyn FnMut(&Part<Model>, &mut crake_sim::bench::I2c)>;

/// Bytes of a transfer behind the address, and those read behind a repeated START.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Transfer {
    pub written: Vec<u8>,
    pub read: Vec<u8>,
}

/// What was transferred, and what is to happen in between.
#[derive(Default)]
pub struct Tape {
    pub transfers: Vec<Transfer>,
    /// Done once before the transfer with this number.
    pub trick: Option<(usize, Trick)>,
    /// Transfers that write this read these data instead, with a right check byte.
    pub forged: Vec<(Vec<u8>, Vec<u8>)>,
    /// The answer to these bytes is damaged so many times.
    pub damaged: Option<(Vec<u8>, usize)>,
}

/// The bench's bus with a tape in it.
#[derive(Clone)]
pub struct Taped {
    bus: crake_sim::bench::I2c,
    part: Part<Model>,
    tape: Rc<RefCell<Tape>>,
}

impl ErrorType for Taped {
    type Error = BusError;
}

impl I2c for Taped {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let mut tape = self.tape.borrow_mut();
        let number = tape.transfers.len();
        let trick = tape.trick.take_if(|(at, _)| *at == number);
        drop(tape);
        if let Some((_, mut trick)) = trick {
            trick(&self.part, &mut self.bus);
        }
        let result = self.bus.transaction(address, operations);
        let mut tape = self.tape.borrow_mut();
        let (mut written, mut read) = (vec![], vec![]);
        for operation in operations {
            match operation {
                Operation::Write(bytes) => written.extend_from_slice(bytes),
                Operation::Read(room) => {
                    if let Some((_, data)) = tape.forged.iter().find(|(of, _)| *of == written) {
                        let head = [&[address << 1], &written[..], &[address << 1 | 1]].concat();
                        let check = PEC.checksum(&[&head, &data[..]].concat());
                        let answer = [&data[..], &[check]].concat();
                        let len = room.len();
                        room.copy_from_slice(&answer[..len]);
                    }
                    if let Some((of, times)) = &mut tape.damaged
                        && *of == written
                        && *times > 0
                    {
                        *times -= 1;
                        room[0] ^= 0x10;
                    }
                    read.extend_from_slice(room);
                }
            }
        }
        tape.transfers.push(Transfer { written, read });
        result
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

pub type Watcher<M, const N: usize> = Monitor<'static, Taped, Delay, M, N, WithClock<HostClock>>;

pub struct Desk {
    pub bench: Bench,
    pub part: Part<Model>,
    pub line: Line,
    pub tape: Rc<RefCell<Tape>>,
}

impl Desk {
    pub fn ordered(order: Device, pages: usize, seed: u64) -> Self {
        let bench = Bench::new(seed);
        bench.set_bus_speed(Speed::Fast);
        let part = bench.part(order).expect("a free address");
        let line = bench.alert(&part, SmbAlert);
        line.set_recording(true);
        let desk = Self {
            bench,
            part,
            line,
            tape: Rc::default(),
        };
        for (page, (volts, amperes)) in USUAL.into_iter().take(pages).enumerate() {
            desk.rail(page, steps(volts, &[]), steps(amperes, &[]));
        }
        desk
    }

    /// Without errors of its own.
    pub fn of(description: Description) -> Self {
        let pages = description.pages.len();
        let device = Device::ideal(description, ADDRESS).expect("a sound description");
        Self::ordered(device, pages, 7)
    }

    pub fn ideal() -> Self {
        Self::of(Description::gallinule())
    }

    /// With errors within the document's limits.
    pub fn drawn(seed: u64) -> Self {
        let device = Device::new(Description::gallinule(), ADDRESS);
        Self::ordered(device.expect("a sound description"), 4, seed)
    }

    /// Volts and amperes of a page.
    pub fn rail(&self, page: usize, volts: impl Profile + 'static, load: impl Profile + 'static) {
        let rail = Plant::new(Source::of(volts), load).expect("a rail");
        self.part
            .rail(page, rail, SenseResistor::ideal(1_000_000_000))
            .expect("a page");
    }

    pub fn bus(&self) -> Taped {
        Taped {
            bus: self.bench.i2c(),
            part: self.part.clone(),
            tape: self.tape.clone(),
        }
    }

    pub fn clock(&self) -> HostClock {
        HostClock(self.bench.clock())
    }

    pub fn monitor_of<M: Map, const N: usize>(
        &self,
        map: M,
        board: &'static Board<N>,
    ) -> Watcher<M, N> {
        Monitor::new(self.bus(), self.bench.delay(), map, board).with_clock(self.clock())
    }

    pub fn monitor(&self) -> Watcher<Gallinule, 4> {
        self.monitor_of(Gallinule::new(gallinule::ADDRESSES[0]), &BOARD)
    }

    pub fn run_ms(&self, ms: u64) {
        self.bench.run_for(Duration::from_millis(ms));
    }

    /// Something happens once, before the transfer with this number from now on.
    pub fn before(
        &self,
        number: usize,
        trick: impl FnMut(&Part<Model>, &mut crake_sim::bench::I2c) + 'static,
    ) {
        let mut tape = self.tape.borrow_mut();
        tape.transfers.clear();
        tape.trick = Some((number, Box::new(trick)));
    }

    /// The transfers so far, which are then forgotten.
    pub fn taken(&self) -> Vec<Transfer> {
        std::mem::take(&mut self.tape.borrow_mut().transfers)
    }

    pub fn is_low(&self) -> bool {
        self.part.is_low(SmbAlert)
    }

    /// A byte, as another host reads it, without check byte.
    pub fn peek(&self, page: u8, command: u8) -> u8 {
        let (mut bus, mut byte) = (self.bench.i2c(), [0]);
        bus.write(ADDRESS, &[0x00, page]).expect("PAGE");
        bus.write_read(ADDRESS, &[command], &mut byte)
            .expect("a byte");
        byte[0]
    }

    /// A write without check byte, by another host.
    pub fn poke(&self, page: u8, bytes: &[u8]) {
        let mut bus = self.bench.i2c();
        bus.write(ADDRESS, &[0x00, page]).expect("PAGE");
        bus.write(ADDRESS, bytes).expect("a write");
    }
}

/// A profile of whole units that steps at so many milliseconds.
pub fn steps(first: f64, then: &[(u64, f64)]) -> Recorded {
    let nano = |value: f64| (value * 1e9).round() as i64;
    let then: Vec<_> = then
        .iter()
        .map(|(ms, value)| (ms * 1_000_000, nano(*value)))
        .collect();
    Recorded::steps(nano(first), &then).expect("rising times")
}
