//! Host-side bench for firmware that watches power rails: software models of shunt monitors, a
//! virtual I2C bus, virtual time, rails and loads, and the truth beside every figure.
//!
//! It is not a circuit simulator: rails are piecewise linear, and a part is modelled as its
//! datasheet describes it.
//!
//! - [`mod@bench`]: one clock, one bus, parts and lines; what firmware gets in place of hardware.
//!   Start here.
//! - [`plant`]: sources, loads, cells, switches, and their exact truth. [`board`]: sense resistors.
//! - [`fault`]: what goes wrong, as data.
//! - [`conformance`]: the kit that proves a register map, on a model or a register file.
//! - [`inspect`]: registers by name with decoded fields, on the bench or on a real bus.
//! - [`part`]: the models. [`bus`]: the wire and its log. [`rng`]: where all chance comes from.
//! - With the feature `cli`: `scenario` files, `run`, which does the whole main job, `page`s to look
//!   at, `trace`, `shunt`, which chooses sense resistors, `plan`, and the program `crake-sim`.
//!
//! Without default features it builds without `std`, so that driver and part run together on a
//! microcontroller.
#![cfg_attr(not(feature = "std"), no_std)]

extern crate alloc;

pub mod bench;
pub mod board;
pub mod bus;
#[cfg(feature = "cli")]
pub mod characterise;
#[cfg(feature = "cli")]
pub mod cli;
pub mod conformance;
pub mod fault;
#[cfg(feature = "trace")]
mod growing;
pub mod inspect;
#[cfg(feature = "cli")]
pub mod log;
#[cfg(feature = "cli")]
pub mod page;
pub mod part;
#[cfg(feature = "cli")]
pub mod plan;
pub mod plant;
#[cfg(feature = "cli")]
mod quantity;
pub mod rng;
#[cfg(feature = "cli")]
pub mod run;
#[cfg(feature = "cli")]
mod rust_text;
#[cfg(feature = "cli")]
pub mod scenario;
#[cfg(feature = "cli")]
pub mod shunt;
#[cfg(feature = "trace")]
pub mod trace;
