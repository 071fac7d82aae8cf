//! What stands behind the sense resistors: sources, loads and the exact truth of what flowed.
//!
//! A [`Rail`] is a [`Source`] and a load. A load is a [`Profile`] of current over time:
//! [`Constant`], [`Pulses`], [`Recorded`] (also steps and ramps), or several together ([`Sum`],
//! [`Scaled`]). A source is a profile of voltage, or a [`Cell`] that its own charge discharges,
//! behind an impedance. A [`Switched`] rail has several [`Load`]s, which firmware turns on and off
//! through a [`Switch`]: besides profiles, a resistance, a constant power, a capacitor, the input
//! of a [`Converter`], or a [`Charger`] that feeds the cell.
//!
//! What a load draws by a law other than a straight line is one within an 8192nd of itself, and of
//! 1 nA, in the middle of every stretch; a charger is as it is described. Nothing is lost between a
//! capacitor and its source.
//!
//! All of them are made of straight stretches between whole numbers of nanoseconds, nanoamperes and
//! nanovolts. The trajectory between those numbers *is* the rail, so its charge and energy are
//! known exactly and nothing has to be believed about a step width.
//!
//! ```
//! use crake_sim::plant::{Constant, Plant, Pulses, Rail, Source};
//!
//! // 3.3 V behind 0.5 Ω; 40 µA asleep, 30 mA for 4 ms of every second.
//! let source = Source::of(Constant::new(3_300_000_000)?).behind_microohms(500_000)?;
//! let load = Pulses::new(40_000, 30_000_000, 1_000_000_000, 4_000_000)?;
//! let mut rail = Rail::new(source, load)?;
//!
//! let asleep = rail.window(10_000_000, 10_062_500);
//! assert_eq!(asleep.current_na, 40_000.0);
//! let charge = rail.truth(1_000_000_000).charge_half_na_ns / 2;
//! assert_eq!(charge, 30_000_000 * 4_000_000 + 40_000 * 996_000_000);
//! # Ok::<(), crake_sim::plant::PlantError>(())
//! ```

mod branch;
mod cell;
mod charger;
mod combined;
mod error;
mod exact;
mod load;
mod next;
mod node;
mod piece;
mod profile;
mod pulses;
mod rail;
mod recorded;
mod source;
mod span;
mod switch;
mod switched;
mod truth;

pub use branch::Converter;
pub use cell::Cell;
pub use charger::Charger;
pub use combined::{Scaled, Sum};
pub use error::PlantError;
pub use load::Load;
pub use piece::Piece;
pub use profile::{Bounds, Constant, Profile, Section};
pub use pulses::{Pulses, Train};
pub use rail::{Extremes, Rail};
pub use recorded::{AfterEnd, Interpolation, Recorded};
pub use source::Source;
pub use span::{Span, Spread};
pub use switch::{Inrush, Switch};
pub use switched::Switched;
pub use truth::Truth;

/// Greatest magnitude of a rail's current: 1 kA, in nanoamperes.
pub const CURRENT_NA_MAX: i64 = 1_000_000_000_000;

/// Greatest magnitude of a rail's voltage: 1 kV, in nanovolts.
pub const VOLTAGE_NV_MAX: i64 = 1_000_000_000_000;

/// A rail as the part's converter sees it, and as the truth is kept.
///
/// Time is in nanoseconds since the bench began and never goes backwards from one call to the next,
/// over both methods.
pub trait Plant {
    /// Means over the aperture from `from_ns` (inclusive) to `to_ns` (exclusive, greater than
    /// `from_ns`).
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means;

    /// Exact totals from time 0 to `at_ns`.
    fn truth(&mut self, at_ns: u64) -> Truth;
}

/// Mean current and mean voltage over an aperture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Means {
    /// Nanoamperes, positive from source to load.
    pub current_na: f64,
    /// Nanovolts at the load's side of the sense resistor.
    pub voltage_nv: f64,
}
