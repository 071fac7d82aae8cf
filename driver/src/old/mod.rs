//! The first core: what the conformance kit, Moorhen and PMBus still stand on, until they are
//! carried over. Nothing new imports it.
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

pub mod alert;
pub mod board;
mod bound;
pub mod burst;
pub mod calibration;
pub mod capture;
pub mod exchange;
mod frame;
pub mod ledger;
mod monitor;
pub mod part;
mod sampling;
pub mod scale;
mod upper;
mod wide;

pub use crate::{Channel, crc, units};
pub use bound::Bound;
pub use exchange::{Fault, Misuse};
pub use frame::{Condition, Frame, NoReading, Reading, Side, Stamp};
pub use monitor::asynch;
pub use monitor::{Came, Clock, CounterClock, Error, Monitor, ShuntMonitor, Task};
pub use sampling::{Mode, Ranges, Sampling, Setup};
