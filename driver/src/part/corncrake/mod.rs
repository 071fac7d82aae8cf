//! The register map of the fictional part Corncrake, from its datasheet
//! (`docs/corncrake-datasheet.md`).

mod alerts;
mod block;
mod capture;
mod info;
mod operations;
mod registers;

pub use block::Block;
pub use info::INFO;

use crate::board::{Board, Rail};

/// Where the part's address straps put it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Address {
    /// 0x32.
    Strap0,
    /// 0x33.
    Strap1,
    /// 0x34.
    Strap2,
    /// 0x35.
    Strap3,
}

/// A Corncrake on a bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Corncrake {
    /// The longest from a latch, or from the start of a single shot, to its end.
    latch_us: u32,
    /// What the block has to show: the part's count of writes, and mode, configuration and ranges.
    writes: u16,
    ranges: u16,
    mode: u8,
    configuration: u8,
    /// Tag of the latch that was asked for last.
    tag: u8,
    /// Tag of the block that was found good last.
    seen: u8,
    address: u8,
    /// Limits or masks were begun to be written, so the count of writes is not known: the next
    /// block's is taken. All else in it is compared as ever.
    writes_known: bool,
    /// Whether the bus's check byte of a block is verified besides the block's own check value.
    block_pec: bool,
}

impl Corncrake {
    /// A part at this address, every check byte verified.
    #[must_use]
    pub const fn new(address: Address) -> Self {
        let address = match address {
            Address::Strap0 => 0x32,
            Address::Strap1 => 0x33,
            Address::Strap2 => 0x34,
            Address::Strap3 => 0x35,
        };
        Self {
            address,
            block_pec: true,
            tag: 0,
            seen: 0,
            writes_known: true,
            writes: 0,
            mode: 0,
            configuration: 0,
            ranges: 0,
            latch_us: 0,
        }
    }

    /// The same without the bus's check byte on blocks, whose own CRC-16 covers them. It saves a
    /// quarter of a sample's instructions and one byte on the bus.
    #[must_use]
    pub const fn with_block_check_alone(mut self) -> Self {
        self.block_pec = false;
        self
    }

    /// A board whose rails hang on this part.
    #[must_use]
    pub const fn board<const N: usize>(rails: &[Rail; N]) -> Board<N> {
        Board::new(&INFO, rails)
    }
}
