//! A Gallinule on the bench with the driver in front of it, and what went over the bus.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::rc::Rc;
use std::time::Duration;

use crake::board::{Board, Load, Rail, Shunt};
use crake::part::pmbus::gallinule::{Gallinule, SPEC, ranges};
use crake::units::{Current, Tolerance};
use crake::{Mode, Monitor, Setup};
use crake_sim::bench::{Bench, Delay, Line, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::{BusError, Clock};
use crake_sim::part::pmbus::{Device, Model, SmbAlert};
use crake_sim::plant::{Constant, Rail as Plant, Recorded, Source};
use embedded_hal::i2c::{ErrorType, I2c, Operation};

pub const ADDRESS: u8 = 0x58;
/// Volts and amperes of the four pages, where nothing else is said: B8's, and within every range.
pub const USUAL: [(f64, f64); 4] = [(3.3, 4.2), (1.2, 1.5), (48.0, 1.25), (54.0, 0.7)];

/// What was transferred, for whoever asks; and how the next transfers fail.
#[derive(Default)]
pub struct Tape {
    /// Bytes of each transfer that was asked for, and how many were to be read.
    pub transfers: Vec<(Vec<u8>, usize)>,
    /// A brown-out of the part after so many further transfers.
    pub brown_out_after: Option<usize>,
}

/// The bench's bus with a tape in it.
#[derive(Clone)]
pub struct Taped {
    bus: crake_sim::bench::I2c,
    part: Part<Model>,
    pub tape: Rc<RefCell<Tape>>,
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
        let (mut written, mut read) = (vec![], 0);
        for operation in operations.iter() {
            match operation {
                Operation::Write(bytes) => written.extend_from_slice(bytes),
                Operation::Read(room) => read += room.len(),
            }
        }
        let mut tape = self.tape.borrow_mut();
        tape.transfers.push((written, read));
        if let Some(left) = tape.brown_out_after {
            tape.brown_out_after = left.checked_sub(1);
            if left == 0 {
                self.part.brown_out();
            }
        }
        drop(tape);
        self.bus.transaction(address, operations)
    }
}

pub type Watcher<'b> = Monitor<'b, Taped, Delay, Clock, Gallinule, 4>;

pub struct Desk {
    pub bench: Bench,
    pub part: Part<Model>,
    pub line: Line,
    pub tape: Rc<RefCell<Tape>>,
}

impl Desk {
    pub fn with(order: Device) -> Self {
        let bench = Bench::new(7);
        let part = bench.part(order).expect("a free address");
        let line = bench.alert(&part, SmbAlert);
        for (page, (volts, amperes)) in USUAL.into_iter().enumerate() {
            let (nanovolts, nanoamps) = (volts * 1e9, amperes * 1e9);
            let source = Source::of(Constant::new(nanovolts as i64).expect("a voltage"));
            let load = Constant::new(nanoamps as i64).expect("a current");
            let rail = Plant::new(source, load).expect("a rail");
            part.rail(page, rail, SenseResistor::ideal(1_000_000_000))
                .expect("a page");
        }
        Self {
            bench,
            part,
            line,
            tape: Rc::default(),
        }
    }

    /// Without errors of its own.
    pub fn ideal() -> Self {
        let description = crake_sim::part::pmbus::Description::gallinule();
        Self::with(Device::ideal(description, ADDRESS).expect("a sound description"))
    }

    /// Another current on a page, in steps of (ms, A).
    pub fn current(&self, page: usize, from: f64, steps: &[(u64, f64)]) {
        let volts = USUAL[page].0 * 1e9;
        let source = Source::of(Constant::new(volts as i64).expect("a voltage"));
        let steps: Vec<_> = steps
            .iter()
            .map(|(ms, amperes)| (ms * 1_000_000, (amperes * 1e9) as i64))
            .collect();
        let load = Recorded::steps((from * 1e9) as i64, &steps).expect("rising times");
        let rail = Plant::new(source, load).expect("a rail");
        self.part
            .rail(page, rail, SenseResistor::ideal(1_000_000_000))
            .expect("a page");
    }

    pub fn monitor<'b>(&self, board: &'b Board<4>) -> Watcher<'b> {
        let bus = Taped {
            bus: self.bench.i2c(),
            part: self.part.clone(),
            tape: self.tape.clone(),
        };
        let (delay, clock) = (self.bench.delay(), self.bench.clock());
        Monitor::new(bus, delay, clock, Gallinule::new(), ADDRESS, board)
    }

    /// Lets every page be sampled, from wherever in the period.
    pub fn run_ms(&self, ms: u64) {
        self.bench.run_for(Duration::from_millis(ms));
    }

    /// Command codes that were written with data, or alone.
    pub fn written(&self) -> BTreeSet<u8> {
        let tape = self.tape.borrow();
        let writes = tape.transfers.iter().filter(|(_, read)| *read == 0);
        writes.map(|(bytes, _)| bytes[0]).collect()
    }

    pub fn disturbances(&self) -> u64 {
        self.part.with(|model| model.disturbances().values().sum())
    }
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
        mode: Mode::Paced(SPEC.pace(40).expect("a pace")),
        averaging: 0,
    }
}
