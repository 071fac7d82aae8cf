//! Devices of the open PMBus standard (Part II, revisions 1.2 and 1.3).

pub mod format;

mod energy;

pub use energy::{EnergyCount, Mean, Period};
