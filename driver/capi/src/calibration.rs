use crake::Channel;
use crake::board::{Correction as DriverCorrection, Gain, Offset, Rail};
use crake::calibration::{Collection as DriverCollection, Point, Record, gain, line, offset};
use crake::part::corncrake::INFO;
use crake::units::{Current, Temperature, Tolerance, Voltage};

use crate::*;

/// Length of a calibration record in bytes.
pub const RECORD_LEN: usize = 178;
const _: () = assert!(RECORD_LEN == Record::LEN);

/// Correction of one rail by calibration. All zero is none.
#[repr(C)]
pub struct Correction {
    /// Sense voltage that the part shows without current, in 256ths of a nanovolt.
    pub offset_256ths_nv: i32,
    /// True current over shown current, after the offset, in units of 2^-30; 0 counts as 1.
    pub gain_2e30: i32,
    /// How well the offset is known, in nanovolts in either direction.
    pub offset_bound_nv: u32,
    /// How well the gain is known, in ppm in either direction.
    pub gain_bound_ppm: u32,
    /// 1 if `offset_bound_nv` is known; 0: the part's own limit holds.
    pub offset_known: u8,
    /// 1 if `gain_bound_ppm` is known; 0: the limits of part and resistor hold.
    pub gain_known: u8,
    /// 1 if the gain was measured in sense range `gain_range`.
    pub gain_range_known: u8,
    /// Sense range of the gain: 0 for 65.536 mV, 1 for 26.2144 mV.
    pub gain_range: u8,
}

/// A current that is known better than the monitor shows it.
#[repr(C)]
pub struct Reference {
    /// What the reference says flowed, in nanoamperes, positive from source to load.
    pub current_na: i64,
    /// How far it may be off relative to itself, in ppm in either direction: a limit.
    pub uncertainty_ppm: u32,
}

/// Memory of a collection of scans: zero it, then `crake_collection_init`.
#[repr(C)]
pub struct Collection {
    words: [u64; 20],
}

/// What lives in a collection's memory.
pub struct Collected {
    channel: Channel,
    scans: DriverCollection,
}

calls! {
    /// Makes an empty collection of scans of one channel: what a calibration is made from.
    fn crake_collection_init(collection: new Collection, channel: value u8) {
        let channel = Channel::new(channel);
        collection.fill(Collected { channel, scans: DriverCollection::new(channel) })
    }

    /// Adds the scans up to the monitor's last sample, in continuous mode, best at the greatest
    /// scan rate, with range and load as they shall be measured: call it after each sample until
    /// `enough` is 1. The first one only says where counting begins.
    ///
    /// `NOT_COMPLETE`, `NOT_COUNTING`, `RECONFIGURED`, `CLIPPED`, `TOO_FAR_APART`: the collection
    /// is then empty, and the next sample begins anew.
    fn crake_collection_add(collection: live Collection, monitor: live Monitor, enough: wanted u8) {
        collection.scans.add(monitor.last())?;
        enough.write(collection.scans.is_enough().into())
    }

    /// Offset of a rail of `board`, from scans with the load disconnected. It holds in every sense
    /// range.
    ///
    /// `TOO_FEW`, `UNSTEADY`, `IMPLAUSIBLE_OFFSET`.
    fn crake_calibrate_offset(
        no_load: live Collection, board: fixed Board, correction: wanted Correction
    ) {
        correction.write(offset(&no_load.scans, no_load.rail(board)?)?.into())
    }

    /// Gain of a rail from one reference current, after its offset `so_far`, which is kept. It
    /// belongs to the sense range in force.
    ///
    /// `NO_OFFSET`, `REFERENCE_TOO_SMALL`, `REFERENCE_TOO_GREAT`, `TOO_FEW`, `UNSTEADY`,
    /// `IMPLAUSIBLE_GAIN`.
    fn crake_calibrate_gain(
        so_far: given Correction, collection: live Collection, reference: given Reference,
        board: fixed Board, correction: wanted Correction
    ) {
        let point = collection.point(reference);
        correction.write(gain(&so_far.into(), &point, collection.rail(board)?)?.into())
    }

    /// Offset and gain of a rail from two reference currents, the further apart the better.
    ///
    /// As `crake_calibrate_gain` but `NO_OFFSET`; besides `DIFFERENT_INPUTS`, `IMPLAUSIBLE_OFFSET`.
    fn crake_calibrate_line(
        one: live Collection, reference: given Reference,
        other: live Collection, other_reference: given Reference,
        board: fixed Board, correction: wanted Correction
    ) {
        let points = (one.point(reference), other.point(other_reference));
        correction.write(line(&points.0, &points.1, one.rail(board)?)?.into())
    }

    /// Writes the corrections of a board, its serial number and its temperature in thousandths of a
    /// degree Celsius to `CRAKE_RECORD_LEN` bytes, with a check value. The format is
    /// docs/calibration-record.md.
    ///
    /// `BYTES_LENGTH` for another `count`, `BYTES_FIELD` for what the format cannot hold; nothing
    /// is written.
    fn crake_record_write(
        board: fixed Board, millicelsius: value i32, bytes: room u8, count: value usize
    ) {
        length(RECORD_LEN, count)?;
        let temperature = Temperature::from_millicelsius(millicelsius);
        let record = Record::write(board.board.serial(), &board.rails, temperature)?;
        bytes.filled(count, |place| Ok(record.get(place).copied().unwrap_or_default()))?;
        Ok(())
    }

    /// Makes another board of `board`, corrected as a record says that was written for it; go on as
    /// after `crake_board_correct`. `millicelsius`, which may be null: how warm it was.
    ///
    /// `BYTES_LENGTH`, `BYTES_MARK`, `BYTES_VERSION`, `BYTES_CHECK`, `BYTES_FIELD`, then
    /// `BYTES_OF_ANOTHER_BOARD` and `SENSE_RESISTOR`.
    fn crake_record_apply(
        corrected: new Board, board: fixed Board, bytes: array u8, count: value usize,
        millicelsius: optional i32
    ) {
        length(RECORD_LEN, count)?;
        let record = Record::read(bytes.values(count)?)?;
        let (board, rails) = record.apply(&INFO, &board.board, &board.rails)?;
        if let Some(millicelsius) = millicelsius {
            millicelsius.write(record.temperature().as_millicelsius())?;
        }
        corrected.fill(Described { board, rails })
    }
}

impl Collected {
    /// The rail that was collected.
    fn rail<'a>(&self, of: &'a Described) -> Result<&'a Rail, Error> {
        let none = Error::channel(Code::NoSuchChannel, self.channel);
        of.rails.get(self.channel.index()).ok_or(none)
    }

    fn point(&self, reference: &Reference) -> Point<'_> {
        Point {
            collection: &self.scans,
            current: Current::from_nanoamps(reference.current_na),
            uncertainty: Tolerance::from_ppm(reference.uncertainty_ppm),
        }
    }
}

impl From<DriverCorrection> for Correction {
    fn from(correction: DriverCorrection) -> Self {
        let bound_nv = correction.offset_bound.unwrap_or_default().as_nanovolts();
        Self {
            offset_256ths_nv: correction.offset.to_bits(),
            gain_2e30: correction.gain.to_bits(),
            offset_bound_nv: u32::try_from(bound_nv).unwrap_or(u32::MAX),
            gain_bound_ppm: correction.gain_bound.unwrap_or_default().as_ppm(),
            offset_known: correction.offset_bound.is_some().into(),
            gain_known: correction.gain_bound.is_some().into(),
            gain_range_known: correction.gain_range.is_some().into(),
            gain_range: correction.gain_range.unwrap_or_default(),
        }
    }
}

impl From<&Correction> for DriverCorrection {
    fn from(correction: &Correction) -> Self {
        let bound = Voltage::from_nanovolts(correction.offset_bound_nv.into());
        let gain_bound = Tolerance::from_ppm(correction.gain_bound_ppm);
        Self {
            offset: Offset::from_bits(correction.offset_256ths_nv),
            gain: match correction.gain_2e30 {
                0 => Gain::ONE,
                bits => Gain::from_bits(bits),
            },
            offset_bound: (correction.offset_known != 0).then_some(bound),
            gain_bound: (correction.gain_known != 0).then_some(gain_bound),
            gain_range: (correction.gain_range_known != 0).then_some(correction.gain_range),
        }
    }
}
