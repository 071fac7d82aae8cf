use core::fmt;

use crate::Channel;
use crate::board::Rail;
use crate::monitor::{NoReading, Sample, Saturation};
use crate::units::{Current, Resistance};

/// A current that flows for sure: by a fixture, or a bench supply and a reference meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reference {
    /// How much, positive from source to load.
    pub current: Current,
    /// How far it may be off, either way.
    pub within: Current,
}

/// What a check of currents came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Verdict<F> {
    /// What was found.
    pub finding: F,
    /// What had to come.
    pub expected: Current,
    /// What came; a limit where it went over range.
    pub measured: Current,
    /// How far both may lie apart on a sound board; at a [`node`] without what may flow past its
    /// branches.
    pub bound: Current,
}

/// What [`sense`] finds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SenseFinding {
    /// The reference, within the bound.
    Sound,
    /// Nothing: a sense lead is open, or the resistor is shorted. Which, it does not tell.
    NoCurrent,
    /// The reference with the other sign: the sense leads are swapped, or source and load are.
    Swapped,
    /// Another value: a wrong or drifted resistor, a bad contact in a sense lead, or a path beside
    /// the resistor.
    Value {
        /// The resistance that would show this, if all else is sound; rounded towards zero. At
        /// least that where the reading went over range.
        apparent: Resistance,
    },
}

/// What [`node`] finds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NodeFinding {
    /// The input is the sum of its branches, and of what may flow past them.
    Balanced,
    /// The branches show more than their input: a branch reads too much, or the input too little.
    InputTooSmall,
    /// The input shows more than its branches: a leak, a branch that is not measured, or one that
    /// reads too little.
    InputTooGreat,
}

/// Why a check says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Unchecked {
    /// A channel has no reading, or went over range: what came is a limit, and where it is not
    /// more than the reference anyhow, it tells nothing.
    NoReading(NoReading),
    /// The board was not made of this rail.
    AnotherRail(Channel),
    /// Half the reference lies within the bound: nothing, the reference and its reverse could not
    /// be told apart. At least twice this bound has to flow.
    ReferenceTooSmall {
        /// The bound.
        bound: Current,
    },
}

/// Compares a reading with a current that is known to flow: the sense resistor and its leads.
///
/// `rail` is the one that the board was made of. Bus: none; the sample costs what it costs. A mean
/// of many scans has less noise, and so a smaller bound.
///
/// It finds an open or swapped lead, a shorted resistor, and any resistor so far off that the
/// reading is beyond the bound: gain, offset, noise, the resistor's own tolerance and temperature,
/// and `within`. It does not find a resistor that is off by less; which of part, resistor and leads
/// is at fault; nor what a current other than this one would show, such as a bad contact that
/// carries a small current well. One reference through two rails in series checks both.
///
/// # Errors
/// [`Unchecked`]: nothing was found out.
pub fn sense<const N: usize, S: Sample<N> + ?Sized>(
    sample: &S,
    channel: Channel,
    rail: &Rail,
    reference: Reference,
) -> Result<Verdict<SenseFinding>, Unchecked> {
    let (measured, clipped) = match sample.reading(channel) {
        Ok(reading) => (reading.current, None),
        Err(NoReading::Clipped {
            reading,
            current: Saturation::None,
            ..
        }) => (reading.current, None),
        Err(why @ NoReading::Clipped { reading, .. }) => (reading.current, Some(why)),
        Err(why) => return Err(Unchecked::NoReading(why)),
    };
    let expected = reference.current;
    let bound = bound(sample, channel, rail)?.saturating_add(reference.within.abs());
    let sound = measured.saturating_sub(expected).abs() <= bound;
    let most = expected.abs().saturating_add(bound);
    // More than the reference is wrong however small that is.
    if measured.abs() <= most {
        if let Some(why) = clipped {
            return Err(Unchecked::NoReading(why));
        }
        if bound.saturating_add(bound) > expected.abs() {
            return Err(Unchecked::ReferenceTooSmall { bound });
        }
    }
    let finding = if sound {
        SenseFinding::Sound
    } else if measured.abs() <= bound {
        SenseFinding::NoCurrent
    } else if measured.saturating_add(expected).abs() <= bound {
        SenseFinding::Swapped
    } else {
        SenseFinding::Value {
            apparent: apparent(rail, measured, expected),
        }
    };
    Ok(Verdict {
        finding,
        expected,
        measured,
        bound,
    })
}

/// Compares the current into a node with the sum of those out of it: branches against their input
/// rail, all at one voltage, with nothing but sense resistors in between.
///
/// `unmeasured` is the most that may flow into what hangs on the input besides the branches.
/// Rails are those that the board was made of. Bus: none; the sample costs what it costs. The load
/// has to be steady for as long as a mean lasts, for channels are converted in turn.
///
/// It finds a branch or an input that is off by more than all bounds together, and a leak beyond
/// that. It does not find two errors that cancel, one that all resistors share, nor which rail it
/// is: [`sense`] does. Behind a converter currents do not add up.
///
/// # Errors
/// [`Unchecked`]: nothing was found out.
pub fn node<const N: usize, S: Sample<N> + ?Sized>(
    sample: &S,
    (input, rail): (Channel, &Rail),
    branches: &[(Channel, &Rail)],
    unmeasured: Current,
) -> Result<Verdict<NodeFinding>, Unchecked> {
    let read = |channel| sample.reading(channel).map_err(Unchecked::NoReading);
    let measured = read(input)?.current;
    let mut open = bound(sample, input, rail)?;
    let mut expected = Current::ZERO;
    for (channel, rail) in branches {
        expected = expected.saturating_add(read(*channel)?.current);
        open = open.saturating_add(bound(sample, *channel, rail)?);
    }
    let more = measured.saturating_sub(expected);
    let finding = if more < open.saturating_neg() {
        NodeFinding::InputTooSmall
    } else if more > open.saturating_add(unmeasured.abs()) {
        NodeFinding::InputTooGreat
    } else {
        NodeFinding::Balanced
    };
    Ok(Verdict {
        finding,
        expected,
        measured,
        bound: open,
    })
}

fn bound<const N: usize, S: Sample<N> + ?Sized>(
    sample: &S,
    channel: Channel,
    rail: &Rail,
) -> Result<Current, Unchecked> {
    let bound = sample.bound(channel, rail).map(|bound| bound.current);
    bound.ok_or(Unchecked::AnotherRail(channel))
}

/// Declared resistance × shown ÷ flowing.
fn apparent(rail: &Rail, measured: Current, expected: Current) -> Resistance {
    let declared = u128::from(rail.resistor().resistance().as_nanoohms());
    let shown = u128::from(measured.as_nanoamps().unsigned_abs());
    let flowing = expected.as_nanoamps().unsigned_abs().max(1);
    // 34 by 63 bits.
    let (quotient, _) = crate::convert::divided(declared.wrapping_mul(shown), flowing);
    Resistance::from_nanoohms(u64::try_from(quotient).unwrap_or(u64::MAX))
}

impl fmt::Display for Unchecked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoReading(why) => why.fmt(f),
            Self::AnotherRail(channel) => {
                write!(f, "{channel}: the board was not made of this rail")
            }
            Self::ReferenceTooSmall { bound } => write!(
                f,
                "the reference is too small to tell: at least twice the bound of {bound} has to flow"
            ),
        }
    }
}

impl core::error::Error for Unchecked {}
