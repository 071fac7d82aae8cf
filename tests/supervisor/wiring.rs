//! What lies between the firmware and the bench, so that a test can spoil it and look at it.

use std::cell::Cell;
use std::rc::Rc;

use crake_sim::bench::{Bench, I2c};
use crake_sim::bus;
use crake_sim::plant::Switch;
use embedded_hal::digital::{self, OutputPin, PinState};
use embedded_hal::i2c;

/// The bus, with wires that a test can spoil.
pub struct Wires {
    i2c: I2c,
    spoiled: Rc<Cell<bool>>,
}

impl Wires {
    pub fn new(bench: &Bench, spoiled: &Rc<Cell<bool>>) -> Self {
        Self {
            i2c: bench.i2c(),
            spoiled: spoiled.clone(),
        }
    }
}

impl i2c::ErrorType for Wires {
    type Error = i2c::ErrorKind;
}

impl i2c::I2c for Wires {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [i2c::Operation<'_>],
    ) -> Result<(), Self::Error> {
        let is_long =
            |operation: &_| matches!(operation, i2c::Operation::Read(bytes) if bytes.len() > 8);
        if self.spoiled.get() && operations.iter().any(is_long) {
            return Err(i2c::ErrorKind::Bus);
        }
        let done = self.i2c.transaction(address, operations);
        done.map_err(|error| i2c::Error::kind(&error))
    }
}

/// A pin that drives a switch and keeps when it changed, and to what: true is high, closed.
pub struct Pin {
    clock: bus::Clock,
    pub switch: Switch,
    refusing: Rc<Cell<bool>>,
    pub changes: Vec<(u64, bool)>,
}

impl Pin {
    pub fn new(bench: &Bench, switch: Switch, refusing: &Rc<Cell<bool>>) -> Self {
        Self {
            clock: bench.clock(),
            switch,
            refusing: refusing.clone(),
            changes: Vec::new(),
        }
    }
}

impl digital::ErrorType for Pin {
    type Error = digital::ErrorKind;
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        self.set_state(PinState::Low)
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        self.set_state(PinState::High)
    }

    fn set_state(&mut self, state: PinState) -> Result<(), Self::Error> {
        if self.refusing.get() {
            return Err(digital::ErrorKind::Other);
        }
        let at_ns = self.clock.now_ns();
        self.changes.push((at_ns, state == PinState::High));
        self.switch.set_state(state).map_err(|never| match never {})
    }
}
