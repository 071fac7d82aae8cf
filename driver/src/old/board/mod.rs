//! The board around the part: sense resistors, what is known of the loads, and the correction by calibration.

pub(crate) mod limits;
mod load;
mod rail;
mod reading;
mod shunt;

pub use load::{Edges, Flow, Load};
pub use rail::{Correction, Gain, Rail, Zero};
pub use shunt::Shunt;

use core::fmt;

use crate::old::Channel;
use crate::old::part::Spec;
use crate::units::Tolerance;

/// A board with `N` rails, one per channel of the part, from channel 0 up.
///
/// Constant data: where the board is known at compile time it lives in flash.
///
/// ```
/// use crake::old::board::{Board, Load, Rail, Shunt};
/// use crake::old::part::corncrake;
/// use crake::old::units::{Current, Resistance, Tolerance};
///
/// const LOGIC: Rail = Rail::new(
///     Shunt::new(Resistance::from_milliohms(500), Tolerance::from_ppm(5_000)),
///     Load::smooth(Current::from_milliamps(40)),
/// );
/// static BOARD: Board<1> = match Board::new(&corncrake::SPEC, [LOGIC]) {
///     Ok(board) => board,
///     Err(_) => panic!("a sense resistor of this board lies outside what the part can be used with"),
/// };
/// assert_eq!(BOARD.serial(), 0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Board<const N: usize> {
    rails: [Rail; N],
    serial: u32,
    clock: Tolerance,
    revision: u32,
}

/// A board that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum BoardError {
    /// More rails than the part has channels.
    TooManyRails,
    /// A sense resistor below 100 µΩ or above 10 Ω.
    Resistance(Channel),
    /// A correction so large that the result would not fit; no calibration gives one.
    Correction(Channel),
}

impl<const N: usize> Board<N> {
    /// A board whose rails hang on a part of this kind, host clock good to 100 ppm, serial number 0.
    ///
    /// # Errors
    /// Names the first rail that cannot be.
    pub const fn new(spec: &Spec, mut rails: [Rail; N]) -> Result<Self, BoardError> {
        if N > spec.channels as usize {
            return Err(BoardError::TooManyRails);
        }
        let mut rest: &mut [Rail] = &mut rails;
        let mut number = 0_u8;
        while let Some((rail, others)) = rest.split_first_mut() {
            if let Err(error) = rail.prepare(spec, Channel::new(number)) {
                return Err(error);
            }
            rest = others;
            number = number.wrapping_add(1); // below the part's number of channels
        }
        Ok(Self {
            rails,
            serial: 0,
            clock: Tolerance::from_ppm(100),
            revision: 0,
        })
    }

    /// The same board with a serial number, which ties calibration records to it.
    #[must_use]
    pub const fn with_serial(mut self, serial: u32) -> Self {
        self.serial = serial;
        self
    }

    /// The same board with a host clock whose rate is off by at most `error`.
    #[must_use]
    pub const fn with_clock(mut self, error: Tolerance) -> Self {
        self.clock = error;
        self
    }

    /// The same board with one rail corrected; ledgers see that it is another.
    ///
    /// # Errors
    /// `Correction` if the correction is beyond anything a calibration gives, or there is no such rail.
    pub const fn corrected(
        mut self,
        spec: &Spec,
        channel: Channel,
        correction: Correction,
    ) -> Result<Self, BoardError> {
        let (_, rest) = match self.rails.split_at_mut_checked(channel.index()) {
            Some(split) => split,
            None => return Err(BoardError::Correction(channel)),
        };
        let Some((rail, _)) = rest.split_first_mut() else {
            return Err(BoardError::Correction(channel));
        };
        rail.correction = correction;
        if let Err(error) = rail.prepare(spec, channel) {
            return Err(error);
        }
        self.revision = self.revision.wrapping_add(1);
        Ok(self)
    }

    /// Its rails, from channel 0 up.
    #[must_use]
    pub const fn rails(&self) -> &[Rail; N] {
        &self.rails
    }

    /// The rail on a channel; `None` where there is none.
    #[must_use]
    pub fn rail(&self, channel: Channel) -> Option<&Rail> {
        self.rails.get(channel.index())
    }

    /// Its serial number.
    #[must_use]
    pub const fn serial(&self) -> u32 {
        self.serial
    }

    /// Greatest error of the host clock's rate, in either direction.
    #[must_use]
    pub const fn clock(&self) -> Tolerance {
        self.clock
    }

    /// Counts the corrections since [`new`](Self::new): two boards that convert alike have the same.
    #[must_use]
    pub const fn revision(&self) -> u32 {
        self.revision
    }
}

impl fmt::Display for BoardError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooManyRails => f.write_str("more rails than the part has channels"),
            Self::Resistance(channel) => write!(
                f,
                "{channel}: a sense resistor must lie between 100 µΩ and 10 Ω"
            ),
            Self::Correction(channel) => write!(
                f,
                "{channel}: no such rail, or a correction out of all proportion"
            ),
        }
    }
}

impl core::error::Error for BoardError {}
