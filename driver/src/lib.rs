//! Driver layer for multi-channel shunt monitors on I2C and SMBus.
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

pub use channel::Channel;
pub use exchange::{Fault, Misuse};
pub use frame::{Condition, Frame, NoReading, Reading, Side, Stamp};
pub use monitor::asynch;
pub use monitor::{Came, Clock, CounterClock, Error, Monitor, ShuntMonitor, Task};
pub use sampling::{Mode, Ranges, Sampling, Setup};
