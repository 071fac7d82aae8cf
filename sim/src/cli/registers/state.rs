use crake::part::description::{Description, Register};

use crate::inspect::{Contents, Scales};

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
