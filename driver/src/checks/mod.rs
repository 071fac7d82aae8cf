//! Checks for production and the field: is the board what firmware was told it is?
//!
//! | check | finds | takes |
//! |---|---|---|
//! | [`sense`] | open or swapped sense leads, a shorted or wrong sense resistor | a sample at a known current |
//! | [`node`] | branches that do not add up to their input | a sample at a steady load |
//! | [`bus_lines`] | a pull-up of the bus that is absent, a line that is held | one transfer |
//! | [`address`] | a part strapped to another address | one transfer per strap |
//! | [`AlertQueue::proof_test`](crate::alert::AlertQueue::proof_test) | an alert line without pull-up, broken, shorted, swapped | see there |
//!
//! [`sense`] and [`node`] give a [`Verdict`]: what was expected, what came, and within what bound;
//! or why nothing was found out. The bound is the worst case of datasheet and board, so a sound
//! board never fails; what lies within it, no check sees. The others give what they find, and
//! [`address`] who answered besides. [`asynch`] has those that use the bus for an async one.
//!
//! ```
//! use crake::board::Rail;
//! use crake::checks::{Reference, SenseFinding, sense};
//! use crake::units::Current;
//! use crake::{Channel, Error, ShuntMonitor};
//!
//! /// The fixture draws 1 A, within 5 mA, through rail 0.
//! fn is_resistor_right<M: ShuntMonitor<2>>(
//!     monitor: &mut M,
//!     rail: &Rail,
//! ) -> Result<bool, Error<M::BusError>> {
//!     let reference = Reference {
//!         current: Current::from_amps(1),
//!         within: Current::from_milliamps(5),
//!     };
//!     let verdict = sense(monitor.sample()?, Channel::C0, rail, reference);
//!     println!("{verdict:?}");
//!     Ok(verdict.is_ok_and(|verdict| verdict.finding == SenseFinding::Sound))
//! }
//! ```
//!
//! # Caution
//! Take a reference current from a supply with a current limit, behind a fuse, at a voltage that is
//! safe to touch; never by shorting a rail or loading a lithium cell beyond its maker's sheet. A
//! sense resistor at full scale is hot enough to burn. A board that passes is one that measures; it
//! is not one that protects.

mod bus;
mod current;

pub use bus::{AddressFinding, AddressVerdict, LinesFinding, address, asynch, bus_lines};
pub use current::{NodeFinding, Reference, SenseFinding, Unchecked, Verdict, node, sense};
