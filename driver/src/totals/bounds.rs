//! How far totals may lie from the truth.
//!
//! What is open of a stretch is added up as what the part would have to show for it: see
//! [`Margins`]. Factors of the totals then make charge and energy of it. Time is in 256ths of a
//! microsecond, and each product is over 2^32: charges are in 2^14 sense units that last a
//! microsecond, energies in 2^22 rail units times that.

use super::checkpoint::long;
use super::common::Common;
use super::flow::{PLACES, Sum};
use super::margins::{Margins, UNKNOWN};
use super::pace::{Interval, Last};
use super::quantity::Quantity;
use super::sums::{OpenSums, Sums};
use crate::board::{Board, Factors};
use crate::convert::{Words, long_product, share};
use crate::info::PartInfo;
use crate::monitor::Timestamp;

/// Totals without bounds: nothing is kept for them but the board, and nothing linked.
#[derive(Clone, Copy, Debug)]
pub struct NoBounds<'b, const N: usize> {
    pub(super) board: &'b Board<N>,
}

/// Totals with a bound each.
///
/// A bound is the sum of limits, rounded up, and never falls. Constant relative errors (gain,
/// resistor, the host's clock) count for the net total of a stretch; what changes meanwhile
/// (temperature, the part's oscillator) for what was turned over whichever way, as declared;
/// offset, noise, the ends of a stretch and jumps of load and source for themselves.
#[derive(Clone, Copy, Debug)]
pub struct Bounds<'b, const N: usize> {
    margins: &'b Margins<'b, N>,
    /// Length of the bracket that the stretch began with.
    width_us: u32,
    interval: Interval,
    /// Bounds of charge and energy of the stretches that have ended, in 16 nC and 16 nJ; the
    /// greatest number for anything.
    pub(super) closed: [[u64; 2]; N],
}

/// Binary places of a sum below 16 nC and 16 nJ.
const FINER: u32 = PLACES + 4;

/// What is kept besides totals: [`NoBounds`] or [`Bounds`].
pub trait Keep<'b, const N: usize>: Sealed<'b, N> {}

/// What totals do with it.
pub trait Sealed<'b, const N: usize> {
    /// The board that codes are converted by.
    fn board(&self) -> &'b Board<N>;

    /// A stretch begins, with a bracket of this length.
    fn begin(&mut self, width_us: u32);

    /// It goes on from the last sample to one with this bracket.
    fn go_on(&mut self, info: &PartInfo, last: Last, now: Timestamp);

    /// It ends.
    fn close(&mut self, common: &Common, rails: &[Sums; N]);

    /// Words in a checkpoint.
    const WORDS: usize;

    /// Every word of it.
    fn words(&mut self, word: &mut dyn FnMut(&mut u32));
}

/// What is known of one rail in a stretch.
pub struct Stretch<'s> {
    pub(super) common: &'s Common,
    pub(super) sums: &'s OpenSums,
    pub(super) factors: &'s Factors,
}

impl<'b, const N: usize> Keep<'b, N> for NoBounds<'b, N> {}

impl<'b, const N: usize> Sealed<'b, N> for NoBounds<'b, N> {
    #[inline(always)]
    fn board(&self) -> &'b Board<N> {
        self.board
    }

    #[inline(always)]
    fn begin(&mut self, _: u32) {}

    #[inline(always)]
    fn go_on(&mut self, _: &PartInfo, _: Last, _: Timestamp) {}

    #[inline(always)]
    fn close(&mut self, _: &Common, _: &[Sums; N]) {}

    const WORDS: usize = 0;

    #[inline(always)]
    fn words(&mut self, _: &mut dyn FnMut(&mut u32)) {}
}

impl<'b, const N: usize> Keep<'b, N> for Bounds<'b, N> {}

impl<'b, const N: usize> Sealed<'b, N> for Bounds<'b, N> {
    #[inline(always)]
    fn board(&self) -> &'b Board<N> {
        self.margins.board
    }

    #[inline(always)]
    fn begin(&mut self, width_us: u32) {
        self.width_us = width_us;
        self.interval = Interval::NONE;
    }

    #[inline(always)]
    fn go_on(&mut self, info: &PartInfo, last: Last, now: Timestamp) {
        self.interval.take(info, last, now);
    }

    #[inline(always)]
    fn close(&mut self, common: &Common, rails: &[Sums; N]) {
        let rails = rails.iter().zip(self.margins.board.all_factors());
        for (place, (sums, factors)) in rails.enumerate() {
            let stretch = Stretch {
                common,
                sums: &sums.open,
                factors,
            };
            let bounds =
                Quantity::BOTH.map(|quantity| self.with_stretch(place, quantity, &stretch));
            if let Some(closed) = self.closed.get_mut(place) {
                *closed = bounds;
            }
        }
    }

    const WORDS: usize = 2 + 4 * N;

    #[inline(always)]
    fn words(&mut self, word: &mut dyn FnMut(&mut u32)) {
        word(&mut self.width_us);
        word(&mut self.interval.0);
        for bound in self.closed.iter_mut().flatten() {
            long(bound, word);
        }
    }
}

impl<'b, const N: usize> Bounds<'b, N> {
    #[inline(always)]
    pub(super) const fn new(margins: &'b Margins<'b, N>) -> Self {
        Self {
            margins,
            width_us: 0,
            interval: Interval::NONE,
            closed: const { [[0; 2]; N] },
        }
    }

    /// The next stretch begins with other margins.
    pub(super) const fn set_margins(&mut self, margins: &'b Margins<'b, N>) {
        self.margins = margins;
    }

    /// Whether a load is declared on a rail.
    pub(super) fn covers_load(&self, place: usize) -> bool {
        let rail = self.margins.rails.get(place);
        rail.is_some_and(|rail| rail.load_declared)
    }

    /// Bound of a total in whole units, the open stretch included.
    #[inline(always)]
    pub(super) fn total(&self, place: usize, quantity: Quantity, stretch: &Stretch<'_>) -> i128 {
        match self.with_stretch(place, quantity, stretch) {
            u64::MAX => i128::MAX,
            // One more for rounding the total to whole units.
            bound => (i128::from(bound) << 4).wrapping_add(1),
        }
    }

    /// Bound in 16 nC or 16 nJ, a stretch included.
    #[inline(never)]
    fn with_stretch(&self, place: usize, quantity: Quantity, stretch: &Stretch<'_>) -> u64 {
        let closed = self.closed.get(place).map_or(0, |both| quantity.of(*both));
        if stretch.common.scans == 0 {
            return closed;
        }
        let Some(ranges) = stretch.sums.ranges() else {
            return closed; // not enabled
        };
        let Some(shown) = self.shown(place, quantity, stretch, ranges) else {
            return u64::MAX;
        };
        // 2^(14 + 8) 256ths of a sense unit, or 2^(14 + 22 + 8); see `Common::add_shown`.
        let (mantissa, places) = quantity.factor(stretch.factors);
        let more = match quantity {
            Quantity::Charge => 60 + 22 - 64,
            Quantity::Energy => 60 + 44 - 96,
        };
        let scale = 1_u64.unbounded_shl(u32::from(places).wrapping_add(more));
        let Words([_, _, a, b, c, ..]) = long_product(shown.into(), &[mantissa, scale]);
        if c >> FINER != 0 {
            return u64::MAX;
        }
        let low = u64::from(b) << 32 | u64::from(a);
        let bound = low >> FINER | u64::from(c) << (64 - FINER);
        closed.saturating_add(bound).saturating_add(1)
    }

    /// What the part would have to show for what is open of a stretch; `None` where nothing is
    /// known.
    #[inline(always)]
    fn shown(
        &self,
        place: usize,
        quantity: Quantity,
        stretch: &Stretch<'_>,
        (sense, volts): (u8, u8),
    ) -> Option<u64> {
        let margins = self.margins;
        let rail = margins.rails.get(place)?;
        let [first, others] = &rail.ranges;
        let range = if sense == 0 { first } else { others };
        let [first, second, others] = &margins.voltages;
        let volts = match volts {
            0 => first,
            1 => second,
            _ => others,
        };
        if range.relative == UNKNOWN || volts.relative == UNKNOWN {
            return None;
        }
        let open = stretch.common;
        let scans = open.scans;
        let period_us = u64::from(open.pace.period_us);
        // What lies between two samples that the driver adds up; it is more than a scan period, and
        // then scans are ticks: no fewer than samples.
        let apart_us = u64::from(self.interval.of(quantity, open.pace.period_us));
        let duration = open.open_twice_us() << 7;
        // Where weights of samples come to a duration and none is above the greatest interval, the
        // root of the sum of their squares is at most that of duration × interval.
        let noisy = match apart_us == period_us {
            true => above_root(scans).wrapping_mul(period_us),
            false => {
                let duration = above_root(scans.wrapping_mul(period_us));
                duration.wrapping_mul(above_root(apart_us))
            }
        } << 8;
        // Each end is uncertain by a scan and half its bracket, and shifts the time that is counted
        // as much as what flows in it; and there may be one jump more than there is time for.
        let ends = period_us
            .wrapping_mul(4)
            .wrapping_add(apart_us)
            .wrapping_add(self.width_us.into())
            .wrapping_add(open.last.width_us.into())
            .wrapping_add(margins.wake_us.into())
            << 8;
        let steps = |per_us: u32| {
            let lasting = u64::from(per_us).wrapping_mul(apart_us) >> 12; // 32 by 32 bits
            u32::try_from(lasting).ok()
        };

        // Over 1 − ρ: ρ ÷ (1 − ρ) more.
        let over_rest = |open: u64| {
            open.wrapping_add(share(open, range.relative))
                .wrapping_add(1)
        };
        let absolute = share(duration, range.lasting).wrapping_add(share(noisy, range.noise));
        let absolute = over_rest(absolute.wrapping_add(2))
            .wrapping_add(share(duration, steps(rail.steps)?))
            .wrapping_add(share(ends, rail.greatest))
            .wrapping_add(3);
        let charge = turned_over(stretch, Quantity::Charge);
        let net = absolute.wrapping_add(share(charge, range.relative));
        // What was turned over at the most.
        let turned = match rail.mean {
            0 => charge.wrapping_add(net),
            mean => {
                let at_least = u64::from(rail.mean_over) << 24;
                share(duration.max(at_least).wrapping_add(ends), mean)
            }
        };
        let turned = turned.wrapping_add(1);
        if quantity == Quantity::Charge {
            return Some(net.wrapping_add(share(turned, rail.changing)));
        }
        // What is open of the current at the greatest voltage, and what is open of the voltage at
        // what was turned over, or at the greatest current.
        let voltage = match rail.voltage {
            0 => volts.greatest,
            declared => declared,
        };
        let unweighed = match stretch.factors.offset_256ths().unsigned_abs() {
            0 => 0,
            // And its rounding, in 1024ths.
            offset => {
                let parts = share(u64::from(offset).wrapping_add(1) << 2, rail.unweighed);
                u32::try_from(parts).ok()?.checked_add(1)?
            }
        };
        let at_voltage = absolute.wrapping_add(over_rest(share(duration, unweighed)));
        let changing = share(voltage.into(), rail.changing) as u32;
        let at_turned = changing.checked_add(volts.offset)?.checked_add(1)?;
        let at_greatest = share(duration, steps(rail.voltage_steps)?)
            .wrapping_add(share(noisy, volts.noise))
            .wrapping_add(2);
        let both = share(range.relative.into(), volts.relative) as u32;
        let relative = range.relative.checked_add(volts.relative)?;
        let relative = relative.checked_add(both)?.checked_add(1)?;
        let energy = turned_over(stretch, Quantity::Energy);
        Some(
            share(at_voltage, voltage)
                .wrapping_add(share(turned, at_turned))
                .wrapping_add(share(at_greatest, rail.greatest))
                .wrapping_add(share(energy, relative))
                .wrapping_add(5),
        )
    }
}

/// The magnitude of what flowed in a stretch, as shown: charge in 2^14 sense units that last a
/// microsecond, energy in 2^22 rail units times that.
#[inline(never)]
fn turned_over(stretch: &Stretch<'_>, quantity: Quantity) -> u64 {
    // 256ths of a sense unit have eight places; for the rest see `Common::add_shown`.
    let by = match quantity {
        Quantity::Charge => (1, 64 + 5 - 1 - 8 - 14),
        Quantity::Energy => (1 << 16, 96 + 5 - 1 - 8 - 14 - 22 - 16),
    };
    let Stretch {
        common,
        sums,
        factors,
    } = *stretch;
    let mut sum = Sum::ZERO;
    common.add_shown(sums, factors, quantity, by, &mut sum);
    (sum.get().unsigned_abs() as u64).wrapping_add(1)
}

/// Not below the root of a number of at least one, and at most a quarter above it: of 2^2k × m with
/// m from 1 to 4, the mean of 2^k and 2^k × m is not below 2^k √m.
#[inline(never)] // linked once
const fn above_root(number: u64) -> u64 {
    let half = 63_u32.saturating_sub(number.leading_zeros()) / 2;
    ((1_u64 << half).wrapping_add(number >> half) >> 1).wrapping_add(1)
}
