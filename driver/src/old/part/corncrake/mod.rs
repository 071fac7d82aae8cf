//! Corncrake, the fictional four-channel part of this project (docs/old/corncrake-datasheet.md).

mod alerts;
mod burst;
mod decode;
mod effort;
mod map;
mod registers;
mod spec;
mod steps;

pub use map::ADDRESSES;
pub use registers::DESCRIPTION;
pub use spec::{
    BUS_6_V, BUS_16_V, BUS_65_V, PACE_1, PACE_10, PACE_100, PACE_500, PACE_2000, SENSE_26_MV,
    SENSE_65_MV, SPEC,
};

use crate::old::alert::Causes;

/// The driver's side of one Corncrake: what must be remembered of it between operations.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Corncrake {
    /// Tag of the last latch that was asked for.
    tag: u8,
    /// Tag of the last block that came through whole.
    seen: u8,
    /// Set-up serial that the part is expected to have.
    serial: u16,
    /// Whether that is known: writes of ours to the set-up that came to no end may have counted or not, and the next whole block tells.
    settled: bool,
    /// Limits that may stand elsewhere than at the end of the scale, and own causes that were asked for.
    watched: Causes,
}

impl Corncrake {
    /// A part of which nothing is known yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            tag: 0,
            seen: 0,
            serial: 0,
            settled: true,
            watched: Causes::LIMITS,
        }
    }
}

impl Default for Corncrake {
    fn default() -> Self {
        Self::new()
    }
}
