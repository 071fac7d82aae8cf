//! Software models of the parts, each written from its datasheet alone.
//!
//! [`corncrake`] and [`moorhen`] differ in all that parts can differ in; [`pmbus`] has devices of
//! an open standard. A model of your own implements [`Target`], the bus side, and [`PartModel`]
//! with [`AlertOutputs`] and an [`Order`] for the bench; [`analogue`] has what stands in front of
//! its registers.

pub mod analogue;
pub mod corncrake;
mod fields;
mod model;
pub mod moorhen;
pub(crate) mod pec;
pub mod pmbus;

pub use model::{AlertOutputs, Converted, Input, Order, PartModel};

/// A target on the virtual bus, at the level of bytes and of the conditions between them.
///
/// The bus calls every target for START, address bytes and STOP, and those that acknowledged the
/// last address byte for the bytes that follow. Before each call it has [advanced](Self::advance)
/// the target to that moment.
pub trait Target {
    /// Lets the target live until `to_ns`, in nanoseconds of the bench's clock; what falls on
    /// `to_ns` itself has happened after it. Earlier than the last such moment has no effect.
    fn advance(&mut self, to_ns: u64);

    /// When the target does something by itself next, in nanoseconds, if nobody addresses it; None
    /// if it never will. Whoever watches what targets show outside the bus stops at these moments.
    fn next_event_ns(&self) -> Option<u64> {
        None
    }

    /// START or repeated START: ends what went before.
    fn start(&mut self);

    /// The byte after START: a 7-bit address and the read bit. True acknowledges it and takes part
    /// in what follows.
    fn address(&mut self, byte: u8) -> bool;

    /// A byte from the controller; true acknowledges it.
    fn write(&mut self, byte: u8) -> bool;

    /// The byte that the target puts on the bus next; 0xFF lets go of it.
    fn offer(&mut self) -> u8;

    /// The byte that stood on the bus after [`offer`](Self::offer). If it differs from what the
    /// target sent, another target won the arbitration, and this one withdraws until the next
    /// START.
    fn settle(&mut self, wire: u8);

    /// STOP: ends what went before.
    fn stop(&mut self);

    /// A START or STOP is about to come inside a byte: what the transfer has written is worth
    /// nothing.
    fn incomplete_byte(&mut self);
}
