//! Moorhen, the two-channel rail monitor that does nothing unless triggered, as its datasheet
//! defines it.
//!
//! [`Moorhen`] says which part is wanted; [`Model`] is that part.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn core::error::Error>> {
//! use core::time::Duration;
//! use crake_sim::{bench::Bench, old::moorhen::{Moorhen, Output}};
//! use embedded_hal::i2c::I2c;
//!
//! let bench = Bench::new(1);
//! let part = bench.part(Moorhen::new(0x17))?;
//! let alert = bench.alert(&part, Output::Alert);
//!
//! bench.i2c().write(0x17, &[0x53, 0x01, 0x00])?; // trigger
//! bench.run_for(Duration::from_micros(800));
//! assert_eq!(part.conversions(), 4);
//!
//! let mut progress = [0; 2];
//! bench.i2c().write_read(0x17, &[0x5C], &mut progress)?;
//! assert_eq!(u16::from_le_bytes(progress), 1); // one single-shot done, not busy, nothing clipped
//! # Ok(())
//! # }
//! ```

mod individual;
mod protocol;
mod registers;
mod shot;
mod slot;

use alloc::{boxed::Box, format};
use core::fmt;

pub use individual::Individual;

use crate::{
    board::SenseResistor,
    part::{
        AlertOutputs, Converted, Order, PartModel, Target,
        analogue::{Errors, Supply},
    },
    plant::{Plant, Truth},
    rng::Rng,
};
use protocol::Protocol;
use registers::{Command, Registers};
use shot::{Converter, Shot};

/// Channels of the part.
pub const CHANNELS: usize = 2;

/// An order for a part: its address and how its errors come about.
#[derive(Clone, Debug, PartialEq)]
pub struct Moorhen {
    address: u8,
    errors: Errors<Individual>,
}

impl Moorhen {
    /// A part whose errors come from the seed and the address, and nothing else. `address` is a
    /// 7-bit address, 0x17 or 0x31.
    pub fn new(address: u8) -> Self {
        Self {
            address,
            errors: Errors::FromSeed,
        }
    }

    /// A part without errors and noise.
    pub fn ideal(address: u8) -> Self {
        Self::individual(address, Individual::ideal())
    }

    /// A part with exactly these errors.
    pub fn individual(address: u8, individual: Individual) -> Self {
        Self {
            address,
            errors: Errors::Given(Box::new(individual)),
        }
    }
}

/// Addresses 0x17 and 0x31.
impl Order for Moorhen {
    type Model = Model;

    fn address(&self) -> u8 {
        self.address
    }

    fn build(self, rng: &Rng) -> Option<Model> {
        if !ADDRESSES.contains(&self.address) {
            return None;
        }
        let rng = rng.stream(&format!("moorhen {:#04x}", self.address));
        let individual = self.errors.or_from_seed(|| Individual::from_seed(&rng));
        Some(Model {
            address: self.address,
            now_ns: 0,
            powered: true,
            addressable_at_ns: 0,
            converter: Converter::new(individual, &rng),
            supply: Supply::new(ASLEEP_NA),
            registers: Registers::after_reset(),
            shot: None,
            protocol: Protocol::after_reset(),
        })
    }
}

/// The only alert output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// Low while a cause is set that is also set in MASK.
    Alert,
}

/// A Moorhen on the bench.
///
/// All methods speak of the moment to which the part was last [advanced](Target::advance).
pub struct Model {
    address: u8,
    now_ns: u64,
    powered: bool,
    addressable_at_ns: u64,
    converter: Converter,
    supply: Supply,
    registers: Registers,
    shot: Option<Shot>,
    protocol: Protocol,
}

impl Model {
    /// The errors of this part.
    pub fn individual(&self) -> &Individual {
        &self.converter.individual
    }

    fn reset(&mut self) {
        self.registers = Registers::after_reset();
        self.shot = None;
        self.protocol = Protocol::after_reset();
        self.addressable_at_ns = self.now_ns + UNADDRESSABLE_NS;
        self.supply.draw(ASLEEP_NA, self.now_ns);
    }

    fn end_transfer(&mut self) {
        if let Some((pointer, word)) = self.protocol.end() {
            match self.registers.write(pointer, word) {
                Some(Command::Trigger) => self.trigger(),
                Some(Command::Restart) => self.reset(),
                None => {}
            }
        }
    }
}

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
        self.registers.causes & self.registers.mask != 0
    }

    fn is_reached(&self, Output::Alert: Output) -> bool {
        self.registers.mask != 0
    }
}

/// What it does, and the output.
impl fmt::Debug for Model {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let does = if self.registers.busy {
            "busy"
        } else {
            "asleep"
        };
        let low = self.is_low(Output::Alert);
        write!(f, "{does}, alert {}", if low { "low" } else { "high" })
    }
}

const ADDRESSES: [u8; 2] = [0x17, 0x31];
const UNADDRESSABLE_NS: u64 = 2_200_000;
/// What the part draws (section 7): typical values at 3.3 V.
const ASLEEP_NA: u32 = 800;
const AWAKE_NA: u32 = 240_000;
const SUPPLY_MV: u32 = 3_300;
