//! Host-side bench for firmware that watches power rails.
#![cfg_attr(not(feature = "std"), no_std)]

extern crate alloc;

pub mod bench;
pub mod board;
pub mod bus;
#[cfg(feature = "cli")]
pub mod cli;
#[cfg(feature = "trace")]
mod growing;
pub mod part;
pub mod plant;
pub mod rng;
#[cfg(feature = "cli")]
pub mod run;
#[cfg(feature = "cli")]
pub mod scenario;
#[cfg(feature = "trace")]
pub mod trace;
