//! A device on the bench with the driver in front of it, and what went over the bus.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::rc::Rc;
use std::time::Duration;

use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::Part as Map;
use crake::old::part::pmbus::gallinule::{SPEC, ranges};
use crake::old::units::{Current, Tolerance};
use crake::old::{Mode, Monitor, Setup};
use crake_sim::bench::{Bench, Delay, Line, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::{BusError, Clock, Speed};
use crake_sim::part::pmbus::{Description, Device, Model, SmbAlert};
use crake_sim::plant::{Profile, Rail as Plant, Recorded, Source};
use embedded_hal::i2c::{ErrorType, I2c, Operation};

pub const ADDRESS: u8 = 0x58;
/// Volts and amperes of the four pages, where nothing else is said: those of the document's
/// examples.
pub const USUAL: [(f64, f64); 4] = [(3.3, 4.2), (1.2, 1.5), (48.0, 1.25), (54.0, 0.7)];

/// What happens before a transfer.
type Trick = Box<dyn FnMut(&Part<Model>, &mut crake_sim::bench::I2c)>;

/// What was transferred, for whoever asks, and what is to happen in between.
#[derive(Default)]
pub struct Tape {
    /// Bytes of each transfer that was asked for, and how many were to be read.
    pub transfers: Vec<(Vec<u8>, usize)>,
    /// How long all of them were on the wire, address bytes included.
    pub bytes: u64,
    /// The transfer with this number goes to an address that nobody has.
    pub lost: Option<usize>,
    /// Done once before the transfer with this number.
    pub trick: Option<(usize, Trick)>,
}

impl Tape {
    pub fn rewind(&mut self) {
        (self.transfers, self.bytes) = (vec![], 0);
    }
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
        let (mut written, mut read) = (vec![], 0);
        for operation in operations.iter() {
            tape.bytes += 1;
            match operation {
                Operation::Write(bytes) => written.extend_from_slice(bytes),
                Operation::Read(room) => read += room.len(),
            }
        }
        tape.bytes += (written.len() + read) as u64;
        let number = tape.transfers.len();
        tape.transfers.push((written, read));
        let address = match tape.lost.take_if(|at| *at == number) {
            Some(_) => 0x5B,
            None => address,
        };
        let trick = tape.trick.take_if(|(at, _)| *at == number);
        drop(tape);
        if let Some((_, mut trick)) = trick {
            trick(&self.part, &mut self.bus);
        }
        self.bus.transaction(address, operations)
    }
}

pub type Watcher<'b, M, const N: usize> = Monitor<'b, Taped, Delay, Clock, M, N>;

pub struct Desk {
    pub bench: Bench,
    pub part: Part<Model>,
    pub line: Line,
    pub tape: Rc<RefCell<Tape>>,
}

impl Desk {
    pub fn drawn(order: Device, pages: usize, seed: u64) -> Self {
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
        Self::drawn(device, pages, 7)
    }

    pub fn ideal() -> Self {
        Self::of(Description::gallinule())
    }

    /// Volts and amperes of a page.
    pub fn rail(&self, page: usize, volts: impl Profile + 'static, load: impl Profile + 'static) {
        let rail = Plant::new(Source::of(volts), load).expect("a rail");
        self.part
            .rail(page, rail, SenseResistor::ideal(1_000_000_000))
            .expect("a page");
    }

    pub fn monitor<'b, M: Map, const N: usize>(
        &self,
        map: M,
        board: &'b Board<N>,
    ) -> Watcher<'b, M, N> {
        let bus = Taped {
            bus: self.bench.i2c(),
            part: self.part.clone(),
            tape: self.tape.clone(),
        };
        let (delay, clock) = (self.bench.delay(), self.bench.clock());
        Monitor::new(bus, delay, clock, map, ADDRESS, board)
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
        tape.rewind();
        tape.trick = Some((number, Box::new(trick)));
    }

    /// How often the line has changed its level since the last call.
    pub fn edges(&self) -> usize {
        self.line.edges().len()
    }

    pub fn is_low(&self) -> bool {
        self.part.is_low(SmbAlert)
    }

    /// Command codes of all writes.
    pub fn written(&self) -> BTreeSet<u8> {
        let tape = self.tape.borrow();
        let writes = tape.transfers.iter().filter(|(_, read)| *read == 0);
        writes.map(|(bytes, _)| bytes[0]).collect()
    }

    pub fn disturbances(&self) -> u64 {
        self.part.with(|model| model.disturbances().values().sum())
    }

    /// A byte, as another host reads it, without check byte.
    pub fn peek(&self, page: Option<u8>, command: u8) -> u8 {
        let mut bus = self.bench.i2c();
        let mut byte = [0];
        if let Some(page) = page {
            bus.write(ADDRESS, &[0x00, page]).expect("PAGE");
        }
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

pub fn board() -> Board<4> {
    let greatest = [25, 15, 40, 50].map(Current::from_amps);
    let rails = greatest.map(|amps| Rail::new(Shunt::inside(), Load::smooth(amps)));
    Board::new(&SPEC, rails)
        .expect("four rails")
        .with_clock(Tolerance::ZERO)
}

pub fn setup() -> Setup<4> {
    Setup {
        channels: [0, 1, 2, 3].map(|page| Some(ranges(page))),
        mode: Mode::Paced(SPEC.pace(1).expect("a pace")),
        averaging: 0,
    }
}
