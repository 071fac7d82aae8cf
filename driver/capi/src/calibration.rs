use crake::board::{Correction as DriverCorrection, Gain, Offset, Rail};
use crake::calibration::{Collection as DriverCollection, Point, Record as DriverRecord};
use crake::calibration::{gain, line, offset};
use crake::part::corncrake::INFO;
use crake::units::{Current, Temperature, Tolerance, Voltage};
use crake::{Channel, NoReading, ShuntMonitor as _};

use crate::*;

types! {
    /// Correction of one rail by calibration. All zero is none.
    struct Correction of (correction: DriverCorrection) {
        /// Sense voltage that the part shows without current, in 256ths of a nanovolt.
        offset_256ths_nv: i32 = correction.offset.to_bits(),
        /// True current over shown current, after the offset, in units of 2^-30; 0 counts as 1.
        gain_2e30: i32 = correction.gain.to_bits(),
        /// How well the offset is known, in nanovolts in either direction.
        offset_bound_nv: i64 = correction.offset_bound.unwrap_or_default().as_nanovolts(),
        /// How well the gain is known, in ppm in either direction.
        gain_bound_ppm: u32 = correction.gain_bound.unwrap_or_default().as_ppm(),
        /// 1 if `offset_bound_nv` is known; 0: the part's own limit holds.
        offset_known: u8 = correction.offset_bound.is_some().into(),
        /// 1 if `gain_bound_ppm` is known; 0: the limits of part and resistor hold.
        gain_known: u8 = correction.gain_bound.is_some().into(),
        /// 1 if the gain was measured in sense range `gain_range`.
        gain_range_known: u8 = correction.gain_range.is_some().into(),
        /// Sense range of the gain: 0 for 65.536 mV, 1 for 26.2144 mV.
        gain_range: u8 = correction.gain_range.unwrap_or_default(),
    }

    /// A calibration record, with a check value: the format is docs/calibration-record.md.
    struct Record {
        /// In any memory that lasts.
        bytes: [u8; 178],
    }

    /// A current that is known better than the monitor shows it.
    struct Reference {
        /// What the reference says flowed, in nanoamperes, positive from source to load.
        current_na: i64,
        /// How far it may be off relative to itself, in ppm in either direction: a limit.
        uncertainty_ppm: u32,
    }
}

/// What lives in a collection's memory.
pub struct Collected {
    scans: DriverCollection,
    rail: &'static Rail,
}

calls! {
    /// Makes an empty collection of scans of one channel of a board that is not corrected: what a
    /// calibration is made from.
    fn crake_collection_init(collection: new Collection, board: fixed Board, channel: value u8) {
        let channel = Channel::new(channel);
        let rail = board.rails.get(channel.index()).ok_or(NoReading::NoSuchChannel(channel))?;
        collection.fill(Collected { scans: DriverCollection::new(channel), rail })
    }

    /// Adds the scans up to the monitor's last sample, in continuous mode, best at the greatest
    /// scan rate, with range and load as they shall be measured: call it after each sample until
    /// `enough` is 1. The first one only says where counting begins.
    ///
    /// `NOT_COMPLETE`, `NOT_COUNTING`, `RECONFIGURED`, `CLIPPED`, `TOO_FAR_APART`: the collection
    /// is then empty, and the next sample begins anew.
    fn crake_collection_add(collection: live Collection, monitor: live Monitor, enough: wanted u8) {
        collection.scans.add(monitor.monitor.last_sample())?;
        enough.write(collection.scans.is_enough().into())
    }

    /// Offset of a rail, from scans with the load disconnected. It holds in every sense range.
    ///
    /// `TOO_FEW`, `UNSTEADY`, `IMPLAUSIBLE_OFFSET`.
    fn crake_calibrate_offset(no_load: live Collection, correction: wanted Correction) {
        correction.write(Correction::of(offset(&no_load.scans, no_load.rail)?))
    }

    /// Gain of a rail from one reference current, after its offset `so_far`, which is kept. It
    /// belongs to the sense range in force.
    ///
    /// `NO_OFFSET`, `REFERENCE_TOO_SMALL`, `REFERENCE_TOO_GREAT`, `TOO_FEW`, `UNSTEADY`,
    /// `IMPLAUSIBLE_GAIN`.
    fn crake_calibrate_gain(
        so_far: given Correction, collection: live Collection, reference: given Reference,
        correction: wanted Correction
    ) {
        let point = collection.point(reference);
        correction.write(Correction::of(gain(&so_far.into(), &point, collection.rail)?))
    }

    /// Offset and gain of a rail from two reference currents, the further apart the better.
    ///
    /// As `crake_calibrate_gain` but `NO_OFFSET`; besides `DIFFERENT_INPUTS`, `IMPLAUSIBLE_OFFSET`.
    fn crake_calibrate_line(
        one: live Collection, reference: given Reference,
        other: live Collection, other_reference: given Reference, correction: wanted Correction
    ) {
        let points = (one.point(reference), other.point(other_reference));
        correction.write(Correction::of(line(&points.0, &points.1, one.rail)?))
    }

    /// Makes a record of the corrections of a board, its serial number and its temperature in
    /// thousandths of a degree Celsius. `BYTES_FIELD` for what the format cannot hold.
    fn crake_record_write(
        board: fixed Board, millicelsius: value i32, record: wanted Record
    ) {
        let temperature = Temperature::from_millicelsius(millicelsius);
        let bytes = DriverRecord::write(board.board.serial(), &board.rails, temperature)?;
        record.write(Record { bytes })
    }

    /// Makes another board of `board`, corrected as a record says that was written for it; go on as
    /// after `crake_board_correct`. `millicelsius`, which may be null: how warm it was.
    ///
    /// `BYTES_MARK`, `BYTES_VERSION`, `BYTES_CHECK`, `BYTES_FIELD`, then `BYTES_OF_ANOTHER_BOARD`
    /// and `SENSE_RESISTOR`.
    fn crake_record_apply(
        corrected: new Board, board: fixed Board, record: given Record, millicelsius: optional i32
    ) {
        let record = DriverRecord::read(&record.bytes)?;
        let (board, rails) = record.apply(&INFO, &board.board, &board.rails)?;
        if let Some(millicelsius) = millicelsius {
            millicelsius.write(record.temperature().as_millicelsius())?;
        }
        corrected.fill(Described { board, rails })
    }
}

impl Collected {
    fn point(&self, reference: &Reference) -> Point<'_> {
        Point {
            collection: &self.scans,
            current: Current::from_nanoamps(reference.current_na),
            uncertainty: Tolerance::from_ppm(reference.uncertainty_ppm),
        }
    }
}

impl From<&Correction> for DriverCorrection {
    fn from(correction: &Correction) -> Self {
        let bound = Voltage::from_nanovolts(correction.offset_bound_nv).abs();
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
