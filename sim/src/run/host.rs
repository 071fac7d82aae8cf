use std::cell::RefCell;
use std::rc::Rc;

use crake::old::Clock;

use crate::bench::Bench;
use crate::old::corncrake::Part;
use crate::plant::Truth;

/// The host's clock: a little off, and witness of the truth at the moments at which the driver reads it.
///
/// The driver reads its clock right before and right after each latch. What had flowed at those two moments is noted here, so that
/// truth and account cover the same time.
pub(super) struct HostClock {
    bench: Bench,
    part: Part,
    error_ppb: i64,
    channels: usize,
    witness: Witness,
}

/// Shared memory of the last two readings.
#[derive(Clone, Default)]
pub(super) struct Witness(Rc<RefCell<[Vec<Truth>; 2]>>);

impl HostClock {
    pub(super) fn new(
        bench: &Bench,
        part: &Part,
        channels: usize,
        error_ppb: i64,
    ) -> (Self, Witness) {
        let witness = Witness::default();
        let clock = Self {
            bench: bench.clone(),
            part: part.clone(),
            error_ppb,
            channels,
            witness: witness.clone(),
        };
        (clock, witness)
    }
}

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        let truths = (0..self.channels)
            .map(|channel| self.part.truth(channel).unwrap_or_default())
            .collect();
        self.witness.note(truths);
        host_us(self.bench.now_ns(), self.error_ppb)
    }
}

/// What a clock that is `error_ppb` fast shows after `ns` true nanoseconds, in whole microseconds.
fn host_us(ns: u64, error_ppb: i64) -> u64 {
    let shown = i128::from(ns) * i128::from(1_000_000_000 + error_ppb) / 1_000_000_000_000;
    u64::try_from(shown).unwrap_or(u64::MAX)
}

impl Witness {
    fn note(&self, truths: Vec<Truth>) {
        let mut last = self.0.borrow_mut();
        last.swap(0, 1);
        last[1] = truths;
    }

    /// Truth of a channel in the middle of the last latch's bracket.
    pub(super) fn truth(&self, channel: usize) -> Truth {
        let last = self.0.borrow();
        let of = |truths: &Vec<Truth>| truths.get(channel).copied().unwrap_or_default();
        let (before, after) = (of(&last[0]), of(&last[1]));
        Truth {
            charge_half_na_ns: (before.charge_half_na_ns + after.charge_half_na_ns) / 2,
            energy_sixth_na_nv_ns: (before.energy_sixth_na_nv_ns + after.energy_sixth_na_nv_ns) / 2,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_is_100_ppm_fast_or_slow() {
        assert_eq!(host_us(1_000_000_000, 0), 1_000_000);
        assert_eq!(host_us(1_000_000_000, 100_000), 1_000_100);
        assert_eq!(host_us(1_000_000_000, -100_000), 999_900);
        assert_eq!(host_us(999, 0), 0);
    }
}
