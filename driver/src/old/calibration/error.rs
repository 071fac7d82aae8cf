use core::fmt;

use crate::old::Channel;
use crate::units::{Current, Voltage};

/// Why there is no calibration. Nothing is corrected by half: the board is as it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CalibrationError {
    /// The board has no such rail, or the part no such channel.
    NoSuchChannel(Channel),
    /// The channel was not enabled.
    NotEnabled(Channel),
    /// The part did not run at a pace, so that nothing was counted.
    NotPaced,
    /// The part keeps no running sums of its own.
    NoAccumulators,
    /// The part was reset.
    Reset,
    /// The part's supply is declared off.
    Unpowered,
    /// Another set-up took over at this frame. The next one begins anew.
    Boundary,
    /// The part is not known to have run under our set-up alone since the frame before.
    Broken,
    /// Mode or sense range is not that of the frame before, and no boundary lies between.
    SetUpChanged,
    /// A sense conversion went over range.
    Clipped(Channel),
    /// The frames lie so far apart that a rollover of the running sums could hide between them.
    TooFarApart,
    /// Too few rounds for a calibration.
    TooFewRounds {
        /// Rounds counted.
        rounds: u64,
        /// Rounds needed.
        least: u64,
    },
    /// Too few frames to tell whether the current was steady.
    TooFewSpans {
        /// Stretches between frames.
        spans: u8,
        /// Stretches needed.
        least: u8,
    },
    /// The current changed meanwhile: means of two stretches differ by more than noise explains.
    Unstable {
        /// By how much they differ, rounded up.
        spread: Voltage,
        /// How much noise, rounding and the part's stability explain.
        limit: Voltage,
    },
    /// More sense voltage than a part within its limits shows without current: the load was not disconnected, or the part is damaged.
    ImplausibleZero {
        /// Mean sense voltage, rounded to nearest.
        found: Voltage,
        /// The most that the limits allow, in either direction.
        limit: Voltage,
    },
    /// A gain that part and sense resistor within their limits cannot have: wrong reference, wrong resistor, or damage.
    ImplausibleGain {
        /// Gain less 1, parts per million; the end of the range where there is none.
        found_ppm: i32,
        /// The most that the limits allow, in either direction.
        limit_ppm: u32,
    },
    /// A reference current, or the difference of two, below a tenth of the sense range's full scale.
    ReferenceTooSmall {
        /// The least magnitude.
        least: Current,
    },
    /// A reference current beyond the sense range's full scale.
    ReferenceTooGreat {
        /// The greatest magnitude.
        greatest: Current,
    },
    /// A gain from one current needs a calibrated zero; from two it does not.
    NoZero,
    /// The two points are of different channels or sense ranges.
    DifferentInputs,
    /// The line through two points does not pass where the zero calibration says.
    Inconsistent {
        /// Sense voltage without current by the line, rounded to nearest.
        intercept: Voltage,
        /// The same by the zero calibration.
        zero: Voltage,
        /// The most by which they may differ.
        limit: Voltage,
    },
}

impl fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchChannel(channel) => write!(f, "there is no {channel}"),
            Self::NotEnabled(channel) => write!(f, "{channel} was not enabled"),
            Self::NotPaced => f.write_str("the part does not run at a pace"),
            Self::NoAccumulators => f.write_str("the part keeps no running sums"),
            Self::Reset => f.write_str("the part was reset"),
            Self::Unpowered => f.write_str("the part's supply is off"),
            Self::Boundary => f.write_str("another set-up took over; go on with the next frame"),
            Self::Broken => f.write_str(
                "the part may not have run under this set-up alone since the frame before",
            ),
            Self::SetUpChanged => f.write_str("mode or sense range changed between two frames"),
            Self::Clipped(channel) => write!(f, "{channel} went over range"),
            Self::TooFarApart => f.write_str("a rollover could hide between two frames"),
            Self::TooFewRounds { rounds, least } => {
                write!(f, "{rounds} rounds; a calibration takes {least}")
            }
            Self::TooFewSpans { spans, least } => write!(
                f,
                "{spans} stretches between frames; steadiness is judged by {least}"
            ),
            Self::Unstable { spread, limit } => write!(
                f,
                "not steady: means differ by {spread}, where noise explains {limit}"
            ),
            Self::ImplausibleZero { found, limit } => write!(
                f,
                "{found} without current is beyond the limit of {limit}: is the load disconnected?"
            ),
            Self::ImplausibleGain {
                found_ppm,
                limit_ppm,
            } => write!(
                f,
                "a gain {found_ppm} ppm off 1 is beyond the limit of {limit_ppm} ppm: is the reference right?"
            ),
            Self::ReferenceTooSmall { least } => write!(
                f,
                "the reference current, or the difference of two, must be at least {least}"
            ),
            Self::ReferenceTooGreat { greatest } => {
                write!(f, "the reference current must be at most {greatest}")
            }
            Self::NoZero => f.write_str("a gain from one current needs a calibrated zero"),
            Self::DifferentInputs => {
                f.write_str("the two points are of different channels or sense ranges")
            }
            Self::Inconsistent {
                intercept,
                zero,
                limit,
            } => write!(
                f,
                "zero is {intercept} by the line and {zero} by calibration, which may differ by {limit}"
            ),
        }
    }
}

impl core::error::Error for CalibrationError {}
