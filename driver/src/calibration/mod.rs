//! Calibration per channel: an offset with the load disconnected, a gain at one or two reference
//! currents, and the record that keeps both.
//!
//! 1. Configure the sense range that will be used at the greatest scan rate, load disconnected.
//!    Give samples to a [`Collection`] until it [is enough](Collection::is_enough); [`offset()`]
//!    makes a [`Correction`](crate::board::Correction) of it.
//! 2. Let a known current flow, collect again, and [`gain()`] adds the gain. [`line()`] makes
//!    offset and gain of two known currents.
//! 3. [`Board::corrected`](crate::board::Board::corrected) and
//!    [`Rail::corrected`](crate::board::Rail::corrected) take the correction; a monitor that runs
//!    takes the board by [`set_board`](crate::Monitor::set_board). A [`Record`] keeps it in a few
//!    bytes.
//!
//! Every step is refused, with the numbers, where the current was not steady, too little was
//! collected, or the result is beyond what a part and a board within their limits can show.
//! [`Rail::current_budget`](crate::board::Rail::current_budget) tells what a bound is before and
//! after.
//!
//! An offset holds in every sense range. A gain belongs to the one that it was measured in; the
//! correction carries its place, and bounds in another range take in the part's gain limits of
//! both.
//!
//! # Caution
//! A sense resistor at a reference current of full scale is as hot as in use: leave it time to
//! settle, and see that nothing burns. Take the current from a source with a current limit, behind
//! a fuse, and never by shorting a rail or loading a lithium cell beyond its maker's sheet.
//! Calibration makes readings better, not a monitor a protection device.

mod collection;
mod correct;
mod error;
mod record;

pub use collection::Collection;
pub use correct::{Point, gain, line, offset};
pub use error::CalibrationError;
pub use record::{Record, RecordError};
