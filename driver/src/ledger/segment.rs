//! A stretch of time over which one set-up ran and no count was lost.

use crate::part::Counters;
use crate::sampling::Ranges;

/// One rail's sums over the open segment, in codes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Sums {
    /// Ranges in force; `None` where the channel is left out or not known yet.
    pub(super) ranges: Option<Ranges>,
    /// Sum of power codes, unwrapped.
    pub(super) energy: i128,
    /// Sum of sense codes, unwrapped.
    pub(super) charge: i128,
    /// Sum of twice the bus voltage over `bus_rounds`, in bus units, from latched readings: trapezoids.
    pub(super) twice_bus: u128,
    /// Rounds for which latched readings stand: those before the first complete one are left out.
    pub(super) bus_rounds: u64,
    /// Bus units as last latched.
    pub(super) bus: Option<u32>,
    /// Part's running sums as last latched.
    pub(super) last: Counters,
    /// Some sense conversion was clipped.
    pub(super) sense_clipped: bool,
    /// Some bus conversion was clipped.
    pub(super) bus_clipped: bool,
}

impl Sums {
    /// Sums that begin with the part's running sums at `counters`.
    pub(super) fn from(counters: Counters, ranges: Option<Ranges>) -> Self {
        Self {
            ranges,
            last: counters,
            ..Self::default()
        }
    }

    /// Adds what the part counted since the latch before, across at most one rollover each.
    pub(super) fn advance(&mut self, counters: Counters, charge: Wrap, energy: Wrap) {
        let charge = charge.difference(counters.charge, self.last.charge);
        let energy = energy.difference(counters.energy, self.last.energy);
        // At most 2^63 per latch: 128 bits hold more latches than there can be.
        self.charge = self.charge.wrapping_add(i128::from(charge));
        self.energy = self.energy.wrapping_add(i128::from(energy));
        self.last = counters;
    }

    /// Notes the bus voltage latched after `rounds` more rounds.
    pub(super) fn note_bus(&mut self, units: u32, rounds: u32) {
        // Each product fits 64 bits, and 128 hold 2^63 of them.
        let rounds_64 = u64::from(rounds);
        let now = u64::from(units).wrapping_mul(rounds_64);
        let before = u64::from(self.bus.unwrap_or(units)).wrapping_mul(rounds_64);
        self.twice_bus = self
            .twice_bus
            .wrapping_add(u128::from(now))
            .wrapping_add(u128::from(before));
        self.bus = Some(units);
        self.bus_rounds = self.bus_rounds.saturating_add(u64::from(rounds));
    }
}

/// Where a signed counter of some width wraps: worked out once for many differences, since shifts by a variable are dear on small cores.
#[derive(Clone, Copy)]
pub(crate) struct Wrap {
    half: u64,
}

impl Wrap {
    /// Of a counter `bits` wide, 1 to 64; any other has no differences.
    pub(crate) fn of(bits: u8) -> Self {
        let half = 1_u64
            .checked_shl(u32::from(bits).wrapping_sub(1))
            .unwrap_or_default();
        Self { half }
    }

    /// `now - before`: right while the true difference is less than half the counter's span.
    pub(crate) const fn difference(self, now: i64, before: i64) -> i64 {
        // From half a span below zero up; what is beyond the span falls away.
        let mask = self.half.wrapping_mul(2).wrapping_sub(1);
        let above = (now.wrapping_sub(before) as u64).wrapping_add(self.half);
        (above & mask).wrapping_sub(self.half) as i64
    }
}

/// `now - before` of a signed counter `bits` wide that wraps: right while the true difference is less than half the counter's span.
pub(crate) fn wrapped_difference(now: i64, before: i64, bits: u8) -> i64 {
    Wrap::of(bits).difference(now, before)
}

/// `now - before` of an unsigned counter `bits` (at most 32) wide that wraps.
pub(crate) fn wrapped_count(now: u32, before: u32, bits: u8) -> u32 {
    let spare = 32_u32.saturating_sub(u32::from(bits));
    now.wrapping_sub(before)
        .checked_shl(spare)
        .and_then(|left| left.checked_shr(spare))
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differences_across_the_wrap_at_each_width() {
        for bits in 2..=64_u8 {
            let half = 1_i128 << (bits - 1);
            let wrap = |value: i128| {
                let span = 2 * half;
                let folded = value.rem_euclid(span);
                (if folded >= half {
                    folded - span
                } else {
                    folded
                }) as i64
            };
            for start in [-half, -1, 0, half - 1] {
                for step in [-half, 1 - half, -1, 0, 1, half - 1] {
                    let now = wrap(start + step);
                    assert_eq!(
                        i128::from(wrapped_difference(now, wrap(start), bits)),
                        step,
                        "{bits} bits: {start} + {step}"
                    );
                }
            }
        }
    }

    #[test]
    fn rounds_across_the_wrap() {
        assert_eq!(wrapped_count(5, 0x0FFF_FFFE, 28), 7);
        assert_eq!(wrapped_count(0, 0, 28), 0);
        assert_eq!(wrapped_count(3, u32::MAX, 32), 4);
    }
}
