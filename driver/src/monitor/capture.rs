use crate::board::Factors;
use crate::config::ChannelRange;
use crate::info::PartInfo;
use crate::units::Current;

/// Codes of a fast capture, oldest first, and how they become currents: lent by
/// [`fetch_capture`](crate::ShuntMonitor::fetch_capture). Figures of it come from
/// [`capture::Tally`](crate::capture::Tally).
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FastCapture<'m> {
    pub(crate) codes: &'m [i32],
    pub(crate) info: &'static PartInfo,
    /// Both are there for every channel that can be captured.
    pub(crate) factors: Option<&'m Factors>,
    pub(crate) range: Option<&'m ChannelRange>,
}

impl<'m> FastCapture<'m> {
    /// Sense codes, oldest first; each within the range's ends, where it may have been cut.
    #[must_use]
    pub const fn codes(&self) -> &'m [i32] {
        self.codes
    }

    /// What the part can do: from one conversion to the next it takes
    /// [`conversion_ns`](PartInfo::conversion_ns), as right as the part's oscillator.
    #[must_use]
    pub const fn info(&self) -> &'static PartInfo {
        self.info
    }

    /// Current of each conversion, oldest first, to the nearest nanoampere; positive from source to load.
    pub fn currents(&self) -> impl Iterator<Item = Current> + use<'m> {
        let of = *self;
        of.codes.iter().map(move |code| of.current(*code))
    }

    /// One code in 256ths of the part's sense unit.
    pub(crate) fn code_256ths(&self) -> u32 {
        self.range
            .map_or(0, |range| u32::from(range.sense_lsb) << 8)
    }

    /// The offset that is taken off, likewise.
    pub(crate) fn offset_256ths(&self) -> i32 {
        self.factors.map_or(0, Factors::offset_256ths)
    }

    /// Current of so many 256ths of the part's sense unit, offset taken off.
    pub(crate) fn current_of(&self, sense_256ths: i32) -> Current {
        self.factors
            .map_or(Current::ZERO, |factors| factors.current_of(sense_256ths))
    }

    /// Least and greatest code of the range.
    pub(crate) fn ends(&self) -> (i32, i32) {
        let place = self.range.map(|range| usize::from(range.sense));
        let range = place.and_then(|place| self.info.sense_ranges.get(place));
        range.map_or((i32::MIN, i32::MAX), |range| {
            (range.code_min, range.code_max)
        })
    }

    /// Current of a sense code.
    pub(crate) fn current(&self, code: i32) -> Current {
        match (self.factors, self.range) {
            (Some(factors), Some(range)) => factors.current(range, code),
            _ => Current::ZERO,
        }
    }
}
