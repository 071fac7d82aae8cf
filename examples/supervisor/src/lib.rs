//! Example firmware: the supervisor of a survey skiff's four rails, as a user of `crake` would
//! write it.
//!
//! It knows traits alone (a [`ShuntMonitor`](crake::ShuntMonitor) of four rails, two
//! [`OutputPin`](embedded_hal::digital::OutputPin)s) and no part: the same code runs on the bench,
//! on a microcontroller, and with any part that has a driver.
//!
//! - **DRIVE**, channel 0: its switch is opened on over-current and stays open until commanded. The
//!   readings around that are kept. Reverse current is told, and a load that goes on drawing.
//! - **CELL**, channel 1: MODEM is shed when its voltage falls too low. Trickle, bulk and taper of
//!   a charge are told apart.
//! - **LOGIC**, channel 2: under-voltage is told.
//! - **MODEM**, channel 3: is shed and given back; over-current is told.
//!
//! Three layers, each usable without the one around it:
//!
//! - [`charge`]: what a mean current into the cell and a voltage say, with their bounds;
//! - [`policy`]: decisions from facts, time handed in; it knows no monitor and no pin;
//! - [`Supervisor`]: fetches the facts by an [`AlertQueue`](crake::alert::AlertQueue), keeps
//!   [`Totals`](crake::totals::Totals), drives the pins.
//!
//! [`lines`] writes readings as lines of a log, for a serial port.
//!
//! Nothing here allocates or waits, and nothing panics: [`Supervisor::poll`] does what is due and
//! says until when it wants to be called again.
//!
//! # This is not protection
//! The supervisor acts after a debounce, a transfer on a bus and whatever else the host does. It
//! may be wrong, late, or switched off, and during a brown-out of the part it is blind
//! ([`Event::Lost`] says for how long). A switch may weld: [`Event::Stuck`] tells, and cannot help.
//! Fuses, battery protection circuits and certified devices protect, chosen under local codes by
//! people licensed to do so.
#![no_std]
#![forbid(unsafe_code)]
#![warn(missing_docs)]
#![cfg_attr(
    not(test),
    deny(
        clippy::arithmetic_side_effects,
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::float_arithmetic
    )
)]

pub mod charge;
mod event;
pub mod lines;
mod log;
pub mod policy;
mod settings;
mod supervisor;
mod window;

pub use event::{Event, Record};
pub use log::Log;
pub use settings::{CELL, DRIVE, LOGIC, MODEM, RAILS, Settings, name};
pub use supervisor::{Shown, Supervisor, Switches};
