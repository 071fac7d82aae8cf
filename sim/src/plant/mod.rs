//! What stands behind the sense resistors: sources, loads and the exact truth of what flowed.

/// A rail as the part's converter sees it, and as the truth is kept.
///
/// Time is in nanoseconds since the bench began and never goes backwards from one call to the next, over both methods.
pub trait Plant {
    /// Means over the aperture from `from_ns` (inclusive) to `to_ns` (exclusive, greater than `from_ns`).
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

/// What really flowed through a rail from time 0, kept in integers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Truth {
    /// Charge in halves of nA·ns (half of 1e-18 C).
    pub charge_half_na_ns: i128,
    /// Energy delivered to the load in sixths of nA·nV·ns (a sixth of 1e-27 J).
    pub energy_sixth_na_nv_ns: i128,
}
