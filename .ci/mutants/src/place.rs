//! A place where one mistake can be planted.

use std::ops::Range;

use serde::{Deserialize, Serialize};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Place {
    /// The switch that turns the mistake on; 0 until it is chosen.
    #[serde(default)]
    pub switch: u32,
    pub file: String,
    pub line: usize,
    /// What is replaced, in bytes of the file.
    pub whole: Range<usize>,
    pub mistake: Mistake,
    /// What a person reads: as it is, and as it is with the mistake.
    pub shown: String,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum Mistake {
    /// Another operator between two operands.
    Operator {
        left: Range<usize>,
        right: Range<usize>,
        operator: String,
    },
    /// An operand without its `!` or `-`.
    Bare { operand: Range<usize> },
    /// A number or a named constant, some 2 % and 1 greater.
    Nudged,
    /// The other truth value.
    Inverted,
    /// An arm of a match, by its pattern, that is never taken.
    Arm,
    /// A guard that always or never holds.
    Guard { always: bool },
    /// A function that returns this at once.
    Returned { value: String },
}
