use crake::capture::Tally;
use crake::part::corncrake::INFO;
use crake::{Channel, FastCapture, Sample as _, ShuntMonitor};

use crate::*;

/// Conversions of a whole fast capture.
pub const CAPTURE_MAX: usize = 1024;
const _: () = assert!(CAPTURE_MAX == INFO.capture_max as usize);

/// Figures of the codes of a fast capture; all 0 without codes. Times are as right as the part's
/// oscillator, 1.5 %.
#[repr(C)]
pub struct Statistics {
    /// Mean × duration, in nanocoulombs.
    pub charge_nc: i64,
    /// Least current of a conversion, in nanoamperes.
    pub least_na: i64,
    /// Greatest current of a conversion.
    pub greatest_na: i64,
    /// Mean current.
    pub mean_na: i64,
    /// Standard deviation of these conversions as a whole.
    pub deviation_na: i64,
    /// Root of the mean square.
    pub rms_na: i64,
    /// How long the conversions took, in nanoseconds.
    pub duration_ns: u64,
    /// Number of conversions.
    pub count: u32,
    /// 1 if one lies at an end of the range, where it may have been cut.
    pub clipped: u8,
}

calls! {
    /// Starts a fast capture of an enabled channel: sense alone, 16 000 times a second, 1024 times.
    ///
    /// The part stops sampling until it is configured again, which totals see as a gap; limits have
    /// to be set again then. `REFUSED` if the channel is not enabled; after a failure on the way
    /// `crake_init` starts over.
    fn crake_start_capture(monitor: live Monitor, channel: value u8) {
        Ok(monitor.monitor.start_capture(Channel::new(channel))?)
    }

    /// Waits for the end of the capture and fetches `count` codes from number `first` on, oldest
    /// first, of which there are `CRAKE_CAPTURE_MAX` in all. Fetching takes nothing away.
    /// `statistics`, which may be null: figures of these codes.
    ///
    /// `NOT_CONFIGURED` without a capture. `BUSY`: it did not end in time. `RESET`, `CHANGED`: the
    /// codes are gone.
    fn crake_fetch_capture(
        monitor: live Monitor, first: value u16, codes: room i32, count: value usize,
        statistics: optional Statistics
    ) {
        counted(count.saturating_add(first.into()))?;
        let codes = codes.filled(count, |_| Ok(0))?;
        let piece = monitor.monitor.fetch_capture(first, codes)?;
        statistics.map_or(Ok(()), |statistics| statistics.write(Statistics::from(&piece)))
    }

    /// The current of each of `count` codes of a capture of `channel`, in nanoamperes, oldest
    /// first, in the range in which it was made: before the part is configured again.
    fn crake_capture_currents(
        monitor: live Monitor, channel: value u8, codes: array i32, count: value usize,
        currents_na: room i64
    ) {
        let (last, channel) = (monitor.last(), Channel::new(channel));
        let found = last.scan().range(channel).zip(last.board().factors(channel));
        let (range, factors) = found.ok_or(Error::channel(Code::NotEnabled, channel))?;
        let codes = codes.values(counted(count)?)?;
        currents_na.filled(count, |place| {
            let code = codes.get(place).copied().unwrap_or_default();
            Ok(factors.current(range, code).as_nanoamps())
        })?;
        Ok(())
    }
}

/// A number of codes that can be: the fourth argument of each call.
pub(crate) fn counted(count: usize) -> Result<usize, Error> {
    match count <= CAPTURE_MAX {
        true => Ok(count),
        false => Err(Error::argument(Code::BadArgument, 4)),
    }
}

impl From<&FastCapture<'_>> for Statistics {
    fn from(piece: &FastCapture<'_>) -> Self {
        let mut tally = Tally::new();
        // There is room for all of a capture.
        let _ = tally.add(piece);
        let some = tally.count() > 0;
        Self {
            charge_nc: tally.charge(piece).as_nanocoulombs() as i64, // below 2^63
            least_na: tally.least(piece).as_nanoamps(),
            greatest_na: tally.greatest(piece).as_nanoamps(),
            mean_na: tally.mean(piece).as_nanoamps(),
            deviation_na: tally.deviation(piece).as_nanoamps(),
            rms_na: tally.rms(piece).as_nanoamps(),
            duration_ns: tally.duration(&INFO).as_nanos() as u64, // at most 64 ms
            count: tally.count(),
            clipped: u8::from(some && tally.is_clipped(piece)),
        }
    }
}
