//! Host-side bench for firmware that watches power rails.
#![cfg_attr(not(feature = "std"), no_std)]

extern crate alloc;

pub mod bench;
pub mod board;
pub mod bus;
pub mod part;
pub mod plant;
pub mod rng;
