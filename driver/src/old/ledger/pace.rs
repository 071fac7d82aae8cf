//! How fast the part counts, and what the host's clock makes of it.

use super::{Break, Keep, Ledger};
use crate::old::part::{Pace, RangeSpec, Source, Spec};
use crate::old::sampling::Mode;
use crate::old::wide::chained;

impl<const N: usize, K: Keep> Ledger<'_, N, K> {
    /// Does the count of rounds fit the host's clock, on which at least and at most so much time has passed, within the oscillator's limits and two rounds?
    #[inline]
    pub(super) fn plausible(
        &self,
        counted: u32,
        least_us: u64,
        greatest_us: u64,
    ) -> Result<(), Break> {
        let counted_us = self.counted_us(counted);
        // Within a 128th there is no need for a closer look, where oscillators may be off by more than that.
        let near = self.spec.sums == Source::Part
            && self.spec.oscillator.error_ppm > 1_000_000 >> 7
            && counted_us.saturating_add(least_us >> 7) >= least_us
            && counted_us <= greatest_us.saturating_add(greatest_us >> 7);
        if near || self.segment.period_us == 0 {
            return Ok(());
        }
        self.looked_at_closely(counted, least_us, greatest_us)
    }

    #[inline(never)]
    fn looked_at_closely(
        &self,
        counted: u32,
        least_us: u64,
        greatest_us: u64,
    ) -> Result<(), Break> {
        let period_us = u64::from(self.segment.period_us);
        let counted_us = self.counted_us(counted);
        let (part, host) = (self.spec.oscillator.error_ppm, self.board.clock().as_ppm());
        let (fits, expected) = match self.spec.sums {
            Source::Part => {
                let start_us =
                    u64::from(self.spec.wake_us).saturating_add(period_us.wrapping_mul(2));
                // The part counts its own time, which the host sees through its own clock: both errors at their worst at once.
                let fewest_us = scaled(least_us, less(part), more(host)).saturating_sub(start_us);
                let most_us = scaled(greatest_us, more(part), less(host)).saturating_add(start_us);
                let expected = scaled(greatest_us, 1, period_us);
                ((fewest_us..=most_us).contains(&counted_us), expected)
            }
            // Microseconds of the host's clock, between two moments within the brackets.
            Source::Driver => ((least_us..=greatest_us).contains(&counted_us), greatest_us),
        };
        if fits {
            Ok(())
        } else {
            Err(Break::Rounds { counted, expected })
        }
    }

    /// The time that a count stands for; 32 by 32 bits fit in 64.
    const fn counted_us(&self, counted: u32) -> u64 {
        self.spec.counted_us(counted as u64, self.segment.period_us)
    }

    /// How long after a frame the next is safe, by the host's clock; without end where nothing counts. While the mode is not known yet the fastest pace is assumed.
    ///
    /// Where the part keeps the sums, until they could wrap unseen, whatever flows within full scale. Where the driver does, as long as the firmware's promise.
    pub(super) fn safe_us(&self, mode: Option<Mode>) -> u64 {
        let Some(period_us) = self.period_us(mode.unwrap_or(Mode::Paced(Pace(0)))) else {
            return u64::MAX;
        };
        let period_us = u64::from(period_us);
        let (part, host) = (self.spec.oscillator.error_ppm, self.board.clock().as_ppm());
        match (self.spec.sums, safe_rounds(self.spec)) {
            // There a round is a microsecond.
            (Source::Driver, rounds) => period_us.min(rounds.unwrap_or(u64::MAX)),
            (Source::Part, Some(rounds)) => {
                scaled(rounds.saturating_mul(period_us), less(host), more(part))
            }
            (Source::Part, None) => u64::MAX,
        }
    }

    /// The longest that the conversions of one round take, by the slowest oscillator.
    pub(super) fn round_us(&self) -> u64 {
        let nominal_ns = u64::from(self.spec.conversion_ns)
            .saturating_mul(2)
            .saturating_mul(u64::from(self.spec.channels));
        let slowest_ns = scaled(nominal_ns, 1_000_000, less(self.spec.oscillator.error_ppm));
        scaled(slowest_ns.saturating_add(999), 1, 1_000)
    }

    pub(super) fn period_us(&self, mode: Mode) -> Option<u32> {
        match mode {
            Mode::Paced(pace) => self.spec.period_us(pace),
            Mode::Idle | Mode::SingleShot | Mode::Burst(_) => None,
        }
    }
}

/// A million parts and `ppm` more.
pub(super) const fn more(ppm: u32) -> u64 {
    1_000_000_u64.saturating_add(ppm as u64)
}

/// A million parts less `ppm`.
pub(super) const fn less(ppm: u32) -> u64 {
    1_000_000_u64.saturating_sub(ppm as u64)
}

/// Rounds at full scale until a sum could wrap unseen. The very last count may already be ambiguous, and a round may be in progress at either end.
#[inline(never)]
fn safe_rounds(spec: &Spec) -> Option<u64> {
    let code_max = |ranges: &[RangeSpec]| ranges.iter().map(|range| range.code_max).max();
    let sense_step = u64::from(code_max(spec.sense)?).wrapping_add(1);
    // 33 by 32 bits; a bus code of 0 alone would make no energy.
    let energy_step = sense_step.saturating_mul(u64::from(code_max(spec.bus)?.max(1)));
    let widths = &spec.accumulators;
    let steps = [
        (widths.charge_bits, sense_step),
        (widths.energy_bits, energy_step),
        (widths.rounds_bits.saturating_add(1), 1),
    ];
    let rounds = steps.into_iter().map(|(bits, step)| {
        let half = 1_u64.checked_shl(u32::from(bits).saturating_sub(1));
        scaled(half.unwrap_or_default(), 1, step)
    });
    Some(rounds.min()?.saturating_sub(4))
}

/// `us` × `numerator` ÷ `denominator`, rounded down; without end where the denominator is 0.
#[inline(never)]
pub(super) fn scaled(us: u64, numerator: u64, denominator: u64) -> u64 {
    let (us, _) = chained(u128::from(us), &[numerator], &[denominator]);
    u64::try_from(us).unwrap_or(u64::MAX)
}
