use super::{Accumulators, Codes, Counters};
use crate::old::sampling::Ranges;

/// One channel's sums over the stretch of time that a ledger has open, unwrapped, in codes.
///
/// What [`Codec::tally`](super::Codec::tally) adds to; a register map that makes do with the provided method need not know it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tally {
    /// Sum of sense codes as the part would show it if it had 96 bits: the part's own at the beginning, and what was counted since.
    pub(crate) charge: Wide,
    /// Sum of power codes, likewise.
    pub(crate) energy: Wide,
    /// What the part's sums were at the beginning.
    pub(crate) from: Counters,
    /// Sum of bus codes over the rounds that readings stand for, doubled: trapezoids. Kept where [`weighs`](Self::weighs) alone.
    pub(crate) twice_bus: Wide,
    /// Bus code as last latched, and whether there is one.
    pub(crate) bus: u32,
    pub(crate) bus_known: bool,
    /// Whether the bus voltage is summed up: what a zero takes off goes by it.
    pub(crate) weighs: bool,
    /// Ranges in force; `None` where the channel is left out or not known yet.
    pub(crate) ranges: Option<Ranges>,
    /// Some sense conversion was clipped.
    pub(crate) sense_clipped: bool,
    /// Some bus conversion was clipped.
    pub(crate) bus_clipped: bool,
}

/// A number of 96 bits, which cores of 32 bits add to without carrying a fourth word along.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Wide {
    /// Least significant first.
    pub(crate) words: [u32; 3],
}

impl Wide {
    const fn of(number: u64) -> Self {
        Self {
            words: [number as u32, (number >> 32) as u32, 0],
        }
    }

    const fn low(self) -> u64 {
        let [low, mid, _] = self.words;
        (mid as u64) << 32 | low as u64
    }

    /// With the uppermost bit as sign.
    const fn signed(self) -> i128 {
        let [_, _, high] = self.words;
        (high as i32 as i128) << 64 | self.low() as i128
    }

    /// Adds a number of 64 bits with its sign.
    #[inline(always)]
    fn add(&mut self, step: i64) {
        let (low, carry) = self.low().overflowing_add(step as u64);
        let [_, _, high] = self.words;
        let sign = (step >> 63) as u32;
        let high = high.wrapping_add(sign).wrapping_add(u32::from(carry));
        self.words = [low as u32, (low >> 32) as u32, high];
    }
}

/// `now - before` of a signed counter `bits` wide that wraps: right while the true difference is less than half the counter's span.
#[inline(always)]
pub(crate) const fn wrapped_difference(now: i64, before: i64, bits: u8) -> i64 {
    let spare = 64_u32.saturating_sub(bits as u32);
    let above = now.wrapping_sub(before).checked_shl(spare);
    match above {
        Some(above) => above.wrapping_shr(spare),
        None => 0, // no bits, no differences
    }
}

impl Tally {
    /// Of a rail without any account.
    pub(crate) const EMPTY: Self = Self::from(
        Counters {
            charge: 0,
            energy: 0,
        },
        None,
        false,
    );

    /// Begins with the part's running sums at `counters`.
    pub(crate) const fn from(counters: Counters, ranges: Option<Ranges>, weighs: bool) -> Self {
        Self {
            charge: Wide::of(counters.charge as u64),
            energy: Wide::of(counters.energy as u64),
            from: counters,
            twice_bus: Wide { words: [0; 3] },
            bus: 0,
            bus_known: false,
            weighs,
            ranges,
            sense_clipped: false,
            bus_clipped: false,
        }
    }

    /// The same from here on, with the reading of the bus that was latched last.
    pub(crate) const fn again(&self, weighs: bool) -> Self {
        let counters = Counters {
            charge: self.charge.low() as i64,
            energy: self.energy.low() as i64,
        };
        Self {
            bus: self.bus,
            bus_known: self.bus_known,
            ..Self::from(counters, self.ranges, weighs)
        }
    }

    /// Adds what the part counted since the latch before, across at most one rollover each; `rounds` are those for which a complete reading stands, none if it is not.
    #[inline(always)]
    pub(crate) fn add(
        &mut self,
        widths: Accumulators,
        counters: Counters,
        codes: Codes,
        rounds: Option<u32>,
    ) {
        let (charge, energy) = (self.charge.low() as i64, self.energy.low() as i64);
        self.charge.add(wrapped_difference(
            counters.charge,
            charge,
            widths.charge_bits,
        ));
        self.energy.add(wrapped_difference(
            counters.energy,
            energy,
            widths.energy_bits,
        ));
        if codes.sense_clipped | codes.bus_clipped {
            self.sense_clipped |= codes.sense_clipped;
            self.bus_clipped |= codes.bus_clipped;
        }
        if let Some(rounds) = rounds {
            if self.weighs {
                self.weigh(codes.bus, rounds);
            }
            (self.bus, self.bus_known) = (codes.bus, true);
        }
    }

    #[inline(never)]
    fn weigh(&mut self, code: u32, rounds: u32) {
        let before = if self.bus_known { self.bus } else { code };
        for code in [code, before] {
            // 64 bits without a sign: in two halves with one.
            let area = u64::from(code).wrapping_mul(u64::from(rounds));
            self.twice_bus.add((area >> 1) as i64);
            self.twice_bus.add(area.wrapping_sub(area >> 1) as i64);
        }
    }

    /// Sum of sense codes.
    pub(crate) const fn charge(&self) -> i128 {
        // Below 2^96.
        self.charge
            .signed()
            .wrapping_sub(self.from.charge as u64 as i128)
    }

    /// Sum of power codes.
    pub(crate) const fn energy(&self) -> i128 {
        self.energy
            .signed()
            .wrapping_sub(self.from.energy as u64 as i128)
    }

    /// Sum of twice the bus code over the rounds that readings stand for.
    pub(crate) const fn twice_bus(&self) -> u128 {
        self.twice_bus.signed().unsigned_abs()
    }
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

    const WIDTHS: Accumulators = Accumulators {
        energy_bits: 60,
        charge_bits: 44,
        rounds_bits: 28,
    };

    /// Sums of thousands of the greatest steps, against whole numbers of 128 bits.
    #[test]
    fn sums_go_on_beyond_the_widths_in_both_directions() {
        for (charge_step, energy_step) in [((1 << 43) - 1, -(1 << 59)), (-(1 << 43), (1 << 59) - 1)]
        {
            for start in [-5_i64, 0, 7] {
                let mut truth = (i128::from(start), i128::from(start));
                let counters = |truth: (i128, i128)| Counters {
                    charge: (truth.0 as i64) << 20 >> 20,
                    energy: (truth.1 as i64) << 4 >> 4,
                };
                let mut tally = Tally::from(counters(truth), None, false);
                for _ in 0..5_000 {
                    truth = (truth.0 + charge_step, truth.1 + energy_step);
                    tally.add(WIDTHS, counters(truth), Codes::default(), None);
                }
                let start = i128::from(start);
                assert_eq!(
                    (tally.charge(), tally.energy()),
                    (truth.0 - start, truth.1 - start)
                );
                assert!(truth.1.unsigned_abs() > 1 << 70);
                let again = tally.again(false);
                assert_eq!((again.charge(), again.energy()), (0, 0));
            }
        }
    }

    /// By hand: the first reading stands for its own rounds, the next ones for trapezoids; no reading, no rounds.
    #[test]
    fn bus_codes_are_weighed_by_rounds_where_a_zero_needs_it() {
        let code = |bus| Codes {
            bus,
            ..Codes::default()
        };
        let run = |weighs| {
            let mut tally = Tally::from(Counters::default(), None, weighs);
            for (bus, rounds) in [
                (9, None),
                (100, Some(3)),
                (200, Some(5)),
                (u32::MAX, Some(u32::MAX)),
            ] {
                tally.add(WIDTHS, Counters::default(), code(bus), rounds);
            }
            tally
        };
        let greatest = u128::from(u32::MAX);
        assert_eq!(
            run(true).twice_bus(),
            600 + 1_500 + greatest * (greatest + 200)
        );
        assert_eq!(run(false).twice_bus(), 0);
        // A new beginning knows the last reading, whether or not it was summed up.
        let mut again = run(false).again(true);
        again.add(WIDTHS, Counters::default(), code(0), Some(2));
        assert_eq!(again.twice_bus(), 2 * greatest);
    }
}
