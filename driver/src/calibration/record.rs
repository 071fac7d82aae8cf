use core::fmt;

use crate::Channel;
use crate::board::{Board, Correction, Gain, Offset, Rail};
use crate::config::ConfigError;
use crate::crc::Crc16;
use crate::info::PartInfo;
use crate::units::{Temperature, Tolerance, Voltage};

/// The corrections of a board as they are kept in an EEPROM or a file: of which board, and how warm
/// it was.
///
/// Bytes that were found to be a record; the format is docs/calibration-record.md, version 2.
///
/// ```
/// use crake::Channel;
/// use crake::board::{Correction, Rail, SenseResistor};
/// use crake::calibration::Record;
/// use crake::part::corncrake::{Corncrake, INFO};
/// use crake::units::{Resistance, Temperature, Tolerance, Voltage};
///
/// let rail = Rail::new(SenseResistor::new(
///     Resistance::from_milliohms(500),
///     Tolerance::from_ppm(5_000),
/// ));
/// let board = Corncrake::board(&[rail]).with_serial(1207);
///
/// // At the factory.
/// let correction =
///     Correction { offset_bound: Some(Voltage::from_nanovolts(122)), ..Correction::NONE };
/// let bytes = Record::write(1207, &[rail.corrected(correction)], Temperature::from_celsius(23))?;
///
/// // In the field.
/// let (board, rails) = Record::read(&bytes)?.apply(&INFO, &board, &[rail])?;
/// assert_eq!(rails[0].correction(), &correction);
/// assert_eq!(board.revision(), 1);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Record<'b>(&'b [u8; LEN]);

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
        /// Found behind them.
        got: u16,
    },
    /// A field is beyond what the format allows, or what it can hold.
    Field {
        /// Its place in the record.
        offset: usize,
    },
    /// The record of another board.
    Board {
        /// Serial number in the record.
        record: u32,
        /// Serial number of the board.
        board: u32,
    },
    /// Another number of channels, or more than a record holds.
    Channels {
        /// Channels of the record; of a new one, how many it can hold.
        record: u8,
        /// Rails of the board.
        board: usize,
    },
    /// The part has no such sense range.
    SenseRange(Channel),
    /// The board cannot be used with such a correction.
    Config(ConfigError),
}

const LEN: usize = 178;
const MARK: [u8; 2] = *b"CR";
const VERSION: u8 = 2;
const CHANNELS_MAX: u8 = 8;
/// Greatest distance of the board's temperature from 0 °C, in thousandths of a degree.
const MILLICELSIUS_MAX: u32 = 273_150;
const OFFSET_KNOWN: u8 = 1;
const GAIN_KNOWN: u8 = 2;
/// Sense range that is not known.
const NO_RANGE: u8 = 0xFF;

/// Places of the fields; those of an entry from its beginning on.
const CHANNELS: usize = 3;
const SERIAL: usize = 4;
const TEMPERATURE: usize = 8;
const UNUSED: usize = 12;
const ENTRIES: usize = 16;
const ENTRY: usize = 20;
const CHECK: usize = 176;
const FLAGS: usize = 0;
const ENTRY_UNUSED: usize = 2;
const OFFSET: usize = 4;
const OFFSET_BOUND: usize = 8;
const GAIN: usize = 12;
const GAIN_BOUND: usize = 16;

impl Record<'_> {
    /// Length in bytes, whatever the number of channels.
    pub const LEN: usize = LEN;

    /// The bytes of a record of these rails' corrections.
    ///
    /// # Errors
    /// `Channels` for more than eight rails; `Field` if the temperature or a correction does not
    /// fit: ±273.15 °C, bounds of 0 to 4.29 V, gains above 0.
    pub fn write<const N: usize>(
        serial: u32,
        rails: &[Rail; N],
        temperature: Temperature,
    ) -> Result<[u8; LEN], RecordError> {
        let channels = N as u8;
        if N > usize::from(CHANNELS_MAX) {
            return Err(RecordError::Channels {
                record: CHANNELS_MAX,
                board: N,
            });
        }
        let mut bytes = [0; LEN];
        let [m0, m1] = MARK;
        put(&mut bytes, 0, [m0, m1, VERSION, channels]);
        put(&mut bytes, SERIAL, serial.to_be_bytes());
        let millicelsius = temperature.as_millicelsius();
        put(&mut bytes, TEMPERATURE, millicelsius.to_be_bytes());
        for (at, rail) in (ENTRIES..).step_by(ENTRY).zip(rails) {
            put_correction(&mut bytes, at, rail.correction());
        }
        let check = check_of(&bytes);
        put(&mut bytes, CHECK, check.to_be_bytes());
        // What does not come back is not written.
        let record = Record::read(&bytes)?;
        for (channel, rail) in Channel::first(channels).zip(rails) {
            if record.correction(channel).as_ref() != Some(rail.correction()) {
                let offset = entry(channel);
                return Err(RecordError::Field { offset });
            }
        }
        Ok(bytes)
    }

    /// Bytes as a record.
    ///
    /// # Errors
    /// `Length`, `Mark`, `Version`, `Check`, then `Field`, each before what follows is looked at.
    pub fn read(bytes: &[u8]) -> Result<Record<'_>, RecordError> {
        let length = RecordError::Length(bytes.len());
        let bytes: &[u8; LEN] = bytes.try_into().map_err(|_| length)?;
        let [m0, m1, version, channels] = field(bytes, 0);
        if [m0, m1] != MARK {
            return Err(RecordError::Mark);
        }
        if version != VERSION {
            return Err(RecordError::Version(version));
        }
        let (expected, got) = (check_of(bytes), u16::from_be_bytes(field(bytes, CHECK)));
        if expected != got {
            return Err(RecordError::Check { expected, got });
        }
        let allowed = |holds: bool, offset| match holds {
            true => Ok(()),
            false => Err(RecordError::Field { offset }),
        };
        allowed(channels <= CHANNELS_MAX, CHANNELS)?;
        let record = Record(bytes);
        let millicelsius = record.temperature().as_millicelsius().unsigned_abs();
        allowed(millicelsius <= MILLICELSIUS_MAX, TEMPERATURE)?;
        allowed(field(bytes, UNUSED) == [0; 4], UNUSED)?;
        let end = entry(Channel::new(channels));
        for at in (ENTRIES..end).step_by(ENTRY) {
            let place = |offset: usize| at.wrapping_add(offset);
            let [flags] = field(bytes, place(FLAGS));
            let zero = |offset| field(bytes, place(offset)) == [0; 4];
            allowed(flags & !(OFFSET_KNOWN | GAIN_KNOWN) == 0, place(FLAGS))?;
            let unused = field(bytes, place(ENTRY_UNUSED));
            allowed(unused == [0; 2], place(ENTRY_UNUSED))?;
            let gain = i32::from_be_bytes(field(bytes, place(GAIN)));
            allowed(gain > 0, place(GAIN))?;
            let known = |flag, bound| flags & flag != 0 || zero(bound);
            allowed(known(OFFSET_KNOWN, OFFSET_BOUND), place(OFFSET_BOUND))?;
            allowed(known(GAIN_KNOWN, GAIN_BOUND), place(GAIN_BOUND))?;
        }
        let rest = bytes.get(end..CHECK).unwrap_or_default();
        allowed(rest.iter().all(|byte| *byte == 0), end)?;
        Ok(record)
    }

    /// Serial number of its board.
    #[must_use]
    pub fn serial(&self) -> u32 {
        u32::from_be_bytes(field(self.0, SERIAL))
    }

    /// The board's temperature at its calibration.
    #[must_use]
    pub fn temperature(&self) -> Temperature {
        Temperature::from_millicelsius(i32::from_be_bytes(field(self.0, TEMPERATURE)))
    }

    /// Number of channels.
    #[must_use]
    pub fn channels(&self) -> u8 {
        let [channels] = field(self.0, CHANNELS);
        channels
    }

    /// Correction of a channel; `None` where the record has no such channel.
    #[must_use]
    pub fn correction(&self, channel: Channel) -> Option<Correction> {
        if channel.number() >= self.channels() {
            return None;
        }
        let at = entry(channel);
        let number = |offset: usize| -> [u8; 4] { field(self.0, at.wrapping_add(offset)) };
        let [flags, range, ..] = number(FLAGS);
        let offset_bound = u32::from_be_bytes(number(OFFSET_BOUND));
        let gain_bound = u32::from_be_bytes(number(GAIN_BOUND));
        Some(Correction {
            offset: Offset::from_bits(i32::from_be_bytes(number(OFFSET))),
            gain: Gain::from_bits(i32::from_be_bytes(number(GAIN))),
            offset_bound: (flags & OFFSET_KNOWN != 0)
                .then(|| Voltage::from_nanovolts(offset_bound.into())),
            gain_bound: (flags & GAIN_KNOWN != 0).then(|| Tolerance::from_ppm(gain_bound)),
            gain_range: (range != NO_RANGE).then_some(range),
        })
    }

    /// The board as it was made, and the rails that it was made of, corrected as the record has it.
    ///
    /// # Errors
    /// `Board` or `Channels` if it is the record of another; `SenseRange` and `Config` if a
    /// correction cannot be, for one because the board has one already.
    pub fn apply<const N: usize>(
        &self,
        info: &PartInfo,
        board: &Board<N>,
        rails: &[Rail; N],
    ) -> Result<(Board<N>, [Rail; N]), RecordError> {
        if board.serial() != self.serial() {
            return Err(RecordError::Board {
                record: self.serial(),
                board: board.serial(),
            });
        }
        if N != usize::from(self.channels()) {
            return Err(RecordError::Channels {
                record: self.channels(),
                board: N,
            });
        }
        let (mut board, mut rails) = (*board, *rails);
        for (channel, rail) in Channel::first(self.channels()).zip(&mut rails) {
            let correction = self.correction(channel).unwrap_or(Correction::NONE);
            let place = correction.gain_range.map(usize::from);
            if place.is_some_and(|place| place >= info.sense_ranges.len()) {
                return Err(RecordError::SenseRange(channel));
            }
            board = board.corrected(channel, &correction);
            *rail = rail.corrected(correction);
        }
        board.check(info).map_err(RecordError::Config)?;
        Ok((board, rails))
    }
}

impl fmt::Display for RecordError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length(bytes) => write!(f, "{bytes} bytes; a record has {LEN}"),
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
            Self::SenseRange(channel) => {
                write!(f, "{channel}: the part has no sense range as in the record")
            }
            Self::Config(error) => error.fmt(f),
        }
    }
}

impl core::error::Error for RecordError {
    fn source(&self) -> Option<&(dyn core::error::Error + 'static)> {
        match self {
            Self::Config(error) => Some(error),
            _ => None,
        }
    }
}

/// Where a channel's entry begins.
const fn entry(channel: Channel) -> usize {
    channel.index().wrapping_mul(ENTRY).wrapping_add(ENTRIES)
}

fn put_correction(bytes: &mut [u8; LEN], at: usize, correction: &Correction) {
    let mut flags = 0;
    if correction.offset_bound.is_some() {
        flags |= OFFSET_KNOWN;
    }
    if correction.gain_bound.is_some() {
        flags |= GAIN_KNOWN;
    }
    let offset_bound = correction.offset_bound.unwrap_or_default().as_nanovolts();
    let offset_bound = u32::try_from(offset_bound).unwrap_or(u32::MAX);
    let gain_bound = correction.gain_bound.unwrap_or_default().as_ppm();
    let range = correction.gain_range.unwrap_or(NO_RANGE);
    let mut entry = |offset: usize, number: [u8; 4]| put(bytes, at.wrapping_add(offset), number);
    entry(FLAGS, [flags, range, 0, 0]);
    entry(OFFSET, correction.offset.to_bits().to_be_bytes());
    entry(OFFSET_BOUND, offset_bound.to_be_bytes());
    entry(GAIN, correction.gain.to_bits().to_be_bytes());
    entry(GAIN_BOUND, gain_bound.to_be_bytes());
}

fn check_of(bytes: &[u8; LEN]) -> u16 {
    let mut crc = Crc16::new();
    crc.add_all(bytes.split_at(CHECK).0);
    crc.value()
}

/// `K` bytes at a place; every place asked for is in the record.
fn field<const K: usize>(bytes: &[u8; LEN], at: usize) -> [u8; K] {
    let chunk = bytes.get(at..).and_then(|bytes| bytes.first_chunk());
    *chunk.unwrap_or(&[0; K])
}

fn put<const K: usize>(bytes: &mut [u8; LEN], at: usize, number: [u8; K]) {
    if let Some(place) = bytes
        .get_mut(at..)
        .and_then(|bytes| bytes.first_chunk_mut())
    {
        *place = number;
    }
}
