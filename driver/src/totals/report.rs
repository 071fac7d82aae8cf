use core::fmt;

use crate::monitor::Saturation;

/// A total of one rail, of which nothing is known but what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Net<Q> {
    /// What flowed, less what flowed back, by the host's clock.
    pub value: Q,
    /// What it says of the truth after a conversion went over range: a limit, or nothing.
    pub saturation: Saturation,
}

/// A total of one rail, with its bound: the truth lies within value ± bound, for every part and
/// board inside the limits that datasheet and board state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Total<Q> {
    /// What flowed, less what flowed back, by the host's clock.
    pub value: Q,
    /// How far it may lie from the truth, either way; the greatest quantity where nothing is known.
    pub bound: Q,
    /// What it says of the truth after a conversion went over range: a limit, or nothing.
    pub saturation: Saturation,
    /// Whether a load is declared, so that the bound covers what it does between conversions.
    /// Without one the bound covers the instrument alone.
    pub covers_load: bool,
}

impl<Q> Total<Q> {
    pub(super) fn map<R>(self, of: impl Fn(Q) -> R) -> Total<R> {
        Total {
            value: of(self.value),
            bound: of(self.bound),
            saturation: self.saturation,
            covers_load: self.covers_load,
        }
    }
}

/// What became of a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Update {
    /// Counting begins with it; nothing to add yet.
    First,
    /// Its counts were added.
    Continued,
    /// Its counts were added, but something went over range: from now on totals of the rails
    /// concerned are limits, or nothing. Where samples in between were not given, all rails may be
    /// concerned.
    Clipped,
    /// Counts were lost or may have been. The stretch ended with the sample before. Counting begins
    /// anew with this one, if its configuration lets it.
    Discontinuity(Discontinuity),
    /// Nothing counts: the part does not scan by itself, nobody keeps sums, or the driver is to and
    /// no mean was finished yet.
    NotCounting,
}

/// Why a stretch ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Discontinuity {
    /// The part was configured anew since: by `configure`, or by `init`, as after a reset.
    Configured,
    /// The host's clock fell: it began anew. The gap is open-ended.
    ClockBackwards,
    /// The sample came later than [`Totals::next_sample_by_us`](super::Totals::next_sample_by_us):
    /// a rollover cannot be told from none.
    TooLate,
    /// The number of scans does not fit the time by the host's clock, within the limits of both
    /// clocks.
    Implausible,
}

/// Time that was not counted, as a bracket, in true microseconds: what the host's clock may be off
/// by is in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gap {
    /// At least this long.
    pub least_us: u64,
    /// At most this long; `u64::MAX` where nobody knows.
    pub greatest_us: u64,
}

impl Gap {
    /// None.
    pub const NONE: Self = Self {
        least_us: 0,
        greatest_us: 0,
    };
}

impl fmt::Display for Discontinuity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Configured => "the part was configured anew",
            Self::ClockBackwards => "the host's clock began anew",
            Self::TooLate => "the sample came too late to exclude a rollover",
            Self::Implausible => "the number of scans does not fit the time",
        })
    }
}
