//! How fast the part counts, and what the host's clock makes of it.

use super::{Break, Ledger};
use crate::frame::Stamp;
use crate::part::Pace;
use crate::sampling::Mode;

impl<const N: usize> Ledger<'_, N> {
    /// Does the part's count of rounds fit the host's clock, within the oscillator's limits, two rounds and the brackets?
    pub(super) fn plausible(
        &self,
        mode: Mode,
        counted: u32,
        from: Stamp,
        to: Stamp,
    ) -> Result<(), Break> {
        let Some(period_us) = self.period_us(mode) else {
            return Ok(());
        };
        let least_us = to.before_us.saturating_sub(from.after_us);
        let greatest_us = to.after_us.saturating_sub(from.before_us);
        let start_us =
            u64::from(self.spec.wake_us).saturating_add(u64::from(period_us).saturating_mul(2));
        let counted_us = u64::from(counted).saturating_mul(u64::from(period_us));
        // The part counts its own time, which the host sees through its own clock: both errors at their worst at once.
        let (part, host) = (self.spec.oscillator.error_ppm, self.board.clock().as_ppm());
        let slower = scaled(least_us, less(part), more(host)).saturating_sub(start_us);
        let faster = scaled(greatest_us, more(part), less(host)).saturating_add(start_us);
        if counted_us < slower || counted_us > faster {
            let expected = greatest_us
                .checked_div(u64::from(period_us))
                .unwrap_or_default();
            return Err(Break::Rounds { counted, expected });
        }
        Ok(())
    }

    /// How long the part's sums can run at full scale before a wrap could hide, by the host's clock.
    pub(super) fn safe_us(&self, mode: Option<Mode>) -> Option<u64> {
        // While the mode is not known yet the fastest pace is assumed.
        let period_us = u64::from(self.period_us(mode.unwrap_or(Mode::Paced(Pace(0))))?);
        let sense_max = self.spec.sense.iter().map(|range| range.code_max).max()?;
        let bus_max = self.spec.bus.iter().map(|range| range.code_max).max()?;
        let accumulators = self.spec.accumulators;
        let half = |bits: u8| {
            1_u128
                .checked_shl(u32::from(bits.saturating_sub(1)))
                .unwrap_or_default()
        };
        let sense_step = u128::from(sense_max).saturating_add(1);
        let charge_rounds = half(accumulators.charge_bits).checked_div(sense_step)?;
        let energy_rounds = half(accumulators.energy_bits)
            .checked_div(sense_step.saturating_mul(u128::from(bus_max)))?;
        let count_rounds = half(accumulators.rounds_bits).saturating_mul(2);
        // The very last count may already be ambiguous, and a round may be in progress at either end.
        let rounds = charge_rounds
            .min(energy_rounds)
            .min(count_rounds)
            .saturating_sub(4);
        let us = u64::try_from(rounds)
            .unwrap_or(u64::MAX)
            .saturating_mul(period_us);
        let (part, host) = (self.spec.oscillator.error_ppm, self.board.clock().as_ppm());
        Some(scaled(us, less(host), more(part)))
    }

    /// The longest that the conversions of one round take, by the slowest oscillator.
    pub(super) fn round_us(&self) -> u64 {
        let nominal_ns = u64::from(self.spec.conversion_ns)
            .saturating_mul(2)
            .saturating_mul(u64::from(self.spec.channels));
        let slowest_ns = scaled(nominal_ns, 1_000_000, less(self.spec.oscillator.error_ppm));
        slowest_ns.div_ceil(1_000)
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

/// `us` × `numerator` ÷ `denominator`, rounded down; without end where the denominator is 0.
pub(super) fn scaled(us: u64, numerator: u64, denominator: u64) -> u64 {
    u128::from(us)
        .saturating_mul(u128::from(numerator))
        .checked_div(u128::from(denominator))
        .and_then(|us| u64::try_from(us).ok())
        .unwrap_or(u64::MAX)
}
