//! What the bench and the bus see of the part.

use alloc::boxed::Box;
use core::fmt;

use super::{
    CHANNELS, Model, Output,
    supply::{Draw, SUPPLY_MV},
};
use crate::{
    board::SenseResistor,
    part::{AlertOutputs, Converted, PartModel, Target},
    plant::{Plant, Truth},
};

impl PartModel for Model {
    fn own_address(&self) -> u8 {
        self.address
    }

    fn channels(&self) -> usize {
        CHANNELS
    }

    fn attach(&mut self, channel: usize, plant: Box<dyn Plant>, resistor: SenseResistor) -> bool {
        self.converter.inputs.attach(channel, plant, resistor)
    }

    fn resistor(&mut self, channel: usize) -> Option<&mut SenseResistor> {
        self.converter.inputs.resistor(channel)
    }

    fn truth(&mut self, channel: usize) -> Truth {
        if let Some((converted, from_ns)) = self.core.aperture() {
            self.converter.inputs.cut(converted, from_ns, self.now_ns);
        }
        self.converter.inputs.truth(channel, self.now_ns)
    }

    fn conversions(&self) -> u64 {
        self.converter.inputs.conversions()
    }

    fn last_conversion(&self) -> Option<Converted> {
        self.converter.inputs.last()
    }

    fn supply_charge_na_ns(&self) -> u128 {
        self.supply.charge_na_ns(self.now_ns)
    }

    fn supply_mv(&self) -> u32 {
        SUPPLY_MV
    }

    fn is_powered(&self) -> bool {
        self.powered
    }

    fn power_loss(&mut self) {
        self.reset();
        self.powered = false;
        self.supply.draw(Draw::Unpowered as u32, self.now_ns);
    }

    fn power_up(&mut self) {
        if !self.powered {
            self.powered = true;
            self.reset();
        }
    }
}

impl AlertOutputs for Model {
    type Output = Output;

    fn is_low(&self, output: Output) -> bool {
        self.core.alerts.outputs() >> output as u8 & 1 == 1
    }

    fn is_reached(&self, output: Output) -> bool {
        let alerts = &self.core.alerts;
        let mask = match output {
            Output::A => alerts.mask_a,
            Output::B => alerts.mask_b,
        };
        mask != 0
    }
}

/// The active mode byte, as in RUN, and the outputs.
impl fmt::Debug for Model {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let level = |output| if self.is_low(output) { "low" } else { "high" };
        let (mode, a, b) = (self.core.mode, level(Output::A), level(Output::B));
        write!(f, "mode {mode:#04x}, A {a}, B {b}")
    }
}

impl Target for Model {
    fn advance(&mut self, to_ns: u64) {
        self.run_to(to_ns);
    }

    fn next_event_ns(&self) -> Option<u64> {
        self.core.phase.until_ns()
    }

    fn start(&mut self) {
        self.end_transfer();
    }

    fn address(&mut self, byte: u8) -> bool {
        if !self.powered || self.now_ns < self.addressable_at_ns {
            return false;
        }
        if byte >> 1 == self.address {
            match byte & 1 {
                0 => self.protocol.begin_write(byte),
                _ => self.protocol.begin_read(byte, &self.core),
            }
        } else if byte == ALERT_RESPONSE && self.core.alerts.outputs() != 0 {
            self.protocol.begin_alert_response(byte, self.address << 1);
        } else {
            return false;
        }
        true
    }

    fn write(&mut self, byte: u8) -> bool {
        self.protocol.write(byte, &self.core)
    }

    fn offer(&mut self) -> u8 {
        self.protocol.offer()
    }

    fn settle(&mut self, wire: u8) {
        if self.protocol.settle(wire) {
            self.core.alerts.let_go();
            self.show(self.now_ns);
        }
    }

    fn stop(&mut self) {
        self.end_transfer();
        self.protocol.reads_window = false;
        self.settle_pending();
    }

    fn incomplete_byte(&mut self) {
        self.protocol.forget_transfer();
    }
}

/// Read address byte of the SMBus alert response address 0x0C.
const ALERT_RESPONSE: u8 = 0x19;
