use crake::totals::{Discontinuity, Update as DriverUpdate};
use crake::{Channel, NoReading, Sample as _, TimedSample};

use crate::*;

/// What a number says of the truth, when some of what it was made of was clipped.
#[repr(u8)]
#[derive(Clone, Copy)]
pub enum Saturation {
    /// Nothing was: the truth is near it, within the bound.
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

/// Voltage, current and power of one channel, from one latch.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct Reading {
    /// At the load's side of the sense resistor, in nanovolts.
    pub voltage_nv: i64,
    /// In nanoamperes, positive from source to load.
    pub current_na: i64,
    /// In nanowatts, positive into the load; mean of products.
    pub power_nw: i64,
    /// `OK`, or why there is no reading (all numbers 0). After `CLIPPED` the numbers are limits.
    pub code: Code,
    /// What the voltage says of the truth.
    pub voltage_saturation: Saturation,
    /// What the current says of the truth.
    pub current_saturation: Saturation,
}

/// One coherent sample of all channels.
#[repr(C)]
pub struct Sample {
    /// The host's clock right before the latch was asked for, in microseconds.
    pub before_us: u64,
    /// Right after, and the longest that the part takes from then on.
    pub after_us: u64,
    /// From channel 0 up.
    pub readings: [Reading; CRAKE_RAILS],
    /// The part's running count of scans, 28 bits.
    pub scans: u32,
    /// What totals made of it.
    pub update: Update,
}

impl Sample {
    pub(crate) fn new(sample: &LastSample, update: Update) -> Self {
        let mut readings = [Reading::NOTHING; CRAKE_RAILS];
        for (channel, reading) in Channel::first(u8::MAX).zip(&mut readings) {
            *reading = Reading::from(sample.reading(channel));
        }
        Self {
            before_us: sample.timestamp().before_us,
            after_us: sample.timestamp().after_us,
            readings,
            scans: sample.scans(),
            update,
        }
    }
}

impl Reading {
    const NOTHING: Self = Self {
        voltage_nv: 0,
        current_na: 0,
        power_nw: 0,
        code: Code::Nothing,
        voltage_saturation: Saturation::None,
        current_saturation: Saturation::None,
    };
}

impl From<Result<crake::Reading, NoReading>> for Reading {
    fn from(outcome: Result<crake::Reading, NoReading>) -> Self {
        let mut made = Self::NOTHING;
        made.code = outcome.map_or_else(|why| Error::from(why).code, |_| Code::Ok);
        if let Err(NoReading::Clipped {
            current, voltage, ..
        }) = outcome
        {
            made.voltage_saturation = voltage.into();
            made.current_saturation = current.into();
        }
        if let Ok(reading) | Err(NoReading::Clipped { reading, .. }) = outcome {
            made.voltage_nv = reading.voltage.as_nanovolts();
            made.current_na = reading.current.as_nanoamps();
            made.power_nw = reading.power.as_nanowatts();
        }
        made
    }
}

mirrored!(crake::Saturation => Saturation: None, AtLeast, Unknown);
mirrored!(Discontinuity => Update: Configured, ClockBackwards, TooLate; _ => Implausible);

impl From<DriverUpdate> for Update {
    fn from(update: DriverUpdate) -> Self {
        match update {
            DriverUpdate::First => Self::First,
            DriverUpdate::Continued => Self::Continued,
            DriverUpdate::Clipped => Self::Clipped,
            DriverUpdate::NotCounting => Self::NotCounting,
            DriverUpdate::Discontinuity(kind) => kind.into(),
        }
    }
}
