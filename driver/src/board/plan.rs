//! From limits in engineering units to codes on the safe side, and from codes of a sample to what a
//! limit is compared with. Both go through the conversion that readings go through, so they agree.

use super::{Board, Factors, rail_voltage};
use crate::Channel;
use crate::config::{
    ChannelRange, Kind, Limit, LimitError, LimitReason, Limits, Run, Scan, Threshold,
};
use crate::convert::first_where;
use crate::info::{PartInfo, RangeInfo, Source};

/// Limits on a board in a configuration: gives a part's map the codes for its registers.
///
/// A requested limit becomes the code on the safe side: the greatest code whose value is not above
/// an over-limit, the least whose value is not below an under-limit. A strict comparison then trips
/// at the first code beyond the request and not at the last one within it.
#[derive(Clone, Copy, Debug)]
pub struct LimitPlan<'p, const N: usize> {
    info: &'static PartInfo,
    board: &'p Board<N>,
    scan: &'p Scan<N>,
    limits: &'p Limits<'p>,
}

/// How the codes of one channel compare with a limit.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale<'s> {
    info: &'static PartInfo,
    factors: &'s Factors,
    range: &'s ChannelRange,
}

impl<'p, const N: usize> LimitPlan<'p, N> {
    /// Limits as they are to stand.
    #[must_use]
    pub const fn new(
        info: &'static PartInfo,
        board: &'p Board<N>,
        scan: &'p Scan<N>,
        limits: &'p Limits<'p>,
    ) -> Self {
        Self {
            info,
            board,
            scan,
            limits,
        }
    }

    /// Whether all of them can be.
    ///
    /// # Errors
    /// The first that cannot.
    #[inline(never)] // its stack is not there while limits are written
    pub fn check(&self) -> Result<(), LimitError> {
        self.limits.check()?;
        for limit in self.limits.list() {
            self.check_one(limit).map_err(|reason| LimitError {
                channel: limit.channel(),
                kind: limit.kind(),
                reason,
            })?;
        }
        Ok(())
    }

    /// The code for the limit register of a kind on a channel; `None` where there is no limit, and
    /// the register is to be left so that it is never passed.
    #[must_use]
    pub fn code(&self, channel: Channel, kind: Kind) -> Option<i64> {
        self.code_of(self.limits.find(channel, kind)?)
    }

    /// The code of one of the limits.
    #[must_use]
    pub fn code_of(&self, limit: &Limit) -> Option<i64> {
        self.scale(limit.channel())?.code(limit.threshold())
    }

    /// The debounce of a kind on a channel, in conversions; 1 where there is no limit.
    #[must_use]
    pub fn debounce(&self, channel: Channel, kind: Kind) -> u8 {
        self.limits
            .find(channel, kind)
            .map_or(1, Limit::debounce_count)
    }

    /// Who compares with one of the limits.
    #[must_use]
    pub fn compared_by(&self, limit: &Limit) -> Source {
        let (debounce, latching) = (limit.debounce_count(), limit.is_latching());
        let channel = limit.channel().number();
        self.info
            .compared_by(channel, limit.kind(), debounce, latching)
    }

    /// What the part can do.
    #[must_use]
    pub const fn info(&self) -> &'static PartInfo {
        self.info
    }

    /// The limits.
    #[must_use]
    pub const fn limits(&self) -> &'p Limits<'p> {
        self.limits
    }

    fn check_one(&self, limit: &Limit) -> Result<(), LimitReason> {
        let channel = limit.channel();
        self.scale(channel).ok_or(LimitReason::NotEnabled)?;
        let code = self.code_of(limit).ok_or(LimitReason::BeyondFullScale)?;
        // A part counts anew in each single shot: a debounce of more scans would never be reached.
        let (debounce, scans_log2) = (limit.debounce_count(), self.scan.averaging_log2);
        if self.scan.run == Run::SingleShot
            && u32::from(debounce) > 1_u32.unbounded_shl(u32::from(scans_log2))
            && debounce <= self.info.alerts.debounce_max
        {
            return Err(LimitReason::Debounce(debounce));
        }
        // Limits must leave a code between them: two that do not cross but lie within one step of
        // the scale would have one of them passed for ever.
        let under = match limit.kind() {
            Kind::OverVoltage => Kind::UnderVoltage,
            Kind::OverCurrent => Kind::UnderCurrent,
            _ => return Ok(()),
        };
        match self.code(channel, under) {
            Some(least) if code < least => Err(LimitReason::Crossed),
            _ => Ok(()),
        }
    }

    fn scale(&self, channel: Channel) -> Option<Scale<'p>> {
        Some(Scale {
            info: self.info,
            factors: self.board.factors(channel)?,
            range: self.scan.range(channel)?,
        })
    }
}

impl<'s> Scale<'s> {
    /// Of an enabled channel.
    pub(crate) const fn new(
        info: &'static PartInfo,
        factors: &'s Factors,
        range: &'s ChannelRange,
    ) -> Self {
        Self {
            info,
            factors,
            range,
        }
    }

    /// What a code of the quantity that a kind is on stands for, in nanovolts, nanoamperes or
    /// nanowatts; a power code with an offset depends on the rail code, too.
    #[inline(never)]
    pub(crate) fn value(&self, kind: Kind, code: i64, rail_code: u32) -> i64 {
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => {
                rail_voltage(self.info, self.range, code as u32).as_nanovolts()
            }
            Kind::OverCurrent | Kind::UnderCurrent => {
                self.factors.current(self.range, code as i32).as_nanoamps()
            }
            Kind::OverPower => self
                .factors
                .power(self.range, code, rail_code)
                .as_nanowatts(),
        }
    }

    /// What a limit of a kind is compared with at a code.
    ///
    /// The part compares the product as it shows it, offset included, at a voltage that is not
    /// known beforehand: the one that trips earliest is taken.
    pub(crate) fn compared(&self, kind: Kind, code: i64) -> i64 {
        let value = self.value(kind, code, 0);
        if kind != Kind::OverPower || self.factors.offset_256ths() == 0 {
            return value;
        }
        let (_, full) = self.ends(Kind::OverVoltage);
        value.max(self.value(kind, code, full as u32))
    }

    /// The code of a limit; `None` beyond full scale, where it could never be passed, or always
    /// would.
    pub(crate) fn code(&self, threshold: Threshold) -> Option<i64> {
        let (kind, wanted) = (threshold.kind(), threshold.billionths());
        let (least, greatest) = self.ends(kind);
        let over = kind.is_over();
        // One search for both: the least code on the far side of an over-limit has the wanted one
        // right below it.
        let code = first_where(least, greatest, |code| {
            let value = self.compared(kind, code);
            value > wanted || !over && value == wanted
        })?;
        (code > least).then(|| code.wrapping_sub(i64::from(over)))
    }

    /// Least and greatest code that a comparator of a kind sees.
    fn ends(&self, kind: Kind) -> (i64, i64) {
        let ends = |ranges: &[RangeInfo], place: u8| match ranges.get(usize::from(place)) {
            Some(range) => (i64::from(range.code_min), i64::from(range.code_max)),
            None => (0, 0),
        };
        let sense = ends(self.info.sense_ranges, self.range.sense);
        let rail = ends(self.info.rail_ranges, self.range.rail);
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => rail,
            Kind::OverCurrent | Kind::UnderCurrent => sense,
            // 18 by 16 bits or so: far from 64.
            Kind::OverPower => (sense.0.wrapping_mul(rail.1), sense.1.wrapping_mul(rail.1)),
        }
    }
}
