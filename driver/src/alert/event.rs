use crate::config::{AlertFlag, AlertFlags, Kind, Quantity, Threshold};
use crate::monitor::{Saturation, Timestamp};

/// Something that the part told: 32 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Event {
    limit: i64,
    value: i64,
    before_us: u64,
    /// Of the timestamp's bracket.
    width_us: u32,
    /// Place of the flag.
    bit: u8,
    known: Known,
    saturation: Saturation,
    dated: bool,
}

/// What is known besides the flag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Known {
    Nothing,
    Limit,
    Value,
    Both,
}

impl Event {
    /// A flag of which nothing else is known.
    pub(super) const fn new(flag: AlertFlag) -> Self {
        Self {
            limit: 0,
            value: 0,
            before_us: 0,
            width_us: 0,
            bit: AlertFlags::of(flag).bits().trailing_zeros() as u8,
            known: Known::Nothing,
            saturation: Saturation::None,
            dated: false,
        }
    }

    /// The same with the limit that was passed.
    pub(super) const fn with_limit(mut self, billionths: i64) -> Self {
        self.limit = billionths;
        self.known = match self.known {
            Known::Nothing | Known::Limit => Known::Limit,
            Known::Value | Known::Both => Known::Both,
        };
        self
    }

    /// The same with the value of the quantity that the limit is on.
    pub(super) const fn with_value(mut self, billionths: i64, saturation: Saturation) -> Self {
        self.value = billionths;
        self.saturation = saturation;
        self.known = match self.known {
            Known::Nothing | Known::Value => Known::Value,
            Known::Limit | Known::Both => Known::Both,
        };
        self
    }

    /// The same with a date; without one where its bracket is longer than an hour.
    pub(super) const fn with_date(mut self, date: Timestamp) -> Self {
        let width = date.width_us();
        self.dated = width <= u32::MAX as u64;
        self.before_us = date.before_us;
        self.width_us = width as u32;
        self
    }

    /// What it is about.
    #[must_use]
    pub fn flag(&self) -> AlertFlag {
        AlertFlags::at(self.bit).unwrap_or(AlertFlag::ResetSeen)
    }

    /// The limit that was passed, as it was asked for; [`limit_in_force`](super::limit_in_force) tells
    /// the code's own value, at most one code on the safe side.
    ///
    /// `None` for the part's own flags, and where it is not known which limits stood in the part: after
    /// a restart of the firmware, or a setting of limits that failed.
    #[must_use]
    pub fn limit(&self) -> Option<Threshold> {
        let known = matches!(self.known, Known::Limit | Known::Both);
        self.kind()
            .filter(|_| known)
            .map(|kind| Threshold::of(kind, self.limit))
    }

    /// The quantity that the limit is on, from the sample taken right after the flag was seen: already
    /// back, perhaps. `None` for the part's own flags, and where no sample had a reading.
    #[must_use]
    pub fn value(&self) -> Option<Quantity> {
        let known = matches!(self.known, Known::Value | Known::Both);
        self.kind()
            .filter(|_| known)
            .map(|kind| Quantity::of(kind, self.value))
    }

    /// What [`value`](Self::value) says of the true value.
    #[must_use]
    pub const fn saturation(&self) -> Saturation {
        self.saturation
    }

    /// When that sample was latched: the flag is older than `after_us`. `None` without a clock, and for
    /// what was told without a sample.
    #[must_use]
    pub const fn timestamp(&self) -> Option<Timestamp> {
        if !self.dated {
            return None;
        }
        Some(Timestamp {
            before_us: self.before_us,
            after_us: self.before_us.saturating_add(self.width_us as u64),
        })
    }

    fn kind(&self) -> Option<Kind> {
        match self.flag() {
            AlertFlag::Limit(_, kind) => Some(kind),
            _ => None,
        }
    }
}

const _: () = assert!(size_of::<Event>() <= 32);
