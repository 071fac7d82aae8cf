use crake::part::description::{Description, Field, Register, Value};

use crate::inspect::{Contents, Quantity, Scales};

/// A part at one moment of a run.
pub(super) struct State {
    pub(super) title: String,
    pub(super) seed: u64,
    /// When the reading began.
    pub(super) time_ns: u64,
    pub(super) address: u8,
    pub(super) description: &'static Description,
    /// With contents where there is something to read.
    pub(super) registers: Vec<(&'static Register, Option<Contents>)>,
    pub(super) scales: Scales,
}

impl State {
    /// Every field of a register, with what it comes to by the ranges in force, or by those that the register itself shows.
    pub(super) fn fields(
        &self,
        contents: &Contents,
    ) -> impl Iterator<Item = (&'static Field, Value, Vec<Quantity>)> {
        let scales = self.scales.with(contents);
        contents.values().map(move |(field, value)| {
            let quantities = scales.quantities(field, value);
            (field, value, quantities)
        })
    }
}
