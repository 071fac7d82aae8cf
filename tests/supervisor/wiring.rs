//! What lies between the firmware and the bench, so that a test can spoil it and look at it.

use std::cell::Cell;
use std::rc::Rc;

use crake_sim::bench::Bench;
use crake_sim::bus;
use crake_sim::plant::Switch;
use embedded_hal::digital::{self, OutputPin, PinState};

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
