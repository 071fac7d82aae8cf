use crate::board::Factors;
use crate::config::ChannelRange;
use crate::info::PartInfo;
use crate::part::Part;
use crate::units::Current;

/// Codes of a fast capture, oldest first, and how they become currents: lent by
/// [`fetch_capture`](crate::ShuntMonitor::fetch_capture). Figures of it come from
/// [`capture::Tally`](crate::capture::Tally).
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FastCapture<'m> {
    pub(crate) codes: &'m [i32],
    pub(crate) info: &'static PartInfo,
    pub(crate) factors: &'m Factors,
    pub(crate) range: &'m ChannelRange,
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

    /// Current of each conversion, oldest first, to the nearest nanoampere; positive from source to
    /// load.
    pub fn currents(&self) -> impl Iterator<Item = Current> + use<'m> {
        let of = *self;
        of.codes.iter().map(move |code| of.current(*code))
    }

    /// What makes currents of codes.
    pub(crate) const fn factors(&self) -> &'m Factors {
        self.factors
    }

    /// Current of a sense code.
    pub(crate) fn current(&self, code: i32) -> Current {
        let shown = code.wrapping_mul(self.code_256ths());
        self.current_of(shown.wrapping_sub(self.factors.offset_256ths()))
    }

    /// Current of so many 256ths of the part's sense unit, offset taken off.
    #[inline(never)] // stands once
    pub(crate) fn current_of(&self, sense_256ths: i32) -> Current {
        self.factors.current_of(sense_256ths)
    }

    /// One code in 256ths of the part's sense unit.
    pub(crate) const fn code_256ths(&self) -> i32 {
        (self.range.sense_lsb as i32) << 8
    }

    /// Least and greatest code of the range.
    pub(crate) fn ends(&self) -> (i32, i32) {
        let range = self.info.sense_ranges.get(usize::from(self.range.sense));
        range.map_or((i32::MIN, i32::MAX), |range| {
            (range.code_min, range.code_max)
        })
    }
}

/// Room for the codes that there are from number `first` on.
pub(super) fn captured<P: Part>(first: u16, codes: &mut [i32]) -> &mut [i32] {
    let kept = usize::from(P::INFO.capture_max.saturating_sub(first));
    let count = codes.len().min(kept);
    codes.get_mut(..count).unwrap_or_default()
}
