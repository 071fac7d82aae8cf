//! Driver layer for multi-channel shunt monitors on I2C and SMBus: one converter, several rails, a sense resistor in each.
//!
//! It reads voltage, current and power of every rail from one coherent latch, keeps exact totals of energy and charge with a bound made of named parts, and brings
//! limits in engineering units to the right alert output. It is agnostic of the part's register map.
//!
//! It does not protect: fuses, battery protection circuits and certified devices do. It does not share a bus among drivers, keep a real-time clock, or know any part that can be bought.
//!
//! ```text
//!   firmware policy ── ShuntMonitor ── Frame ── Ledger, Station        what you use
//!                          │
//!                   Monitor (blocking, async)                          carries transfers out
//!                          │
//!                   exchange: steps without bus or clock               decides
//!                          │
//!                   part: what bytes mean, what a part can do          one folder per part
//! ```
//!
//! # On a laptop, against the bench
//!
//! With `crake-sim` among the `dev-dependencies` the same code runs against a model of the part; see the README for the main job, and `examples/` for firmware.
//!
//! # Which module for which task
//!
//! | task | module |
//! |---|---|
//! | describe the board | [`board`] |
//! | set up, latch, read | [`ShuntMonitor`], [`Monitor`], [`Frame`]; async: [`asynch`] |
//! | account for energy and charge | [`ledger`] |
//! | limits, alerts, proof test | [`alert`] |
//! | capture a rail | [`burst`], [`capture`] |
//! | calibrate | [`calibration`] |
//! | add a part | [`part`], [`exchange`], [`scale`], [`crc`] |
//!
//! # Promises
//!
//! `no_std`, no `alloc`, no floating point, no `unsafe`; blocking code links no panic. Apart from the traits of `embedded-hal` and the flags of `bitflags` no third-party type stands in the
//! public interface. The feature `defmt` derives `defmt::Format` and changes nothing else. The least compiler version is the workspace's `rust-version`.
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

pub mod alert;
pub mod board;
mod bound;
pub mod burst;
pub mod calibration;
pub mod capture;
mod channel;
pub mod crc;
pub mod exchange;
mod frame;
pub mod ledger;
mod monitor;
pub mod part;
mod sampling;
pub mod scale;
pub mod units;
mod upper;
mod wide;

pub use bound::Bound;
pub use channel::Channel;
pub use exchange::{Fault, Misuse};
pub use frame::{Condition, Frame, NoReading, Reading, Side, Stamp};
pub use monitor::asynch;
pub use monitor::{Came, Clock, CounterClock, Error, Monitor, ShuntMonitor, Task};
pub use sampling::{Mode, Ranges, Sampling, Setup};
