use core::fmt;

use super::quantity::Shown;
use crate::config::{AlertFlag, Kind, Quantity, Threshold};
use crate::monitor::Timestamp;

/// Something that the part told: 32 bytes.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Event {
    limit: i64,
    value: i64,
    before_us: u64,
    /// Of the timestamp's bracket.
    width_us: u32,
    flag: AlertFlag,
    /// What is known besides: sum of the constants below.
    known: u8,
}

const LIMIT: u8 = 1;
const VALUE: u8 = 2;
const CLIPPED: u8 = 4;
const DATE: u8 = 8;

impl Event {
    /// A flag of which nothing else is known.
    pub(super) const fn new(flag: AlertFlag) -> Self {
        Self {
            limit: 0,
            value: 0,
            before_us: 0,
            width_us: 0,
            flag,
            known: 0,
        }
    }

    /// The limit that was passed, in billionths.
    pub(super) const fn set_limit(&mut self, limit: i64) {
        self.limit = limit;
        self.known |= LIMIT;
    }

    /// What the sample shows of it, where it has a reading.
    pub(super) const fn set_value(&mut self, shown: Option<&Shown>) {
        if let Some(shown) = shown {
            self.value = shown.value;
            self.known |= if shown.clipped {
                VALUE | CLIPPED
            } else {
                VALUE
            };
        }
    }

    /// When the sample was latched; left out where the bracket is longer than an hour.
    pub(super) const fn set_date(&mut self, date: Option<Timestamp>) {
        if let Some(date) = date
            && date.width_us() >> 32 == 0
        {
            self.before_us = date.before_us;
            self.width_us = date.width_us() as u32;
            self.known |= DATE;
        }
    }

    /// What it is about.
    #[must_use]
    pub const fn flag(&self) -> AlertFlag {
        self.flag
    }

    /// The limit that was passed, as it was asked for; [`limit_in_force`](super::limit_in_force)
    /// tells the code's own value, at most one code on the safe side.
    ///
    /// `None` for the part's own flags, and where it is not known which limits stood in the part:
    /// after a restart of the firmware, or a setting of limits that failed.
    #[must_use]
    pub fn limit(&self) -> Option<Threshold> {
        let kind = self.kind().filter(|_| self.known & LIMIT != 0)?;
        Some(Threshold::of(kind, self.limit))
    }

    /// The quantity that the limit is on, from the sample taken right after the flag was seen:
    /// already back, perhaps. `None` for the part's own flags, and where no sample had a reading.
    #[must_use]
    pub fn value(&self) -> Option<Quantity> {
        let kind = self.kind().filter(|_| self.known & VALUE != 0)?;
        Some(Quantity::of(kind, self.value))
    }

    /// Whether a conversion went over range since the sample before: the value is a limit, then.
    #[must_use]
    pub const fn is_clipped(&self) -> bool {
        self.known & CLIPPED != 0
    }

    /// When that sample was latched: the flag is older than `after_us`. `None` without a clock, and
    /// for what was told without a sample.
    #[must_use]
    pub const fn timestamp(&self) -> Option<Timestamp> {
        if self.known & DATE == 0 {
            return None;
        }
        Some(Timestamp {
            before_us: self.before_us,
            after_us: self.before_us.saturating_add(self.width_us as u64),
        })
    }

    const fn kind(&self) -> Option<Kind> {
        match self.flag {
            AlertFlag::Limit(_, kind) => Some(kind),
            _ => None,
        }
    }
}

/// What its methods give.
impl fmt::Debug for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Event")
            .field("flag", &self.flag())
            .field("limit", &self.limit())
            .field("value", &self.value())
            .field("is_clipped", &self.is_clipped())
            .field("timestamp", &self.timestamp())
            .finish()
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Event {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "Event {{ flag: {}, limit: {}, value: {}, is_clipped: {}, timestamp: {} }}",
            self.flag(),
            self.limit(),
            self.value(),
            self.is_clipped(),
            self.timestamp()
        );
    }
}

const _: () = assert!(size_of::<Event>() <= 32);
