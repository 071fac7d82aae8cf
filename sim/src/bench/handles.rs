use core::fmt;

use embedded_hal::{
    delay::DelayNs,
    i2c::{ErrorKind, ErrorType, Operation},
};

use super::Bench;
use crate::bus::{BusError, Restart};

/// A controller on the bench's bus, as firmware knows it.
#[derive(Clone)]
pub struct I2c {
    bench: Bench,
    restart: Restart,
}

impl I2c {
    pub(super) fn new(bench: Bench, restart: Restart) -> Self {
        Self { bench, restart }
    }

    pub(super) fn bench(&self) -> &Bench {
        &self.bench
    }

    pub(super) fn restart(&self) -> Restart {
        self.restart
    }

    /// The same controller, which makes this of a repeated START.
    #[must_use]
    pub fn with_restart(self, restart: Restart) -> Self {
        Self { restart, ..self }
    }
}

impl fmt::Debug for I2c {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "I2c({:?} restart, at {} ns)",
            self.restart,
            self.bench.now_ns()
        )
    }
}

impl ErrorType for I2c {
    type Error = BusError;
}

/// A transfer during which everything else stands still.
///
/// While a transfer of a waiting task has the bus, this one fails with `ArbitrationLoss` and
/// nothing is sent.
impl embedded_hal::i2c::I2c for I2c {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        if self.bench.waits.bus_is_taken() {
            return Err(BusError(ErrorKind::ArbitrationLoss));
        }
        self.bench
            .with_bus(|bus| bus.transaction(address, operations, self.restart))
    }
}

/// A delay in the bench's time; it lasts exactly as long as asked.
#[derive(Clone)]
pub struct Delay {
    bench: Bench,
}

impl Delay {
    pub(super) fn new(bench: Bench) -> Self {
        Self { bench }
    }

    pub(super) fn bench(&self) -> &Bench {
        &self.bench
    }
}

impl fmt::Debug for Delay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Delay(at {} ns)", self.bench.now_ns())
    }
}

impl DelayNs for Delay {
    fn delay_ns(&mut self, ns: u32) {
        self.bench
            .run_for(core::time::Duration::from_nanos(ns.into()));
    }

    fn delay_us(&mut self, us: u32) {
        self.bench
            .run_for(core::time::Duration::from_micros(us.into()));
    }

    fn delay_ms(&mut self, ms: u32) {
        self.bench
            .run_for(core::time::Duration::from_millis(ms.into()));
    }
}

/// The bare wire: conditions and bytes one by one, legal or not.
#[derive(Clone)]
pub struct Wire {
    bench: Bench,
}

impl Wire {
    pub(super) fn new(bench: Bench) -> Self {
        Self { bench }
    }

    /// START, or a repeated START before STOP.
    pub fn start(&self) {
        self.bench.with_bus(|bus| bus.start());
    }

    /// A byte to the targets, address bytes included; true if it was acknowledged.
    pub fn send(&self, byte: u8) -> bool {
        self.bench.with_bus(|bus| bus.send(byte))
    }

    /// A byte from the target, acknowledged or not.
    pub fn receive(&self, acknowledge: bool) -> u8 {
        self.bench.with_bus(|bus| bus.receive(acknowledge))
    }

    /// A byte broken off after some bits; START or STOP has to follow.
    pub fn break_off(&self, bits: u8) {
        self.bench.with_bus(|bus| bus.break_off(bits));
    }

    /// STOP.
    pub fn stop(&self) {
        self.bench.with_bus(|bus| bus.stop());
    }
}

impl fmt::Debug for Wire {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Wire(at {} ns)", self.bench.now_ns())
    }
}
