//! What the driver does in a part's place: running sums, power, limits, and whole operations for parts of plain registers.
//!
//! A part that lacks something is made up for *below* the monitor, so ledger, station and frame see a part like any other; its [`Spec`](super::Spec) says who does what.
//!
//! - [`Registers`]: what a porter of a simple part writes down, as lists of bus steps and a few decoding functions; [`MadeUp`] makes a [`Part`](super::Part) of it.
//! - [`Words`] and [`CauseBits`]: steps for registers of 16 bits in either byte order, and what stands in them.
//! - [`Sums`]: running sums over the host's clock, for a part that keeps none.

mod cause_bits;
mod effort;
mod made_up;
mod registers;
mod stages;
mod sums;
mod words;

pub use cause_bits::CauseBits;
pub(super) use made_up::Kept;
pub use made_up::MadeUp;
pub use registers::{PLAIN, Registers, State};
pub(super) use stages::possible;
pub use sums::{Sums, Taken};
pub use words::Words;
