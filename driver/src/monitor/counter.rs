use super::Clock;

/// A [`Clock`] made of a free-running hardware counter of at most 32 bits: ticks become
/// microseconds, and wraps are counted on.
///
/// The counter has to run through sleep: a low-power timer or a real-time counter. Each read takes
/// the ticks since the read before, modulo the declared wrap, so **it must be read at least once
/// per wrap**: [`read_by_us`](Self::read_by_us) tells the latest moment, and firmware that sleeps
/// longer than that wakes in between for a mere [`now_us`](Clock::now_us). A wrap that was missed
/// makes the clock lose that much time and nothing in the counter shows it;
/// [`Totals`](crate::totals::Totals) finds it by the part's count of scans, as far as the part's
/// oscillator allows to tell, and ends the epoch.
///
/// ```
/// use crake::{Clock, CounterClock};
///
/// # let registers = [32_768_u32, 5, 65_541];
/// # let mut reads = registers.iter();
/// # let mut read_counter = move || reads.next().copied().unwrap_or_default();
/// // A 24-bit counter at 32 768 Hz.
/// let clock = CounterClock::new(read_counter, 32_768, 1 << 24);
/// # let mut clock = clock.ok_or("a rate and a wrap")?;
/// assert_eq!(clock.now_us(), 1_000_000); // the counter stood at 32 768
/// assert_eq!(clock.now_us(), 512_000_152); // at 5: it went round
/// assert_eq!(clock.now_us(), 514_000_152); // two seconds later
/// assert_eq!(clock.read_by_us(), 514_000_152 + 512_000_000 - 31);
/// # Ok::<(), &str>(())
/// ```
#[derive(Clone, Debug)]
pub struct CounterClock<F> {
    read: F,
    hz: u32,
    wrap: u64,
    /// As read last, less than `wrap`.
    last: u32,
    /// Ticks in all.
    ticks: u64,
}

impl<F: FnMut() -> u32> CounterClock<F> {
    /// A clock on a counter that `read` reads, that counts `hz` ticks a second, and that follows
    /// `wrap` - 1 with 0: 2^32 for all 32 bits, 2^24 for 24.
    ///
    /// It begins at the time that the counter shows at its first read. The counter's rate error is
    /// the board's to declare ([`Board::with_clock`](crate::board::Board::with_clock)).
    ///
    /// `None` for a rate of 0, or a wrap of less than 2 or more than 2^32: such a counter tells no
    /// time.
    pub fn new(read: F, hz: u32, wrap: u64) -> Option<Self> {
        if hz == 0 || !(2..=1 << 32).contains(&wrap) {
            return None;
        }
        Some(Self {
            read,
            hz,
            wrap,
            last: 0,
            ticks: 0,
        })
    }

    /// The latest moment for the next read, in microseconds of this clock: later, a wrap may have
    /// gone by unseen.
    ///
    /// Shorter than one wrap after the read before by a tick and a microsecond. Whatever wakes the
    /// host for it must be on time by the *counter*'s time.
    #[must_use]
    pub fn read_by_us(&self) -> u64 {
        let last_safe = self.ticks.saturating_add(self.wrap).saturating_sub(1);
        self.us(last_safe).saturating_sub(1)
    }

    /// Rounded down.
    fn us(&self, ticks: u64) -> u64 {
        let us = u128::from(ticks)
            .saturating_mul(1_000_000)
            .checked_div(u128::from(self.hz))
            .unwrap_or_default();
        u64::try_from(us).unwrap_or(u64::MAX)
    }
}

impl<F: FnMut() -> u32> Clock for CounterClock<F> {
    fn now_us(&mut self) -> u64 {
        let count = u64::from((self.read)())
            .checked_rem(self.wrap)
            .unwrap_or_default();
        let last = u64::from(self.last);
        let passed = if count >= last {
            count.saturating_sub(last)
        } else {
            count.saturating_add(self.wrap).saturating_sub(last)
        };
        self.last = u32::try_from(count).unwrap_or_default();
        self.ticks = self.ticks.saturating_add(passed);
        self.us(self.ticks)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reads these in turn.
    fn counts(counts: &[u32]) -> impl FnMut() -> u32 + '_ {
        let mut rest = counts.iter();
        move || *rest.next().unwrap()
    }

    #[test]
    fn a_counter_that_tells_no_time_is_refused() {
        for (hz, wrap) in [(0, 1 << 32), (1, 0), (1, 1), (1, (1 << 32) + 1)] {
            assert!(CounterClock::new(|| 0, hz, wrap).is_none(), "{hz} {wrap}");
        }
    }

    #[test]
    fn full_width_goes_round() {
        let reads = [u32::MAX, 0, 0, u32::MAX, 7];
        let mut clock = CounterClock::new(counts(&reads), 1_000_000, 1 << 32).unwrap();
        let whole = 1_u64 << 32;
        // At the latest moment but the tick and the microsecond that it keeps in hand.
        for expected in [whole - 1, whole, whole, 2 * whole - 1, 2 * whole + 7] {
            assert_eq!(clock.now_us(), expected);
            assert_eq!(clock.read_by_us(), expected + whole - 2);
        }
    }

    /// Three ticks a second: 333 333.3 µs each, never summed up with an error.
    #[test]
    fn rounding_does_not_add_up() {
        let mut count = 0;
        let mut clock = CounterClock::new(
            move || {
                count = (count + 1) % 5;
                count
            },
            3,
            5,
        )
        .unwrap();
        for ticks in 1..=3_000_u64 {
            assert_eq!(clock.now_us(), ticks * 1_000_000 / 3);
        }
    }

    /// A read that the declared wrap does not allow counts modulo the wrap, and does not bring the
    /// clock down.
    #[test]
    fn a_wrap_declared_wrongly_never_goes_backwards() {
        let reads = [9, 15, 11, u32::MAX];
        let mut clock = CounterClock::new(counts(&reads), 1_000_000, 10).unwrap();
        let told = reads.map(|_| clock.now_us());
        assert_eq!(told, [9, 15, 21, 25]);
    }

    #[test]
    fn the_end_of_the_count_saturates() {
        let mut clock = CounterClock::new(|| 5, 1, 10).unwrap();
        clock.ticks = u64::MAX;
        assert_eq!(
            (clock.now_us(), clock.read_by_us()),
            (u64::MAX, u64::MAX - 1)
        );
    }
}
