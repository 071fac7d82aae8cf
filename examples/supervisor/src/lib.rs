//! Example firmware: the supervisor of a survey skiff's four rails, as a user of `crake` would write it.
//!
//! It knows traits alone (a [`ShuntMonitor`](crake::old::ShuntMonitor) of four rails, two [`OutputPin`](embedded_hal::digital::OutputPin)s) and no part: the same code
//! runs on the bench, on a microcontroller, and with any part that has a driver.
//!
//! | rail | channel | what the supervisor does |
//! |---|---|---|
//! | DRIVE | 0 | opens its switch on over-current and keeps it open until commanded; keeps the readings around it; tells reverse current; tells a load that goes on drawing |
//! | CELL | 1 | sheds MODEM when its voltage falls too low; tells trickle, bulk and taper of a charge apart |
//! | LOGIC | 2 | tells under-voltage |
//! | MODEM | 3 | is shed and given back; tells over-current |
//!
//! Three layers, each usable without the one around it:
//!
//! - [`charge`]: what a mean current into the cell and a voltage say, with their bounds;
//! - [`policy`]: decisions from facts, time handed in; it knows no monitor and no pin;
//! - [`Supervisor`]: fetches the facts by a [`Station`](crake::old::alert::Station), keeps a [`Ledger`](crake::old::ledger::Ledger), drives the pins.
//!
//! Nothing here allocates or waits, and nothing panics: [`Supervisor::poll`] does what is due and says until when it wants to be called again.
//!
//! # This is not protection
//! The supervisor acts after a debounce, a transfer on a bus and whatever else the host does; it may be wrong, late, or switched off, and during a brown-out of the
//! part it is blind ([`Event::SetUpLost`] says for how long). A switch may weld: [`Event::Stuck`] tells, and cannot help. Fuses, battery
//! protection circuits and certified devices protect, chosen under local codes by people licensed to do so.
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
mod config;
mod event;
mod log;
pub mod policy;
mod supervisor;
mod window;

pub use config::{CELL, Config, DRIVE, LOGIC, MODEM, RAILS, name};
pub use event::{Event, Record};
pub use log::Log;
pub use supervisor::{Sample, Supervisor, Switches};
