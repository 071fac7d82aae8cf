//! Calibration per channel: a zero with the load disconnected, a gain at one or two reference currents, and the record that keeps both.
//!
//! 1. Set the monitor up in the sense range that will be used, at the fastest pace, load disconnected. Give frames to a [`Collection`] until it has
//!    [`Collection::ROUNDS_MIN`] rounds; then [`zero()`] gives a [`Correction`](crate::old::board::Correction).
//! 2. Let a known current flow, collect again, and [`gain()`] adds the gain. [`line()`] does so from two currents and improves, or replaces, the zero.
//! 3. [`Board::corrected`](crate::old::board::Board::corrected) gives the board that converts by it, and [`Record`] keeps it in a few bytes.
//!
//! Every step is refused, with the numbers, where the current was not steady, too little was collected, or the result is beyond what a part and a board within
//! their limits can show. [`Rail::current_bound`](crate::old::board::Rail::current_bound) tells what a reading's bound is before and after.
//!
//! A zero holds in every sense range. A gain belongs to the sense range it was measured in; the correction carries it, and bounds in another range take in
//! the part's gain limits of both.
//!
//! A sense resistor at a reference current of full scale is as hot as in use: leave it time to settle, and see that nothing burns. Take the reference current from a source with a
//! current limit, behind a fuse, and never by shorting a rail or loading a lithium cell beyond its maker's sheet. Calibration makes readings better, not a monitor a protection device.

mod collection;
mod date;
mod error;
mod format;
mod gain;
mod limits;
#[cfg(test)]
mod paper;
mod record;
mod slope;
mod zero;

pub use collection::Collection;
pub use date::Date;
pub use error::CalibrationError;
pub use gain::{Point, Reference, gain, line};
pub use record::{Record, RecordError};
pub use zero::zero;
