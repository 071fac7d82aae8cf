//! Moorhen, the two-channel rail monitor that does nothing unless triggered, as
//! docs/moorhen-datasheet.md defines it.
//!
//! [`Moorhen`] says which part is wanted; [`Model`] is that part.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn core::error::Error>> {
//! use core::time::Duration;
//! use crake_sim::{bench::Bench, part::moorhen::{Moorhen, Output}};
//! use embedded_hal::i2c::I2c;
//!
//! let bench = Bench::new(1);
//! let part = bench.part(Moorhen::new(0x17))?;
//! let alert = bench.alert(&part, Output::Alert);
//!
//! bench.i2c().write(0x17, &[0x1C, 0x00, 0x03])?; // both channels enabled, wide ranges
//! bench.i2c().write(0x17, &[0x1F, 0xB4, 0x00])?; // trigger
//! bench.run_for(Duration::from_micros(800));
//! assert_eq!(part.conversions(), 4);
//!
//! let mut status = [0; 2];
//! bench.i2c().write_read(0x17, &[0x24], &mut status)?;
//! assert_eq!(u16::from_le_bytes(status), 0x0002); // done, not busy, nothing over range
//! # Ok(())
//! # }
//! ```

mod individual;
mod input;
mod protocol;
mod registers;
mod shot;
mod target;

use alloc::{boxed::Box, format};

pub use individual::Individual;

use super::{
    Order,
    analogue::{Errors, Supply},
};
use crate::{bench::Part, rng::Rng};
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
    /// A part whose errors come from the bench's seed and the address, and nothing else. `address`
    /// is a 7-bit address, 0x17 or 0x31.
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
            supply: Supply::new(IDLE_NA),
            registers: Registers::after_reset(),
            shot: None,
            protocol: Protocol::after_reset(),
        })
    }
}

/// The only alert output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// Low while a flag is set that is also set in MASK.
    Alert,
}

/// A Moorhen on the bench.
///
/// All methods speak of the moment to which the part was last [advanced](super::Target::advance).
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
        self.supply.draw(IDLE_NA, self.now_ns);
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

/// What a test can ask of a Moorhen on its bench, beyond what it can ask of every part.
impl Part<Model> {
    /// The errors of this part.
    pub fn individual(&self) -> Individual {
        self.with(|model| model.individual().clone())
    }
}

const ADDRESSES: [u8; 2] = [0x17, 0x31];
const UNADDRESSABLE_NS: u64 = 2_200_000;
/// What the part draws (section 7): typical values at 3.3 V, in nanoamperes.
const IDLE_NA: u32 = 800;
const CONVERTING_NA: u32 = 240_000;
const SUPPLY_MV: u32 = 3_300;
