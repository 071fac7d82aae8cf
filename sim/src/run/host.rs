use crake::Clock;

use crate::bus;

/// The host's clock: a little off.
pub(super) struct HostClock {
    bench: bus::Clock,
    error_ppb: i64,
}

impl HostClock {
    /// A clock that is `error_ppb` fast.
    pub(super) fn new(bench: bus::Clock, error_ppb: i64) -> Self {
        Self { bench, error_ppb }
    }
}

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        host_us(self.bench.now_ns(), self.error_ppb)
    }
}

/// What a clock that is `error_ppb` fast shows after `ns` true nanoseconds, in whole microseconds.
fn host_us(ns: u64, error_ppb: i64) -> u64 {
    let shown = i128::from(ns) * i128::from(1_000_000_000 + error_ppb) / 1_000_000_000_000;
    u64::try_from(shown).unwrap_or(u64::MAX)
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
