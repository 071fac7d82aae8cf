//! Driver layer for multi-channel shunt monitors on I2C and SMBus: one converter, several rails, a
//! sense resistor in each.
//!
//! It reads voltage, current and power of every rail from one coherent sample, keeps exact totals
//! of energy and charge with a bound, and brings limits in engineering units to the right alert
//! output. It is agnostic of the part's register map.
//!
//! It does not protect: fuses, battery protection circuits and certified devices do. It does not
//! share a bus among drivers, keep a real-time clock, or know any part that can be bought.
//!
//! ```text
//!   firmware policy ── ShuntMonitor ── Sample ── Totals, AlertQueue     what you use
//!                          │
//!                   Monitor (blocking, async)                            runs each operation
//!                          │
//!                   part: straight-line operations, decoding             one folder per part
//!                          │
//!                   bus: a port over a bus and a delay                   reads, writes, verifies
//! ```
//!
//! # One principle
//!
//! An operation comes through, or fails and says what failed. Reading may simply be tried again.
//! What changes the part leaves [`NotConfigured`](bus::Fault::NotConfigured) or
//! [`NotArmed`](bus::Fault::NotArmed) behind until it is called again and comes through.
//!
//! # On a laptop, against the bench
//!
//! With `crake-sim` among the `dev-dependencies` the same code runs against a model of the part;
//! see the README for the main job, and `examples/` for firmware.
//!
//! # Which module for which task
//!
//! | task | module |
//! |---|---|
//! | describe the board | [`board`] |
//! | say what to convert | [`config`] |
//! | initialise, sample, read | [`ShuntMonitor`], [`Monitor`], [`Sample`]; async: [`asynch`] |
//! | limits, events, proof test | [`alert`] |
//! | calibrate | [`calibration`] |
//! | capture a rail fast | [`capture`] |
//! | check a board in production or the field | [`checks`] |
//! | choose mode, rate and read interval; what measuring costs | [`plan`] |
//! | add a part | [`part`], [`bus`], [`info`], [`crc`] |
//!
//! # Promises
//!
//! `no_std`, no `alloc`, no floating point, no `unsafe`; blocking code links no panic. Apart from
//! the traits of `embedded-hal` and the flags of `bitflags` no third-party type stands in the
//! public interface. The feature `defmt` derives `defmt::Format` and changes nothing else. The
//! least compiler version is the workspace's `rust-version`.
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
pub mod bus;
pub mod calibration;
pub mod capture;
mod channel;
pub mod checks;
pub mod config;
pub mod convert;
pub mod crc;
mod flags;
pub mod info;
mod monitor;
pub mod part;
pub mod plan;
pub mod totals;
pub mod units;

pub use board::ReadingBound;
pub use channel::Channel;
pub use monitor::{
    Call, Clock, CounterClock, Error, ErrorKind, FastCapture, Last, Monitor, NoClock, NoReading,
    Operation, Reading, Sample, Saturation, ShuntMonitor, TimeSource, TimedSample, Timestamp,
    WithClock, asynch,
};
