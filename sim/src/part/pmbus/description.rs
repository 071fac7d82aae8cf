use alloc::vec::Vec;

use super::format::{Coefficients, Format};

/// What a device is: everything that differs from one PMBus device to another, as far as the model
/// goes.
#[derive(Clone, Debug, PartialEq)]
pub struct Description {
    /// MFR_ID, MFR_MODEL and MFR_REVISION, each of 1 to 32 bytes.
    pub identity: [&'static str; 3],
    /// The packet error code.
    pub pec: Pec,
    /// Whether QUERY exists.
    pub has_query: bool,
    /// Whether USER_DATA_00 exists.
    pub has_user_data: bool,
    /// Nominal time in nanoseconds in which each page is sampled once, all in turn.
    pub sample_period_ns: u64,
    /// Greatest departure of an individual's sample period, in parts per million.
    pub oscillator_limit_ppm: u32,
    /// 1 to 32 pages.
    pub pages: Vec<Page>,
}

/// What a device makes of the packet error code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pec {
    /// It knows none: nothing follows the data of a read, and one byte more than the data is too
    /// many.
    None,
    /// Reads end with it; writes may.
    Optional,
    /// Reads end with it; a write without it is ignored, and sets "PEC failed".
    Required,
}

/// One page: an output, or the input.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// Which commands it has: those of outputs or those of inputs.
    pub side: Side,
    /// What READ_VOUT or READ_VIN shows, in volts. An output's is ULINEAR16 or DIRECT, an input's
    /// LINEAR11 or DIRECT.
    pub voltage: Quantity,
    /// What READ_IOUT or READ_IIN shows, in amperes.
    pub current: Quantity,
    /// What READ_POUT or READ_PIN shows, in watts, and whether it is there.
    pub power: Option<Format>,
    /// What READ_EOUT or READ_EIN shows, and whether it is there.
    pub energy: Option<Count>,
    /// How the device answers to a command that this page does not have.
    pub refusal: Refusal,
}

/// Of which side a page is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Output: VOUT, IOUT, POUT, EOUT.
    Output,
    /// Input: VIN, IIN, PIN, EIN.
    Input,
}

/// A measured quantity of a page: format, range and accuracy. Values in V or A.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// Format of readings and limits.
    pub format: Format,
    /// Least reading; what lies below is cut off here.
    pub least: f64,
    /// Greatest reading.
    pub greatest: f64,
    /// Greatest gain error of an individual, either sign; 0.01 is 1 %.
    pub gain_limit: f64,
    /// Greatest offset error of an individual, either sign.
    pub offset_limit: f64,
}

/// An energy count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Count {
    /// From watts to counts a sample.
    pub coefficients: Coefficients,
    /// Counts from one rollover to the next, 32767 or 32768; the accumulator goes from 0 to one
    /// less.
    pub period: u16,
}

/// How an unsupported command is answered. Either way it sets "invalid command" in STATUS_CML.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The command byte is not acknowledged.
    NotAcknowledged,
    /// It is taken; reading gives 0xFF for ever.
    Taken,
}

/// Why a device cannot be built.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum DescriptionError {
    /// An address that a device on an SMBus must not take, or that is none.
    Address(u8),
    /// None, or more than 32 pages.
    Pages(usize),
    /// A sample period that leaves a page no aperture, or is above a day.
    SamplePeriod(u64),
    /// A text that is empty or too long.
    Identity(&'static str),
    /// A format that the standard does not allow there, or whose numbers do not fit its fields, or
    /// an energy count of another period than 32767 or 32768; on this page.
    Format(usize),
}

impl core::fmt::Display for DescriptionError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Address(address) => {
                write!(f, "{address:#04x} is no address for a device on an SMBus")
            }
            Self::Pages(pages) => write!(f, "{pages} pages: must be 1 to 32"),
            Self::SamplePeriod(ns) => write!(f, "a sample period of {ns} ns"),
            Self::Identity(text) => write!(f, "identity '{text}': must have 1 to 32 bytes"),
            Self::Format(page) => write!(
                f,
                "page {page} has a format that the standard does not allow"
            ),
        }
    }
}

impl core::error::Error for DescriptionError {}

impl Description {
    pub(super) fn check(&self) -> Result<(), DescriptionError> {
        let pages = self.pages.len();
        if !(1..=32).contains(&pages) {
            return Err(DescriptionError::Pages(pages));
        }
        if !(SHORTEST_APERTURE_NS * pages as u64..=DAY_NS).contains(&self.sample_period_ns) {
            return Err(DescriptionError::SamplePeriod(self.sample_period_ns));
        }
        if let Some(text) = self
            .identity
            .iter()
            .find(|text| !(1..=32).contains(&text.len()))
        {
            return Err(DescriptionError::Identity(text));
        }
        match self.pages.iter().position(|page| !page.is_sound()) {
            Some(page) => Err(DescriptionError::Format(page)),
            None => Ok(()),
        }
    }
}

impl Page {
    fn is_sound(&self) -> bool {
        let allowed = match (self.side, self.voltage.format) {
            (Side::Output, Format::Linear11(_)) | (Side::Input, Format::Ulinear16 { .. }) => false,
            (Side::Output, Format::Ulinear16 { .. })
            | (Side::Input, Format::Linear11(_))
            | (_, Format::Direct(_)) => true,
        };
        let others = [Some(self.current.format), self.power];
        let mut others = others.into_iter().flatten();
        let count_is_sound = self.energy.is_none_or(|count| {
            matches!(count.period, 32_767 | 32_768) && count.coefficients.is_sound()
        });
        allowed
            && self.voltage.format.is_sound()
            && others.all(|format| !matches!(format, Format::Ulinear16 { .. }) && format.is_sound())
            && count_is_sound
    }

    /// Whether any of its commands has coefficients.
    pub(super) fn has_coefficients(&self) -> bool {
        let formats = [
            Some(self.voltage.format),
            Some(self.current.format),
            self.power,
        ];
        self.energy.is_some()
            || formats
                .into_iter()
                .flatten()
                .any(|format| matches!(format, Format::Direct(_)))
    }
}

const SHORTEST_APERTURE_NS: u64 = 1_000;
/// Longest sample period.
pub(super) const DAY_NS: u64 = 86_400_000_000_000;
