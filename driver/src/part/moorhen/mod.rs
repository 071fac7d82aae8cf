//! The register map of the fictional part Moorhen, from its datasheet
//! (`docs/moorhen-datasheet.md`): the least that a rail monitor can be.
//!
//! It converts when it is told to, and keeps nothing: power, sums and most comparators are the
//! driver's. A reset shows by the configuration, which is read back with each sample and each look
//! at the flags.

mod info;
mod operations;

pub use info::INFO;

use crate::board::{Board, Rail};
use crate::bus::Register;

/// Where the part's address strap puts it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Address {
    /// 0x17.
    Strap0,
    /// 0x31.
    Strap1,
}

/// A Moorhen on a bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Moorhen {
    address: u8,
    /// What CONFIGURATION has to read.
    configuration: u16,
    /// The longest that a single-shot takes, in microseconds.
    shot_us: u32,
}

/// The results of one single-shot.
#[derive(Clone, Copy, Debug)]
#[repr(align(8))] // see `Core`
pub struct Block {
    sense: [i16; 2],
    rail: [u16; 2],
    /// Over-range flags, as STATUS has them.
    over: u16,
}

impl Moorhen {
    /// A part at this address.
    #[must_use]
    pub const fn new(address: Address) -> Self {
        Self {
            address: match address {
                Address::Strap0 => 0x17,
                Address::Strap1 => 0x31,
            },
            configuration: 0,
            shot_us: 0,
        }
    }

    /// A board whose rails hang on this part.
    #[must_use]
    pub const fn board<const N: usize>(rails: &[Rail; N]) -> Board<N> {
        Board::new(&INFO, rails)
    }
}

// Section 3 of the datasheet.
const IDENTITY: Register = Register::new(0x0B, 2);
const IDENTITY_VALUE: u32 = 0x6B2D;
const CONFIGURATION: Register = Register::new(0x1C, 2);
const TRIGGER: Register = Register::new(0x1F, 2);
const TRIGGER_VALUE: u64 = 0x00B4;
const STATUS: Register = Register::new(0x24, 2);
const BUSY: u64 = 1 << 15;
const DONE: u64 = 1 << 1;
/// Of channel c: c further.
const SENSE: Register = Register::new(0x42, 2);
const RAIL: Register = Register::new(0x4A, 2);
const ALERT_FLAGS: Register = Register::new(0x71, 2);
const MASK: Register = Register::new(0x72, 2);
const SENSE_LIMIT: Register = Register::new(0x88, 2);
const RAIL_LIMIT: Register = Register::new(0x8E, 2);
/// Limits that are never passed.
const SENSE_MOST: u64 = 0x07FF;
const RAIL_MOST: u64 = 0x0FFF;
/// Input bits of channel 0; of channel c: c further to the left.
const SENSE_BIT: u16 = 1 << 4;
const RAIL_BIT: u16 = 1 << 12;
const ENABLE_BIT: u16 = 1 << 8;
