//! A record in bytes: docs/calibration-record.md, version 1.

use super::record::CHANNELS_MAX;
use super::{Date, Record, RecordError};
use crate::crc::Crc16;
use crate::old::board::{Correction, Gain, Zero};
use crate::old::part::SenseRange;
use crate::units::{Temperature, Tolerance, Voltage};

const MARK: [u8; 2] = *b"CR";
const VERSION: u8 = 1;
/// Greatest distance of the board's temperature from 0 °C, in thousandths of a degree.
const MILLICELSIUS_MAX: u32 = 273_150;
const ZERO_KNOWN: u8 = 1;
const GAIN_KNOWN: u8 = 2;
/// Sense range that is not known.
const NO_RANGE: u8 = 0xFF;

/// Offsets of the fields.
const CHANNELS: u8 = 3;
const DATE: u8 = 8;
const TEMPERATURE: u8 = 12;
pub(super) const ENTRIES: u8 = 16;
const ENTRY: u8 = 20;

impl Record {
    /// Length in bytes.
    pub const LEN: usize = 178;

    /// As bytes.
    #[must_use]
    pub fn to_bytes(&self) -> [u8; Self::LEN] {
        let mut bytes = [0; Self::LEN];
        let mut writer = Writer(&mut bytes);
        writer.put(MARK);
        writer.put([VERSION, self.channels]);
        writer.put(self.serial.to_be_bytes());
        writer.put(self.date.year().to_be_bytes());
        writer.put([self.date.month(), self.date.day()]);
        writer.put(self.temperature.as_millicelsius().to_be_bytes());
        for correction in self.corrections.iter().take(usize::from(self.channels)) {
            put_correction(&mut writer, correction);
        }
        let (content, check) = bytes.split_at_mut(Self::LEN.saturating_sub(2));
        Writer(check).put(check_of(content).to_be_bytes());
        bytes
    }

    /// From bytes.
    ///
    /// # Errors
    /// `Length`, `Mark`, `Version`, `Check`, then `Field`, each before what follows is looked at: only bytes that `to_bytes` can have written are taken.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, RecordError> {
        let bytes: &[u8; Self::LEN] = bytes
            .try_into()
            .map_err(|_| RecordError::Length(bytes.len()))?;
        let (content, check) = bytes.split_at(Self::LEN.saturating_sub(2));
        let mut reader = Reader(content);
        if reader.take() != MARK {
            return Err(RecordError::Mark);
        }
        let [version, channels] = reader.take();
        if version != VERSION {
            return Err(RecordError::Version(version));
        }
        let (expected, got) = (check_of(content), u16::from_be_bytes(Reader(check).take()));
        if expected != got {
            return Err(RecordError::Check { expected, got });
        }
        if usize::from(channels) > CHANNELS_MAX {
            return Err(RecordError::Field { offset: CHANNELS });
        }
        let serial = u32::from_be_bytes(reader.take());
        let year = u16::from_be_bytes(reader.take());
        let [month, day] = reader.take();
        let date = Date::new(year, month, day).ok_or(RecordError::Field { offset: DATE })?;
        let millicelsius = i32::from_be_bytes(reader.take());
        if millicelsius.unsigned_abs() > MILLICELSIUS_MAX {
            return Err(RecordError::Field {
                offset: TEMPERATURE,
            });
        }
        let mut corrections = [Correction::NONE; CHANNELS_MAX];
        let mut offset = ENTRIES;
        for correction in corrections.iter_mut().take(usize::from(channels)) {
            *correction = take_correction(&mut reader, offset)?;
            offset = offset.saturating_add(ENTRY);
        }
        if reader.0.iter().any(|&byte| byte != 0) {
            return Err(RecordError::Field { offset });
        }
        Ok(Self {
            serial,
            date,
            temperature: Temperature::from_millicelsius(millicelsius),
            channels,
            corrections,
        })
    }
}

fn put_correction(writer: &mut Writer<'_>, correction: &Correction) {
    let mut flags = 0;
    if correction.zero_bound.is_some() {
        flags |= ZERO_KNOWN;
    }
    if correction.gain_bound.is_some() {
        flags |= GAIN_KNOWN;
    }
    let zero_bound_nv = correction.zero_bound.map_or(0, |bound| {
        u32::try_from(bound.as_nanovolts()).unwrap_or(u32::MAX)
    });
    let range = correction.gain_range.map_or(NO_RANGE, |range| range.0);
    writer.put([flags, range, 0, 0]);
    writer.put(correction.zero.to_bits().to_be_bytes());
    writer.put(zero_bound_nv.to_be_bytes());
    writer.put(correction.gain.to_bits().to_be_bytes());
    let gain_bound = correction.gain_bound.unwrap_or_default();
    writer.put(gain_bound.as_ppm().to_be_bytes());
}

fn take_correction(reader: &mut Reader<'_>, offset: u8) -> Result<Correction, RecordError> {
    let wrong = |at: u8| RecordError::Field {
        offset: offset.saturating_add(at),
    };
    let [flags, range, spare @ ..] = reader.take::<4>();
    let zero = i32::from_be_bytes(reader.take());
    let zero_bound_nv = u32::from_be_bytes(reader.take());
    let gain = i32::from_be_bytes(reader.take());
    let gain_bound_ppm = u32::from_be_bytes(reader.take());
    if flags & !(ZERO_KNOWN | GAIN_KNOWN) != 0 {
        return Err(wrong(0));
    }
    if spare != [0; 2] {
        return Err(wrong(2));
    }
    if gain <= 0 {
        return Err(wrong(12));
    }
    let (zero_known, gain_known) = (flags & ZERO_KNOWN != 0, flags & GAIN_KNOWN != 0);
    if !zero_known && zero_bound_nv != 0 {
        return Err(wrong(8));
    }
    if !gain_known && gain_bound_ppm != 0 {
        return Err(wrong(16));
    }
    Ok(Correction {
        zero: Zero::from_bits(zero),
        gain: Gain::from_bits(gain),
        zero_bound: zero_known.then(|| Voltage::from_nanovolts(i64::from(zero_bound_nv))),
        gain_bound: gain_known.then(|| Tolerance::from_ppm(gain_bound_ppm)),
        gain_range: (range != NO_RANGE).then_some(SenseRange(range)),
    })
}

fn check_of(content: &[u8]) -> u16 {
    let mut crc = Crc16::new();
    crc.add_all(content);
    crc.value()
}

/// What is left to be written.
struct Writer<'a>(&'a mut [u8]);

impl Writer<'_> {
    /// Writes bytes and goes on behind them. The fields of a record fill it exactly or in part, so that nothing is cut off.
    fn put<const W: usize>(&mut self, field: [u8; W]) {
        if let Some((room, rest)) = core::mem::take(&mut self.0).split_first_chunk_mut() {
            *room = field;
            self.0 = rest;
        }
    }
}

/// What is left to be read.
struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    /// The next bytes; zeros beyond the end.
    fn take<const W: usize>(&mut self) -> [u8; W] {
        match self.0.split_first_chunk() {
            Some((&field, rest)) => {
                self.0 = rest;
                field
            }
            None => [0; W],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::old::Channel;
    use crate::old::board::{Board, BoardError, Load, Rail, Shunt};
    use crate::old::part::corncrake::{SENSE_26_MV, SPEC};
    use crate::units::{Current, Resistance};

    /// The used part of the record in docs/calibration-record.md; 120 zeros and the check value 0x3CC2 follow. Made in Python from the document's table:
    /// `struct.pack('>2sBBIHBBi', b'CR', 1, 2, 1207, 2031, 4, 9, 23500)`, then `struct.pack('>BB2xiIiI', ...)` for either channel, `.ljust(176, b'\0')`, and
    /// `crcmod.mkCrcFun(0x11021, initCrc=0, rev=False, xorOut=0xFFFF)`, which gives 0xD64E for "123456789".
    const GOLDEN: [u8; 56] = [
        0x43, 0x52, 0x01, 0x02, 0x00, 0x00, 0x04, 0xB7, 0x07, 0xEF, 0x04, 0x09, 0x00, 0x00, 0x5B,
        0xCC, 0x03, 0x01, 0x00, 0x00, 0x00, 0x18, 0x1C, 0xCD, 0x00, 0x00, 0x00, 0x7A, 0x3F, 0xCE,
        0xFE, 0xB9, 0x00, 0x00, 0x00, 0x73, 0x01, 0xFF, 0x00, 0x00, 0xFF, 0xFF, 0x9C, 0x00, 0x00,
        0x00, 0x00, 0x7B, 0x40, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00,
    ];
    const GOLDEN_CHECK: u16 = 0x3CC2;

    fn golden() -> [u8; Record::LEN] {
        let mut bytes = [0; Record::LEN];
        bytes[..GOLDEN.len()].copy_from_slice(&GOLDEN);
        bytes[176..].copy_from_slice(&GOLDEN_CHECK.to_be_bytes());
        bytes
    }

    fn first() -> Correction {
        Correction {
            zero: Zero::from_bits(1_580_237),
            zero_bound: Some(Voltage::from_nanovolts(122)),
            gain: Gain::from_bits(1_070_530_233),
            gain_bound: Some(Tolerance::from_ppm(115)),
            gain_range: Some(SENSE_26_MV),
        }
    }

    fn second() -> Correction {
        Correction {
            zero: Zero::from_bits(-25_600),
            zero_bound: Some(Voltage::from_nanovolts(123)),
            ..Correction::NONE
        }
    }

    fn bare<const N: usize>() -> Board<N> {
        let shunt = Shunt::new(Resistance::from_ohms(1), Tolerance::from_ppm(5_000));
        let rail = Rail::new(shunt, Load::smooth(Current::from_milliamps(26)));
        Board::new(&SPEC, [rail; N]).unwrap().with_serial(1207)
    }

    fn calibrated() -> Board<2> {
        let board = bare::<2>().corrected(&SPEC, Channel::C0, first()).unwrap();
        board.corrected(&SPEC, Channel::C1, second()).unwrap()
    }

    fn record_of<const N: usize>(board: &Board<N>) -> Result<Record, RecordError> {
        let date = Date::new(2031, 4, 9).unwrap();
        Record::of(board, date, Temperature::from_millicelsius(23_500))
    }

    /// A record whose check value is right whatever was done to it.
    fn tampered(change: impl Fn(&mut [u8])) -> Result<Record, RecordError> {
        let mut bytes = golden();
        change(&mut bytes);
        let (content, check) = bytes.split_at_mut(176);
        check.copy_from_slice(&check_of(content).to_be_bytes());
        Record::from_bytes(&bytes)
    }

    #[test]
    fn a_record_worked_out_elsewhere() {
        assert_eq!(record_of(&calibrated()).unwrap().to_bytes(), golden());
        let record = Record::from_bytes(&golden()).unwrap();
        assert_eq!((record.serial(), record.channels()), (1207, 2));
        assert_eq!(Some(record.date()), Date::new(2031, 4, 9));
        assert_eq!(record.temperature(), Temperature::from_millicelsius(23_500));
        assert_eq!(record.correction(Channel::C0), Some(&first()));
        assert_eq!(record.correction(Channel::C1), Some(&second()));
        assert_eq!(record.correction(Channel::C2), None);
    }

    #[test]
    fn a_board_comes_back_as_it_was() {
        let record = record_of(&calibrated()).unwrap();
        let applied = record.apply(&bare::<2>(), &SPEC).unwrap();
        assert_eq!(applied.rails(), calibrated().rails());
        // A rail without calibration in the record has none afterwards.
        let none = record_of(&bare::<2>()).unwrap();
        let applied = none.apply(&calibrated(), &SPEC).unwrap();
        assert_eq!(applied.rails(), bare::<2>().rails());
    }

    #[test]
    fn every_flipped_bit_is_found() {
        for bit in 0..8 * Record::LEN {
            let mut bytes = golden();
            bytes[bit / 8] ^= 1 << (bit % 8);
            let refused = Record::from_bytes(&bytes).unwrap_err();
            match bit / 8 {
                0 | 1 => assert_eq!(refused, RecordError::Mark),
                2 => assert_eq!(refused, RecordError::Version(bytes[2])),
                _ => assert!(matches!(refused, RecordError::Check { .. }), "bit {bit}"),
            }
        }
    }

    #[test]
    fn other_lengths_are_refused() {
        for length in [0, 1, Record::LEN - 1] {
            assert_eq!(
                Record::from_bytes(&golden()[..length]),
                Err(RecordError::Length(length))
            );
        }
        let long = [0; Record::LEN + 1];
        assert_eq!(Record::from_bytes(&long), Err(RecordError::Length(179)));
    }

    #[test]
    fn fields_out_of_range_are_refused_where_they_stand() {
        let put = |at: usize, bytes: &'static [u8]| {
            tampered(|record| record[at..at + bytes.len()].copy_from_slice(bytes))
        };
        let wrong = |offset| Err(RecordError::Field { offset });
        assert_eq!(put(3, &[9]), wrong(3)); // channels
        assert_eq!(put(10, &[13]), wrong(8)); // month
        assert_eq!(put(12, &[0xFF; 4]).map(|record| record.channels()), Ok(2)); // −0.001 °C
        assert_eq!(put(12, &[0, 4, 0x2A, 0xFF]), wrong(12)); // 273.151 °C
        assert_eq!(put(12, &[0x80, 0, 0, 0]), wrong(12));
        assert_eq!(put(16, &[4]), wrong(16)); // flags
        assert_eq!(put(18, &[1]), wrong(18));
        assert_eq!(put(28, &[0xBF]), wrong(28)); // gain below zero
        assert_eq!(put(28, &[0; 4]), wrong(28));
        assert_eq!(put(36, &[0]), wrong(44)); // bound of a zero that is not known
        assert_eq!(put(55, &[1]), wrong(52)); // bound of a gain that is not known
        assert_eq!(put(56, &[1]), wrong(56)); // behind the last channel
        assert_eq!(put(175, &[1]), wrong(56));
    }

    #[test]
    fn a_record_goes_with_its_own_board_alone() {
        let record = record_of(&calibrated()).unwrap();
        assert_eq!(
            record.apply(&bare::<2>().with_serial(1208), &SPEC),
            Err(RecordError::Board {
                record: 1207,
                board: 1208
            })
        );
        assert_eq!(
            record.apply(&bare::<3>(), &SPEC),
            Err(RecordError::Channels {
                record: 2,
                board: 3
            })
        );
        // Corncrake has sense ranges 0 and 1.
        let record = tampered(|record| record[17] = 2).unwrap();
        assert_eq!(
            record.apply(&bare::<2>(), &SPEC),
            Err(RecordError::Correction(BoardError::Correction(Channel::C0)))
        );
    }

    #[test]
    fn what_a_record_cannot_hold_is_not_written() {
        let correction = Correction {
            zero_bound: Some(Voltage::from_volts(5)),
            ..Correction::NONE
        };
        let board = bare::<2>()
            .corrected(&SPEC, Channel::C1, correction)
            .unwrap();
        assert!(matches!(record_of(&board), Err(RecordError::Field { .. })));
        let date = Date::new(2031, 4, 9).unwrap();
        assert_eq!(
            Record::of(&bare::<2>(), date, Temperature::from_celsius(1_000)),
            Err(RecordError::Field { offset: 12 })
        );
    }
}
