use core::fmt;

use super::Date;
use crate::old::Channel;
use crate::old::board::{Board, BoardError, Correction};
use crate::old::part::Spec;
use crate::units::Temperature;

/// The corrections of a board, as they are kept in an EEPROM or a file: of which board, when, and how warm it was.
///
/// In bytes it is [`LEN`](Self::LEN) long whatever the number of channels; the format is that of docs/calibration-record.md, version 1.
///
/// ```
/// use crake::old::Channel;
/// use crake::old::board::{Board, Correction, Load, Rail, Shunt};
/// use crake::old::calibration::{Date, Record};
/// use crake::old::part::corncrake::SPEC;
/// use crake::old::units::{Current, Resistance, Temperature, Tolerance, Voltage};
///
/// let rail = Rail::new(
///     Shunt::new(Resistance::from_milliohms(500), Tolerance::from_ppm(5_000)),
///     Load::smooth(Current::from_milliamps(40)),
/// );
/// let board = Board::new(&SPEC, [rail])?.with_serial(1207);
///
/// // At the factory.
/// let correction = Correction { zero_bound: Some(Voltage::from_nanovolts(122)), ..Correction::NONE };
/// let calibrated = board.corrected(&SPEC, Channel::C0, correction)?;
/// let date = Date::new(2031, 4, 9).ok_or("no such day")?;
/// let bytes = Record::of(&calibrated, date, Temperature::from_celsius(23))?.to_bytes();
///
/// // In the field.
/// let board = Record::from_bytes(&bytes)?.apply(&board, &SPEC)?;
/// assert_eq!(board.rails(), calibrated.rails());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Record {
    pub(super) serial: u32,
    pub(super) date: Date,
    pub(super) temperature: Temperature,
    pub(super) channels: u8,
    pub(super) corrections: [Correction; CHANNELS_MAX],
}

/// Why bytes are no record, or a record does not fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum RecordError {
    /// Not [`Record::LEN`] bytes.
    Length(usize),
    /// The bytes do not begin as a record does.
    Mark,
    /// A version that this driver does not know.
    Version(u8),
    /// The check value is not that of the bytes: they were damaged.
    Check {
        /// Worked out over the bytes.
        expected: u16,
        /// As it stands there.
        got: u16,
    },
    /// A field outside its range.
    Field {
        /// Offset of its first byte.
        offset: u8,
    },
    /// A record of another board.
    Board {
        /// Serial number in the record.
        record: u32,
        /// The board's own.
        board: u32,
    },
    /// Another number of channels, or more than a record holds.
    Channels {
        /// Channels of the record; of a new one, how many it can hold.
        record: u8,
        /// Rails of the board.
        board: usize,
    },
    /// The board refuses a correction, or the part has no such sense range.
    Correction(BoardError),
}

/// Channels that a record has room for.
pub(super) const CHANNELS_MAX: usize = 8;

impl Record {
    /// The corrections that a board has.
    ///
    /// # Errors
    /// `Channels` if the board has more than eight rails; `Field` if temperature or a bound does not fit: ±273.15 °C, 0 to 4.29 V.
    pub fn of<const N: usize>(
        board: &Board<N>,
        date: Date,
        temperature: Temperature,
    ) -> Result<Self, RecordError> {
        let channels = u8::try_from(N).unwrap_or(u8::MAX);
        let mut corrections = [Correction::NONE; CHANNELS_MAX];
        if N > CHANNELS_MAX {
            return Err(RecordError::Channels {
                record: CHANNELS_MAX as u8,
                board: N,
            });
        }
        for (correction, rail) in corrections.iter_mut().zip(board.rails()) {
            *correction = *rail.correction();
        }
        let record = Self {
            serial: board.serial(),
            date,
            temperature,
            channels,
            corrections,
        };
        // What does not come back is not written.
        match Self::from_bytes(&record.to_bytes()) {
            Ok(read) if read == record => Ok(record),
            Ok(_) => Err(RecordError::Field {
                offset: super::format::ENTRIES,
            }),
            Err(error) => Err(error),
        }
    }

    /// Serial number of its board.
    #[must_use]
    pub const fn serial(&self) -> u32 {
        self.serial
    }

    /// When the calibration was made.
    #[must_use]
    pub const fn date(&self) -> Date {
        self.date
    }

    /// The board's temperature then.
    #[must_use]
    pub const fn temperature(&self) -> Temperature {
        self.temperature
    }

    /// Number of channels.
    #[must_use]
    pub const fn channels(&self) -> u8 {
        self.channels
    }

    /// Correction of a channel; `None` where the record has no such channel.
    #[must_use]
    pub fn correction(&self, channel: Channel) -> Option<&Correction> {
        self.corrections
            .get(channel.index())
            .filter(|_| channel.number() < self.channels)
    }

    /// The board with all its rails corrected as the record has it; a channel without calibration has none afterwards.
    ///
    /// # Errors
    /// `Board` or `Channels` if it is the record of another; `Correction` if a correction cannot be.
    pub fn apply<const N: usize>(
        &self,
        board: &Board<N>,
        spec: &Spec,
    ) -> Result<Board<N>, RecordError> {
        if board.serial() != self.serial {
            return Err(RecordError::Board {
                record: self.serial,
                board: board.serial(),
            });
        }
        if N != usize::from(self.channels) {
            return Err(RecordError::Channels {
                record: self.channels,
                board: N,
            });
        }
        Channel::first(self.channels)
            .zip(self.corrections)
            .try_fold(*board, |board, (channel, correction)| {
                let known = |range| spec.sense_range(range).is_some();
                if !correction.gain_range.is_none_or(known) {
                    return Err(RecordError::Correction(BoardError::Correction(channel)));
                }
                board
                    .corrected(spec, channel, correction)
                    .map_err(RecordError::Correction)
            })
    }
}

impl fmt::Display for RecordError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length(bytes) => write!(f, "{bytes} bytes; a record has {}", Record::LEN),
            Self::Mark => f.write_str("no calibration record"),
            Self::Version(version) => write!(f, "record version {version} is not known"),
            Self::Check { expected, got } => write!(
                f,
                "check value 0x{got:04X} where the bytes have 0x{expected:04X}"
            ),
            Self::Field { offset } => write!(f, "the field at offset {offset} is out of range"),
            Self::Board { record, board } => {
                write!(f, "a record of board {record}, and this is board {board}")
            }
            Self::Channels { record, board } => write!(
                f,
                "a record for {record} channels, and the board has {board} rails"
            ),
            Self::Correction(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for RecordError {
    fn source(&self) -> Option<&(dyn core::error::Error + 'static)> {
        match self {
            Self::Correction(error) => Some(error),
            _ => None,
        }
    }
}
