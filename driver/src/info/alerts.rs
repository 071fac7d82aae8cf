use crate::flags::{AlertFlags, Kind, Outputs};

/// What the part itself compares with limits. The driver compares the rest with each sample, and no
/// output tells of that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AlertInfo {
    /// The part's alert outputs. On a part with one, what is to reach either reaches that one.
    pub outputs: Outputs,
    /// Kinds of limits that it compares on each channel: one entry per channel, or one for all.
    pub kinds: &'static [&'static [Kind]],
    /// Greatest debounce that it counts, in conversions; 1 where it has none.
    pub debounce_max: u8,
    /// Which of the flags that are about the part as a whole it has.
    pub own: AlertFlags,
    /// Whether each flag can be masked by itself. Where none can, a condition that lasts is looked
    /// at again at an interval.
    pub single_masks: bool,
    /// Whether flags can follow their condition. Where they cannot, the driver compares.
    pub following: bool,
    /// Whether reading the flags clears them. A read that fails may have taken some with it then:
    /// that is told, and samples are compared instead.
    pub cleared_by_reading: bool,
}

impl AlertInfo {
    /// Of a part without comparators.
    pub const NONE: Self = Self {
        outputs: Outputs::empty(),
        kinds: &[&[]],
        debounce_max: 1,
        own: AlertFlags::empty(),
        single_masks: false,
        following: false,
        cleared_by_reading: false,
    };

    /// Whether the part compares every limit that can be; else the driver compares some with each
    /// sample, and no output tells of these.
    #[must_use]
    pub const fn is_complete(&self) -> bool {
        let (mut all, mut rest) = (self.following && self.debounce_max >= 15, self.kinds);
        while let [kinds, more @ ..] = rest {
            all = all && kinds.len() == Kind::ALL.len();
            rest = more;
        }
        all
    }
}
