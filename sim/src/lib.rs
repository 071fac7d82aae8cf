//! Host-side bench for firmware that watches power rails.
#![cfg_attr(not(feature = "std"), no_std)]

extern crate alloc;

pub mod plant;
#[cfg(feature = "cli")]
pub mod scenario;
