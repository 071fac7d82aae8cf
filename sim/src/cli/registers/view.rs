//! What is printed of registers, whichever way of looking at them it comes from.

use crate::inspect::Quantity;

/// The registers of a part.
pub(super) struct Part {
    pub(super) name: &'static str,
    /// 7-bit addresses that it can have.
    pub(super) addresses: Vec<u8>,
    /// Whether a check byte follows each register that is read.
    pub(super) checked: bool,
    /// Name of the register that selects the page.
    pub(super) selector: Option<&'static str>,
    pub(super) registers: Vec<Register>,
}

pub(super) struct Register {
    pub(super) name: &'static str,
    pub(super) pointer: u8,
    /// Bytes, without a check byte and without the count of a block.
    pub(super) len: u8,
    /// Which byte comes first.
    pub(super) order: &'static str,
    /// As the datasheets write it; `r` where reading is not for onlookers.
    pub(super) access: &'static str,
    pub(super) block: bool,
    /// Pages that have it, each its own; empty where the whole part has one.
    pub(super) pages: &'static [u8],
    pub(super) fields: Vec<Field>,
}

pub(super) struct Field {
    pub(super) name: &'static str,
    /// Lowest bit, and how many.
    pub(super) low: u16,
    pub(super) bits: u8,
    pub(super) form: &'static str,
    /// Values that have names, of a form that has some.
    pub(super) names: Option<&'static [(u64, &'static str)]>,
    /// What it counts, and of which channel.
    pub(super) counts: Option<(&'static str, Option<u8>)>,
    /// Number formats by page, of a word that has them.
    pub(super) formats: Option<Vec<(u8, String)>>,
}

/// A part at one moment of a run.
pub(super) struct State {
    pub(super) title: String,
    pub(super) part: &'static str,
    pub(super) seed: u64,
    /// When the reading began.
    pub(super) time_ns: u64,
    pub(super) address: u8,
    /// Whether there are pages at all.
    pub(super) is_paged: bool,
    /// What the whole part has, then page by page.
    pub(super) registers: Vec<Shown>,
}

/// A register and what it held.
pub(super) struct Shown {
    pub(super) name: &'static str,
    pub(super) pointer: u8,
    pub(super) page: Option<u8>,
    pub(super) len: u8,
    pub(super) contents: Contents,
}

pub(super) enum Contents {
    Read {
        bytes: Vec<u8>,
        values: Vec<Value>,
    },
    /// Why there is nothing to read.
    LeftAlone(&'static str),
}

/// What a field held.
pub(super) struct Value {
    pub(super) name: &'static str,
    pub(super) held: Held,
    /// What it comes to.
    pub(super) quantities: Vec<Quantity>,
}

pub(super) enum Held {
    Unsigned(u64),
    Signed(i64),
    /// So many bits that are no number.
    Pattern(u64, u8),
    Flag(bool),
    Named(u64, &'static str),
    /// One that should have a name and has none.
    Unnamed(u64),
    Text(String),
}
