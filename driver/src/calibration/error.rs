use core::fmt;

use crate::Channel;
use crate::units::{Current, Voltage};

/// Why there is no calibration. Nothing is corrected by half.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CalibrationError {
    /// The sample has no reading of this channel: there is none, it is not enabled, or no scan is
    /// finished.
    NoReading(Channel),
    /// The part is not in continuous mode, or keeps no running sums: nothing was counted.
    NotCounting,
    /// Another configuration than that of the sample before: scans in between are not known.
    Reconfigured,
    /// A sense conversion went over range, now or in a sample that was left out.
    Clipped(Channel),
    /// The samples lie so far apart that a rollover of the running sums could hide between them.
    TooFarApart,
    /// Too little was collected: stretches of a thousand scans.
    TooFew {
        /// Stretches so far.
        stretches: u32,
        /// Stretches needed.
        least: u32,
    },
    /// The current changed meanwhile: means of two stretches differ by more than noise explains.
    Unsteady {
        /// By how much they differ, rounded up.
        spread: Voltage,
        /// How much noise, rounding and the part's stability explain.
        limit: Voltage,
    },
    /// More sense voltage than a part within its limits shows without current: the load was not
    /// disconnected, or the part is damaged.
    ImplausibleOffset {
        /// Mean sense voltage, rounded to nearest.
        found: Voltage,
        /// The most that the limits allow, in either direction.
        limit: Voltage,
    },
    /// A gain that part and sense resistor within their limits cannot have: wrong reference, wrong
    /// resistor, or damage.
    ImplausibleGain {
        /// Gain less 1, parts per million; the end of the range where there is none.
        found_ppm: i32,
        /// The most that the limits allow, in either direction.
        limit_ppm: u32,
    },
    /// A reference current, or the difference of two, below a tenth of the sense range's full
    /// scale.
    ReferenceTooSmall {
        /// The least magnitude.
        least: Current,
    },
    /// A reference current beyond the sense range's full scale.
    ReferenceTooGreat {
        /// The greatest magnitude.
        greatest: Current,
    },
    /// A gain from one current needs a calibrated offset; from two it does not.
    NoOffset,
    /// The two points are of different channels or sense ranges.
    DifferentInputs,
}

impl fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoReading(channel) => write!(f, "the sample has no reading of {channel}"),
            Self::NotCounting => f.write_str("the part counts no scans in this mode"),
            Self::Reconfigured => {
                f.write_str("another configuration than that of the sample before")
            }
            Self::Clipped(channel) => write!(f, "{channel} went over range"),
            Self::TooFarApart => f.write_str("a rollover could hide between two samples"),
            Self::TooFew { stretches, least } => write!(
                f,
                "{stretches} stretches of a thousand scans; a calibration takes {least}"
            ),
            Self::Unsteady { spread, limit } => write!(
                f,
                "not steady: means differ by {spread}, where noise explains {limit}"
            ),
            Self::ImplausibleOffset { found, limit } => write!(
                f,
                "{found} without current is beyond the limit of {limit}: is the load disconnected?"
            ),
            Self::ImplausibleGain {
                found_ppm,
                limit_ppm,
            } => write!(
                f,
                "a gain {found_ppm} ppm off 1 is beyond the limit of {limit_ppm} ppm: is the \
                 reference right?"
            ),
            Self::ReferenceTooSmall { least } => write!(
                f,
                "the reference current, or the difference of two, must be at least {least}"
            ),
            Self::ReferenceTooGreat { greatest } => {
                write!(f, "the reference current must be at most {greatest}")
            }
            Self::NoOffset => f.write_str("a gain from one current needs a calibrated offset"),
            Self::DifferentInputs => {
                f.write_str("two points of different channels or sense ranges")
            }
        }
    }
}

impl core::error::Error for CalibrationError {}
