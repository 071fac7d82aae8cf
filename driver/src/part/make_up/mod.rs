//! What the driver does in a part's place: running sums, power, limits, and whole operations for parts of plain registers.
//!
//! A part that lacks something is made up for *below* the monitor, so ledger, station and frame see a part like any other; its [`Spec`](super::Spec) says who does what.
//!
//! - [`Registers`]: what a porter of a simple part writes down, as lists of bus steps and a few decoding functions; [`MadeUp`] makes a [`Part`](super::Part) of it.
//! - [`Sums`]: running sums over the host's clock, for a part that keeps none.

mod effort;
mod made_up;
mod registers;
mod stages;
mod sums;

pub use made_up::MadeUp;
pub use registers::{Registers, State};
pub use sums::{Sums, Taken};
