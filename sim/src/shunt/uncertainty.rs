//! Root of the sum of squares, as JCGM 100 (the GUM) has it.

use schemars::JsonSchema;
use serde::Serialize;

/// One contribution to an error, in the unit of the quantity: how far it may go, and its standard
/// uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Contribution {
    /// What contributes, as the fields of [`Budget`](crake::board::Budget) are called.
    pub name: &'static str,
    /// Greatest size in either direction, as the driver's bound counts it.
    pub limit: f64,
    /// Standard uncertainty.
    pub standard: f64,
}

impl Contribution {
    /// Of which only the limit is known, in either direction: a ÷ √3 (JCGM 100, 4.3.7).
    #[must_use]
    pub fn rectangular(name: &'static str, limit: f64) -> Self {
        Self {
            name,
            limit,
            standard: limit / 3_f64.sqrt(),
        }
    }

    /// Noise, whose limit the driver takes at six times its standard deviation.
    #[must_use]
    pub fn noise(name: &'static str, limit: f64) -> Self {
        Self {
            name,
            limit,
            standard: limit / 6.0,
        }
    }
}

/// Combined standard uncertainty of contributions that do not depend on each other: the root of the
/// sum of their squares (JCGM 100, equation 10).
#[must_use]
pub fn standard(contributions: &[Contribution]) -> f64 {
    let squares = contributions.iter().map(|one| one.standard * one.standard);
    squares.sum::<f64>().sqrt()
}

/// Expanded uncertainty with the coverage factor 2: about 95 % where many contributions are alike
/// (JCGM 100, 6.3.3), more where a rectangular one rules.
#[must_use]
pub fn expanded(standard: f64) -> f64 {
    2.0 * standard
}
