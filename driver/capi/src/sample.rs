use crake::capture::Tally;
use crake::part::corncrake::INFO;
use crake::totals::{Discontinuity, Update as DriverUpdate};
use crake::{Channel, FastCapture, NoReading, Reading as DriverReading, Sample as _};
use crake::{ShuntMonitor as _, TimedSample as _};

use crate::*;

/// Conversions of a whole fast capture.
pub const CAPTURE_MAX: usize = 1024;
const _: () = assert!(CAPTURE_MAX == INFO.capture_max as usize);

/// What a number says of the truth, when some of what it was made of was clipped.
#[repr(u8)]
#[derive(Clone, Copy, Default)]
pub enum Saturation {
    /// Nothing was: the truth is near it, within the bound.
    #[default]
    None = 0,
    /// The truth is at least that, less the bound.
    AtLeast = 1,
    /// The truth may lie beyond on either side.
    Unknown = 2,
}

/// What totals made of a sample. From `CONFIGURED` on counts were lost or may have been: a
/// discontinuity, counted in the epoch, with a gap before this sample.
#[repr(u8)]
pub enum Update {
    /// None were given.
    None = 0,
    /// Counting begins with it; nothing to add yet.
    First = 1,
    /// Its counts were added.
    Continued = 2,
    /// Its counts were added, but something went over range: totals are limits from now on.
    Clipped = 3,
    /// The part does not scan by itself: nothing counts.
    NotCounting = 4,
    /// The part was configured anew.
    Configured = 5,
    /// The host's clock fell: it began anew. The gap is open-ended.
    ClockBackwards = 6,
    /// The sample came too late to exclude a rollover.
    TooLate = 7,
    /// The number of scans does not fit the time by the host's clock.
    Implausible = 8,
}

mirrored!(crake::Saturation => Saturation: None, AtLeast, Unknown);
mirrored!(Discontinuity => Update: Configured, ClockBackwards, TooLate; _ => Self::Implausible);
mirrored!(
    DriverUpdate => Update: First, Continued, Clipped, NotCounting;
    DriverUpdate::Discontinuity(kind) => kind.into()
);

types! {
    /// Voltage, current and power of one channel, from one latch.
    #[derive(Clone, Copy, Default)]
    struct Reading of (read: DriverReading, code: Code, voltage: Saturation, current: Saturation) {
        /// At the load's side of the sense resistor, in nanovolts.
        voltage_nv: i64 = read.voltage.as_nanovolts(),
        /// In nanoamperes, positive from source to load.
        current_na: i64 = read.current.as_nanoamps(),
        /// In nanowatts, positive into the load; mean of products.
        power_nw: i64 = read.power.as_nanowatts(),
        /// `OK`, or why there is no reading (all numbers 0). After `CLIPPED` they are limits.
        code: Code = code,
        /// What the voltage says of the truth.
        voltage_saturation: Saturation = voltage,
        /// What the current says of the truth.
        current_saturation: Saturation = current,
    }

    /// One coherent sample of all channels.
    struct Sample of (sample: &LastSample, update: Update) {
        /// The host's clock right before the latch was asked for, in microseconds.
        before_us: u64 = sample.timestamp().before_us,
        /// Right after, and the longest that the part takes from then on.
        after_us: u64 = sample.timestamp().after_us,
        /// From channel 0 up.
        readings: [Reading; CRAKE_RAILS] = [0, 1, 2, 3].map(|channel| reading(sample, channel)),
        /// The part's running count of scans, 28 bits.
        scans: u32 = sample.scans(),
        /// What totals made of it.
        update: Update = update,
    }

    /// Figures of the codes of a fast capture; all 0 without codes. Times are as right as the
    /// part's oscillator, 1.5 %.
    struct Statistics of (tally: Tally, piece: &FastCapture<'_>) {
        /// Mean × duration, in nanocoulombs.
        charge_nc: i64 = tally.charge(piece).as_nanocoulombs() as i64,
        /// Least current of a conversion, in nanoamperes.
        least_na: i64 = tally.least(piece).as_nanoamps(),
        /// Greatest current of a conversion.
        greatest_na: i64 = tally.greatest(piece).as_nanoamps(),
        /// Mean current.
        mean_na: i64 = tally.mean(piece).as_nanoamps(),
        /// Standard deviation of these conversions as a whole.
        deviation_na: i64 = tally.deviation(piece).as_nanoamps(),
        /// Root of the mean square.
        rms_na: i64 = tally.rms(piece).as_nanoamps(),
        /// How long the conversions took, in nanoseconds.
        duration_ns: u64 = tally.duration(&INFO).as_nanos() as u64,
        /// Number of conversions.
        count: u32 = tally.count(),
        /// 1 if one lies at an end of the range, where it may have been cut.
        clipped: u8 = (tally.count() > 0 && tally.is_clipped(piece)).into(),
    }
}

fn reading(sample: &LastSample, channel: u8) -> Reading {
    use Saturation::None;
    match sample.reading(Channel::new(channel)) {
        Ok(reading) => Reading::of(reading, Code::Ok, None, None),
        Err(NoReading::Clipped {
            reading,
            voltage,
            current,
            ..
        }) => Reading::of(reading, Code::Clipped, voltage.into(), current.into()),
        Err(why) => Reading {
            code: Error::from(why).code,
            ..Reading::default()
        },
    }
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
    /// `currents_na` and `statistics`, which may be null: the current of each code in nanoamperes,
    /// and figures of all.
    ///
    /// `NOT_CONFIGURED` without a capture. `BUSY`: it did not end in time. `RESET`, `CHANGED`: the
    /// codes are gone.
    fn crake_fetch_capture(
        monitor: live Monitor, first: value u16, codes: room i32; count,
        currents_na: spare i64; count, count: value usize, statistics: optional Statistics
    ) {
        if count.saturating_add(first.into()) > CAPTURE_MAX {
            return Err(Code::BadArgument.at(5));
        }
        let piece = monitor.monitor.fetch_capture(first, codes.filled(|_| Ok(0))?)?;
        if let Some(room) = currents_na {
            let mut currents = piece.currents();
            room.filled(|_| Ok(currents.next().unwrap_or_default().as_nanoamps()))?;
        }
        statistics.map_or(Ok(()), |statistics| {
            let mut tally = Tally::new();
            // There is room for all of a capture.
            let _ = tally.add(&piece);
            statistics.write(Statistics::of(tally, &piece))
        })
    }
}
