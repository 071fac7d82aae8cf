//! How fast the part counts, and what the host's clock makes of it.

use super::{Break, Ledger};
use crate::frame::Stamp;
use crate::part::{Pace, Source, Spec};
use crate::sampling::Mode;
use crate::wide::{divided, over, product_of_halves};

impl<const N: usize> Ledger<'_, N> {
    /// Does the count of rounds fit the host's clock, within the oscillator's limits, two rounds and the brackets?
    #[inline]
    pub(super) fn plausible(&self, counted: u32, from: Stamp, to: Stamp) -> Result<(), Break> {
        let period_us = self.segment.period_us;
        let least_us = to.before_us.saturating_sub(from.after_us);
        let greatest_us = to.after_us.saturating_sub(from.before_us);
        let fits = match self.spec.sums {
            Source::Part => self.fits(counted, least_us, greatest_us),
            // Microseconds of the host's clock, between two moments within the brackets.
            Source::Driver => (least_us..=greatest_us).contains(&u64::from(counted)),
        };
        if period_us == 0 || fits {
            return Ok(());
        }
        let expected = match self.spec.sums {
            Source::Part => divided(u128::from(greatest_us), u128::from(period_us)),
            Source::Driver => None,
        };
        let expected = expected.map_or(greatest_us, |rounds| rounds as u64); // no more than it was before
        Err(Break::Rounds { counted, expected })
    }

    fn fits(&self, counted: u32, least_us: u64, greatest_us: u64) -> bool {
        let period_us = self.segment.period_us;
        let start_us =
            u64::from(self.spec.wake_us).saturating_add(u64::from(period_us).saturating_mul(2));
        // 32 by 32 bits fit in 64.
        let counted_us = u64::from(counted).wrapping_mul(u64::from(period_us));
        // The part counts its own time, which the host sees through its own clock: both errors at their worst at once. Too few are
        // counted < least × less ÷ more − start, too many counted > greatest × more ÷ less + start, quotients rounded down; here without a division.
        let (part, host) = (self.spec.oscillator.error_ppm, self.board.clock().as_ppm());
        let with_start_us = counted_us.saturating_add(start_us).saturating_add(1);
        exceeds((with_start_us, more(host)), (least_us, less(part)))
            && !exceeds(
                (counted_us.saturating_sub(start_us), less(host)),
                (greatest_us, more(part)),
            )
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
            (Source::Driver, _) => period_us,
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
        over(&u128::from(slowest_ns), &1, &1_000) as u64 // no more than it was before
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

/// Whether the first product is greater than the second.
fn exceeds((a, b): (u64, u64), (c, d): (u64, u64)) -> bool {
    // Times within the hour fit 32 bits, and so do millionths.
    if (a | b | c | d) >> 32 == 0 {
        return a.wrapping_mul(b) > c.wrapping_mul(d);
    }
    product_of_halves(a, b) > product_of_halves(c, d)
}

/// Rounds at full scale until a sum could wrap unseen. The very last count may already be ambiguous, and a round may be in progress at either end.
pub(super) fn safe_rounds(spec: &Spec) -> Option<u64> {
    let sense_max = spec.sense.iter().map(|range| range.code_max).max()?;
    let bus_max = spec.bus.iter().map(|range| range.code_max).max()?;
    let half = |bits: u8| {
        1_u64
            .checked_shl(u32::from(bits.saturating_sub(1)))
            .unwrap_or_default()
    };
    let sense_step = u64::from(sense_max).saturating_add(1);
    let rounds = |bits, step| {
        let rounds = divided(u128::from(half(bits)), u128::from(step))?;
        Some(rounds as u64) // no more than it was before
    };
    let charge = rounds(spec.accumulators.charge_bits, sense_step)?;
    let energy = rounds(
        spec.accumulators.energy_bits,
        sense_step.saturating_mul(u64::from(bus_max)),
    )?;
    let count = half(spec.accumulators.rounds_bits).saturating_mul(2);
    Some(charge.min(energy).min(count).saturating_sub(4))
}

/// `us` × `numerator` ÷ `denominator`, rounded down; without end where the denominator is 0.
#[inline(never)]
pub(super) fn scaled(us: u64, numerator: u64, denominator: u64) -> u64 {
    divided(product_of_halves(us, numerator), u128::from(denominator))
        .and_then(|us| u64::try_from(us).ok())
        .unwrap_or(u64::MAX)
}
