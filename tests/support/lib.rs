//! What the whole-system tests share: a reader of the datasheet, so that expected values come from
//! the document and from nowhere else.
//!
//! Everything here panics with the place in the document when the document is not as the reader
//! expects it: a test cannot go on without it.
//!
//! - [`datasheet`]: registers, ranges, accuracy, timing, supply and modes, in typed form;
//! - [`sample`]: the sample block, its layout and its two examples;
//! - [`examples`]: the worked transfers;
//! - [`markdown`]: any other table, as text;
//! - [`number`]: numbers with units as the tables write them.

pub mod datasheet;
pub mod examples;
pub mod markdown;
pub mod number;
pub mod sample;

/// What README and guides show of Rust compiles.
#[cfg(doctest)]
mod documents {
    #[doc = include_str!("../../README.md")]
    pub struct Readme;
    #[doc = include_str!("../../docs/low-power.md")]
    pub struct LowPower;
    #[doc = include_str!("../../docs/production.md")]
    pub struct Production;
    #[doc = include_str!("../../docs/registers.md")]
    pub struct Registers;
    #[doc = include_str!("../../docs/accuracy.md")]
    pub struct Accuracy;
}
