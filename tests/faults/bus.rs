//! A controller and a clock on which a plan is carried out, for blocking and async firmware alike.

use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::time::Duration;

use crake::Clock;
use crake_sim::bench::{Bench, I2c as BenchI2c, Part};
use crake_sim::bus::BusError;
use crake_sim::part::corncrake::Model;
use embedded_hal::i2c::{ErrorKind, ErrorType, Operation};

use crate::plan::{Fault, Place, Plan, RESET_US, Shape};

/// What all handles of a controller share.
pub struct Wiring {
    bench: Bench,
    part: Part<Model>,
    plan: Cell<Option<Plan>>,
    /// The part was reset inside a transfer: the host comes back when it answers again.
    comes_late: Cell<bool>,
    clock_offset_us: Cell<i64>,
    transfers: RefCell<Vec<Shape>>,
    /// Number of the transfer before which the part was last disturbed, or within which.
    disturbed: Cell<Option<Disturbed>>,
    /// How often the operation has waited.
    waited: Cell<usize>,
    clock_jumped: Cell<bool>,
    /// How long the host was away, in microseconds.
    away_us: Cell<u64>,
}

/// When the part was disturbed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Disturbed {
    pub transfer: usize,
    pub inside: bool,
    pub by_stranger: bool,
}

/// More than any operation may make: whoever gets here does not end.
const TRANSFERS_MAX: usize = 20_000;

impl Wiring {
    pub fn new(bench: &Bench, part: &Part<Model>) -> Rc<Self> {
        Rc::new(Self {
            bench: bench.clone(),
            part: part.clone(),
            plan: Cell::new(None),
            comes_late: Cell::new(false),
            clock_offset_us: Cell::new(0),
            transfers: RefCell::default(),
            disturbed: Cell::new(None),
            waited: Cell::new(0),
            clock_jumped: Cell::new(false),
            away_us: Cell::new(0),
        })
    }

    /// Begins an operation under a plan.
    pub fn begin(&self, plan: Option<Plan>) {
        self.plan.set(plan);
        self.comes_late.set(false);
        self.transfers.borrow_mut().clear();
        self.disturbed.set(None);
        self.waited.set(0);
        self.clock_jumped.set(false);
        self.away_us.set(0);
    }

    /// What was transferred since then.
    pub fn transfers(&self) -> Vec<Shape> {
        self.transfers.borrow().clone()
    }

    /// When the part was disturbed last since then.
    pub fn disturbed(&self) -> Option<Disturbed> {
        self.disturbed.get()
    }

    /// How often the operation has waited since then.
    pub fn waited(&self) -> usize {
        self.waited.get()
    }

    /// Whether the host's clock has jumped since then.
    pub fn clock_jumped(&self) -> bool {
        self.clock_jumped.get()
    }

    /// How far the host's clock is ahead of the bench's.
    pub fn clock_offset_us(&self) -> i64 {
        self.clock_offset_us.get()
    }

    /// Does what the plan has for an await, and tells whether the future is to be dropped.
    pub fn waits(&self) -> bool {
        let number = self.waited.get();
        self.waited.set(number + 1);
        let Some(plan) = self.plan.get() else {
            return false;
        };
        if plan.place != Place::Await(number) {
            return false;
        }
        match plan.fault {
            Fault::Drop => return true,
            Fault::Reset { answers } => {
                self.disturb(true);
                self.part.brown_out();
                self.comes_late.set(answers);
            }
            fault => panic!("{fault:?} is nothing for an await"),
        }
        false
    }

    fn disturb(&self, inside: bool) {
        let transfer = self.transfers.borrow().len().saturating_sub(1);
        let by_stranger = matches!(self.plan.get(), Some(plan) if plan.fault == Fault::Stranger);
        self.disturbed.set(Some(Disturbed {
            transfer,
            inside,
            by_stranger,
        }));
    }

    /// Notes a transfer, and gives what is to go wrong with it. What happens before it has
    /// happened.
    fn before(&self, operations: &[Operation<'_>]) -> Option<Fault> {
        let number = self.transfers.borrow().len();
        assert!(number < TRANSFERS_MAX, "an operation does not end");
        self.transfers.borrow_mut().push(shape(operations));
        if self.comes_late.take() {
            self.away(RESET_US);
        }
        let plan = self.plan.get()?;
        if !plan.strikes_transfer(number) {
            return None;
        }
        match plan.fault {
            Fault::Reset { answers } => {
                self.disturb(false);
                self.part.brown_out();
                if answers {
                    self.away(RESET_US);
                }
                None
            }
            Fault::PowerLoss => {
                self.disturb(false);
                self.part.power_loss();
                None
            }
            Fault::Stranger => {
                self.disturb(false);
                // RUN, idle; without check byte (sections 2.2 and 3.3).
                let mut stranger = self.bench.i2c();
                let _ = embedded_hal::i2c::I2c::write(&mut stranger, 0x32, &[0x04, 0x00]);
                None
            }
            Fault::Away(us) => {
                self.away(us);
                None
            }
            Fault::ClockJump(us) => {
                self.clock_offset_us.set(self.clock_offset_us.get() + us);
                self.clock_jumped.set(true);
                None
            }
            fault => Some(fault),
        }
    }

    /// What is to go wrong, once the transfer is over.
    fn after(
        &self,
        fault: Fault,
        result: Result<(), BusError>,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        for operation in operations {
            if let Operation::Read(bytes) = operation {
                match fault {
                    Fault::Turned { byte, bits } => {
                        let place = byte % bytes.len();
                        bytes[place] ^= bits;
                    }
                    Fault::Flat(value) => bytes.fill(value),
                    _ => {}
                }
            }
        }
        match fault {
            Fault::AnswerLost(error) => Err(BusError(error)),
            _ => result,
        }
    }

    /// A transfer on the bare wire, which ends early or in which the part is reset.
    fn by_hand(
        &self,
        fault: Fault,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let wire = self.bench.wire();
        let (mut passed, mut left) = (0, usize::MAX);
        let mut broken_bits = 0;
        let mut reset_after = usize::MAX;
        match fault {
            Fault::Partial { bytes, bits } => (left, broken_bits) = (bytes, bits),
            Fault::ResetInside { bytes, answers } => {
                reset_after = bytes;
                self.comes_late.set(answers);
            }
            fault => panic!("{fault:?} is nothing for the bare wire"),
        }
        let mut passes = || {
            passed += 1;
            if passed == reset_after {
                self.disturb(true);
                self.part.brown_out();
            }
        };
        let failed = |error| {
            wire.stop();
            Err(BusError(error))
        };
        for operation in operations {
            let reads = matches!(operation, Operation::Read(_));
            wire.start();
            if !wire.send(address << 1 | u8::from(reads)) {
                return failed(crate::plan::ERRORS[0]);
            }
            passes();
            match operation {
                Operation::Write(bytes) => {
                    for &byte in *bytes {
                        if left == 0 {
                            if broken_bits > 0 {
                                wire.break_off(broken_bits);
                            }
                            return failed(ErrorKind::Other);
                        }
                        left -= 1;
                        if !wire.send(byte) {
                            return failed(crate::plan::ERRORS[1]);
                        }
                        passes();
                    }
                }
                Operation::Read(bytes) => {
                    let last = bytes.len() - 1;
                    for (place, byte) in bytes.iter_mut().enumerate() {
                        *byte = wire.receive(place < last);
                        passes();
                    }
                }
            }
        }
        wire.stop();
        Ok(())
    }

    /// How long the host was away since then.
    pub fn away_us(&self) -> u64 {
        self.away_us.get()
    }

    fn away(&self, us: u32) {
        self.away_us.set(self.away_us.get() + u64::from(us));
        self.bench.run_for(Duration::from_micros(us.into()));
    }
}

fn shape(operations: &[Operation<'_>]) -> Shape {
    let mut shape = Shape {
        pointer: 0,
        written: 0,
        read: 0,
    };
    for operation in operations {
        match operation {
            Operation::Write(bytes) => {
                shape.pointer = bytes[0];
                shape.written += bytes.len();
            }
            Operation::Read(bytes) => shape.read += bytes.len(),
        }
    }
    shape
}

/// The controller that firmware gets.
#[derive(Clone)]
pub struct Controller {
    inner: BenchI2c,
    wiring: Rc<Wiring>,
}

impl Controller {
    pub fn new(wiring: &Rc<Wiring>) -> Self {
        Self {
            inner: wiring.bench.i2c(),
            wiring: wiring.clone(),
        }
    }
}

impl ErrorType for Controller {
    type Error = BusError;
}

impl embedded_hal::i2c::I2c for Controller {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        match self.wiring.before(operations) {
            None => embedded_hal::i2c::I2c::transaction(&mut self.inner, address, operations),
            Some(Fault::Refused(error)) => Err(BusError(error)),
            Some(fault @ (Fault::Partial { .. } | Fault::ResetInside { .. })) => {
                self.wiring.by_hand(fault, address, operations)
            }
            Some(fault) => {
                let result =
                    embedded_hal::i2c::I2c::transaction(&mut self.inner, address, operations);
                self.wiring.after(fault, result, operations)
            }
        }
    }
}

/// Really waits: at every edge on the bus, and once more in a transfer by hand.
impl embedded_hal_async::i2c::I2c for Controller {
    async fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        use embedded_hal_async::i2c::I2c;

        match self.wiring.before(operations) {
            None => I2c::transaction(&mut self.inner, address, operations).await,
            Some(Fault::Refused(error)) => Err(BusError(error)),
            Some(fault @ (Fault::Partial { .. } | Fault::ResetInside { .. })) => {
                self.wiring.by_hand(fault, address, operations)
            }
            Some(fault) => {
                let result = I2c::transaction(&mut self.inner, address, operations).await;
                self.wiring.after(fault, result, operations)
            }
        }
    }
}

/// The host's clock: that of the bench, and what a plan made of it.
pub struct HostClock(pub Rc<Wiring>);

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        let now_us = self.0.bench.now_ns() / 1_000;
        now_us.saturating_add_signed(self.0.clock_offset_us.get())
    }
}
