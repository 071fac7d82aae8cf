//! C interface of the blocking driver with the Corncrake part, four rails: what stands behind
//! `crake.h`.
//!
//! The only crate of the workspace with `unsafe` in it. It decides nothing: each function checks
//! what it was handed, calls the driver, and puts what came into plain structures. See
//! `docs/c-interface.md`.
//!
//! # Safety
//! One promise for all functions, which the header states, too. Each pointer is null or leads to
//! what its type says, for as many values as are asked for; no two lead to the same memory. An
//! object's memory was zeroed before its initialisation, and is touched by this interface alone
//! from then on. Boards, margins, limits and hosts stay where they are, unchanged, as long as
//! something that was made with them is used. Callbacks may be called with their context.
#![no_std]
#![allow(clippy::missing_safety_doc)]

mod alerts;
mod board;
mod calibration;
mod error;
mod host;
mod memory;
mod monitor;
#[cfg(feature = "panic-handler")]
mod panic;
mod sample;
mod totals;
mod types;

use memory::{Held, Met, Wanted, calls};
use types::{mirrored, types};

pub use alerts::*;
pub use board::*;
pub use calibration::*;
pub use error::*;
pub use host::*;
pub use memory::{AlertQueue, Board, Collection, LimitMemory, Limits, Margins, Monitor, Totals};
pub use monitor::*;
pub use sample::*;
pub use totals::*;

/// Rails of a board, channels of the part.
pub const CRAKE_RAILS: usize = 4;
