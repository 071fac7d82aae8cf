use super::{Cause, Causes, Kind, Limit, Outputs, Watch, Watches};
use crate::old::Channel;
use crate::old::board::Rail;
use crate::old::exchange::Misuse;
use crate::old::part::{RangeSpec, Source, Spec};
use crate::old::sampling::{Ranges, Sampling};
use crate::old::scale::first_where;
use crate::units::Voltage;

/// Longest debounce that a part of this layer counts.
const DEBOUNCE_MAX: u8 = 15;

/// Watches on a board in given ranges, checked as a whole: gives a part the codes for its limit registers.
///
/// A requested limit becomes the code on the safe side: the greatest code whose own value is not above an over-limit, the least whose value is not below an
/// under-limit. With the part's strict comparison the first code beyond the request trips and the last one within does not. Found by
/// searching the conversion that readings go through, so limits and readings agree by construction.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plan<'p> {
    spec: &'static Spec,
    rails: &'p [Rail],
    ranges: &'p [Option<Ranges>],
    watches: Watches<'p>,
}

impl<'p> Plan<'p> {
    /// Checks the watches as a whole.
    ///
    /// # Errors
    /// The first that cannot be; nothing has been sent.
    pub fn new(
        spec: &'static Spec,
        rails: &'p [Rail],
        sampling: &Sampling<'p>,
        watches: Watches<'p>,
    ) -> Result<Self, Misuse> {
        let plan = Self::unchecked(spec, rails, sampling.channels, watches);
        plan.check_all()?;
        Ok(plan)
    }

    pub(crate) fn check_all(&self) -> Result<(), Misuse> {
        for (place, watch) in self.watches.limits.iter().enumerate() {
            self.check(watch)?;
            let (channel, kind) = (watch.channel(), watch.limit().kind());
            let earlier = self.watches.limits.get(..place).unwrap_or_default();
            if earlier
                .iter()
                .any(|other| other.channel() == channel && other.limit().kind() == kind)
            {
                return Err(Misuse::WatchedTwice(channel, kind));
            }
        }
        self.check_order()
    }

    /// The same for watches that stand in a part, hence were checked, or are to be: checking finds every limit anew.
    pub(crate) const fn unchecked(
        spec: &'static Spec,
        rails: &'p [Rail],
        ranges: &'p [Option<Ranges>],
        watches: Watches<'p>,
    ) -> Self {
        Self {
            spec,
            rails,
            ranges,
            watches,
        }
    }

    /// Code for the limit register of a kind on a channel; `None` where nothing is watched, and the register is to be set so that it never trips.
    #[must_use]
    pub fn code(&self, channel: Channel, kind: Kind) -> Option<i64> {
        self.search(self.watches.find(channel, kind)?)
    }

    /// The ranges that a channel's codes belong to; `None` where it is not enabled.
    pub(super) fn ranges(&self, channel: Channel) -> Option<Ranges> {
        self.ranges.get(channel.index()).copied().flatten()
    }

    /// The limit in force: what the code on the safe side stands for.
    #[must_use]
    pub fn in_force(&self, channel: Channel, kind: Kind) -> Option<Limit> {
        let watch = self.watches.find(channel, kind)?;
        let converter = self.converter(channel)?;
        Some(watch.limit().at(converter.value(kind, self.search(watch)?)))
    }

    /// Debounce of a kind on a channel; 1 where nothing is watched.
    #[must_use]
    pub fn debounce(&self, channel: Channel, kind: Kind) -> u8 {
        self.watches
            .find(channel, kind)
            .map_or(1, Watch::debounce_count)
    }

    /// Causes that are held.
    #[must_use]
    pub fn held(&self) -> Causes {
        self.those(|watch| watch.is_held())
    }

    /// Causes that are watched for at all.
    #[must_use]
    pub fn watched(&self) -> Causes {
        self.those(|_| true)
    }

    /// Causes of limits that the part compares, or the driver; see [`Spec::judged_by`].
    #[must_use]
    pub fn judged_by(&self, source: Source) -> Causes {
        self.those(|watch| self.spec.judged_by(watch) == source)
    }

    /// Causes that reach an output.
    #[must_use]
    pub fn mask(&self, output: Outputs) -> Causes {
        let own = |cause, outputs: Outputs| {
            if outputs.intersects(output) {
                cause
            } else {
                Causes::empty()
            }
        };
        self.those(|watch| watch.outputs().intersects(output))
            | own(Causes::ROLLOVER_AHEAD, self.watches.rollover_ahead)
            | own(Causes::ROUND_DONE, self.watches.round_done)
            | own(Causes::RESET_SEEN, self.watches.reset_seen)
    }

    /// What was asked for.
    #[must_use]
    pub const fn watches(&self) -> &Watches<'p> {
        &self.watches
    }

    fn those(&self, wanted: impl Fn(&Watch) -> bool) -> Causes {
        let limits = self.watches.limits.iter().filter(|watch| wanted(watch));
        limits
            .map(|watch| Causes::of(Cause::Limit(watch.channel(), watch.limit().kind())))
            .fold(Causes::empty(), |causes, cause| causes | cause)
    }

    fn check(&self, watch: &Watch) -> Result<(), Misuse> {
        let (channel, kind) = (watch.channel(), watch.limit().kind());
        if self.converter(channel).is_none() {
            return Err(Misuse::WatchedButNotEnabled(channel));
        }
        if watch.debounce_count() == 0 || watch.debounce_count() > DEBOUNCE_MAX {
            return Err(Misuse::NoSuchDebounce(
                channel,
                kind,
                watch.debounce_count(),
            ));
        }
        if watch.outputs().is_empty() && !watch.is_silent() {
            return Err(Misuse::ReachesNoOutput(channel, kind));
        }
        if self.search(watch).is_none() {
            return Err(Misuse::LimitBeyondFullScale(channel, kind));
        }
        Ok(())
    }

    /// Limits must leave a code between them: two that do not cross but lie within one step of the scale would trip one or the other for ever.
    fn check_order(&self) -> Result<(), Misuse> {
        for (channel, _) in Channel::first(u8::MAX).zip(self.ranges) {
            for (over, under) in [
                (Kind::OverVoltage, Kind::UnderVoltage),
                (Kind::OverCurrent, Kind::UnderCurrent),
            ] {
                if let Some(greatest) = self.code(channel, over)
                    && let Some(least) = self.code(channel, under)
                    && greatest < least
                {
                    return Err(Misuse::LimitsCrossed(channel, over));
                }
            }
        }
        Ok(())
    }

    /// `None`: beyond full scale, so that it could never trip, or would stand tripped for ever at the scale's own end.
    fn search(&self, watch: &Watch) -> Option<i64> {
        let converter = self.converter(watch.channel())?;
        let kind = watch.limit().kind();
        let (least, greatest) = converter.codes(kind);
        let (over, wanted) = (kind.is_over(), watch.limit().value());
        // One search for both: the least code on the far side of an over-limit has the wanted one right below it.
        let code = first_where(least, greatest, |code| {
            let value = converter.value(kind, code);
            value > wanted || !over && value == wanted
        })?;
        (code > least).then(|| code.wrapping_sub(i64::from(over)))
    }

    fn converter(&self, channel: Channel) -> Option<Converter<'p>> {
        let ranges = self.ranges(channel)?;
        Some(Converter {
            spec: self.spec,
            rail: self.rails.get(channel.index())?,
            sense: self.spec.sense_range(ranges.sense)?,
            bus: self.spec.bus_range(ranges.bus)?,
        })
    }
}

/// The conversion that readings of one channel go through.
struct Converter<'c> {
    spec: &'static Spec,
    rail: &'c Rail,
    sense: &'static RangeSpec,
    bus: &'static RangeSpec,
}

impl Converter<'_> {
    /// Least and greatest code that a comparator of this kind sees.
    fn codes(&self, kind: Kind) -> (i64, i64) {
        let sense = i64::from(self.sense.code_max);
        let bus = i64::from(self.bus.code_max);
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => (0, bus),
            Kind::OverCurrent | Kind::UnderCurrent => (sense.wrapping_neg().wrapping_sub(1), sense),
            // 18 by 16 bits or so: far from 64.
            Kind::OverPower => (
                sense.wrapping_add(1).wrapping_mul(bus).wrapping_neg(),
                sense.wrapping_mul(bus),
            ),
        }
    }

    /// What a code stands for, in nanovolts, nanoamperes or nanowatts.
    fn value(&self, kind: Kind, code: i64) -> i64 {
        let sense_lsb = i64::from(self.sense.lsb_units);
        let bus_lsb = i64::from(self.bus.lsb_units);
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => code
                .saturating_mul(bus_lsb)
                .saturating_mul(i64::from(self.spec.bus_unit_nv)),
            Kind::OverCurrent | Kind::UnderCurrent => {
                let units = code
                    .saturating_mul(sense_lsb)
                    .clamp(i64::from(i32::MIN), i64::from(i32::MAX));
                self.rail.current(units as i32).as_nanoamps()
            }
            Kind::OverPower => {
                // The part compares what it shows, zero included, at a voltage that is not known beforehand: take the one that trips earliest.
                let units = code.saturating_mul(sense_lsb.saturating_mul(bus_lsb));
                let full = self.bus.full_scale_nv(self.spec.bus_unit_nv);
                let full = Voltage::from_nanovolts(i64::try_from(full).unwrap_or(i64::MAX));
                let at = |voltage| self.rail.power(units, voltage).as_nanowatts();
                at(Voltage::ZERO).max(at(full))
            }
        }
    }
}
