//! What the bench and the bus see of the part.

use alloc::boxed::Box;
use core::fmt;

use super::{CHANNELS, Model, Output, SUPPLY_MV};
use crate::{
    board::SenseResistor,
    part::{AlertOutputs, Converted, PartModel, Target},
    plant::{Plant, Truth},
};

impl Target for Model {
    fn advance(&mut self, to_ns: u64) {
        self.run_to(to_ns);
    }

    fn next_event_ns(&self) -> Option<u64> {
        self.shot.map(|shot| shot.until_ns)
    }

    fn start(&mut self) {
        self.end_transfer();
    }

    fn address(&mut self, byte: u8) -> bool {
        if !self.powered || self.now_ns < self.addressable_at_ns || byte >> 1 != self.address {
            return false;
        }
        if byte & 1 == 0 {
            self.protocol.begin_write();
        } else {
            let word = self.registers.read(self.protocol.pointer);
            self.protocol.begin_read(word);
        }
        true
    }

    fn write(&mut self, byte: u8) -> bool {
        self.protocol.write(byte)
    }

    fn offer(&mut self) -> u8 {
        self.protocol.offer()
    }

    fn settle(&mut self, _: u8) {
        self.protocol.sent();
    }

    fn stop(&mut self) {
        self.end_transfer();
    }

    fn incomplete_byte(&mut self) {
        self.protocol.forget_transfer();
    }
}

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
        if let Some((converted, from_ns)) = self.shot.and_then(|shot| shot.aperture()) {
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
        self.supply.draw(0, self.now_ns);
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

    fn is_low(&self, Output::Alert: Output) -> bool {
        self.registers.pulls_low()
    }

    fn is_reached(&self, Output::Alert: Output) -> bool {
        self.registers.is_output_reached()
    }
}

/// What it does, and the output.
impl fmt::Debug for Model {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let does = if self.registers.is_busy() {
            "busy"
        } else {
            "idle"
        };
        let low = self.is_low(Output::Alert);
        write!(f, "{does}, alert {}", if low { "low" } else { "high" })
    }
}
