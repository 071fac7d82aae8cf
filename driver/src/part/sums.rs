use super::{Codes, Sums};
use crate::Channel;
use crate::info::TICK_LOG2;

/// Running sums of `N` channels of a part that keeps none, or not both: codes times the host's
/// time, by the trapezoid from one sample to the next.
///
/// It lies in the part's block, and [`Part::add_up`](super::Part::add_up) and its like hand on to
/// it. What happens between two samples is not seen: a declared load tells the bounds of totals how
/// much that can be, with the longest time between two samples.
///
/// [`SumBits::by_driver`](crate::info::SumBits::by_driver) has their widths.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SoftwareSums<const N: usize> {
    /// Time in ticks: what counts as scans.
    ticks: u32,
    sums: [Sums; N],
    last: [(i32, i64); N],
}

impl<const N: usize> SoftwareSums<N> {
    /// Nothing yet.
    pub const ZERO: Self = Self {
        ticks: 0,
        sums: [Sums {
            charge: 0,
            energy: 0,
        }; N],
        last: [(0, 0); N],
    };

    /// Takes a sample of all channels, latched at a moment of the host's clock in µs. That of a
    /// channel which is not enabled has zeros.
    pub fn add(&mut self, at_us: u64, codes: impl Fn(Channel) -> Codes) {
        self.add_with_means(at_us, codes, |_| None);
    }

    /// The same for a part that counts energy on some channels: the mean of power codes since the
    /// sample before, where it is known, in place of the trapezoid.
    pub fn add_with_means(
        &mut self,
        at_us: u64,
        codes: impl Fn(Channel) -> Codes,
        mean: impl Fn(Channel) -> Option<i64>,
    ) {
        let ticks = (at_us >> TICK_LOG2) as u32;
        // Half of it by the codes before, half by those of now; totals give up before 2^32.
        let elapsed = ticks.wrapping_sub(self.ticks);
        self.ticks = ticks;
        let before = i64::from(elapsed >> 1);
        let after = i64::from(elapsed).wrapping_sub(before);
        let channels = self.sums.iter_mut().zip(&mut self.last);
        for (channel, (sums, last)) in Channel::first(N as u8).zip(channels) {
            let codes = codes(channel);
            let (sense, power) = *last;
            *last = (codes.sense, codes.power);
            let area = |then: i64, now: i64| {
                then.wrapping_mul(before)
                    .wrapping_add(now.wrapping_mul(after))
            };
            let charge = area(i64::from(sense), i64::from(codes.sense));
            sums.charge = sums.charge.wrapping_add(charge);
            let energy = match mean(channel) {
                Some(mean) => mean.wrapping_mul(elapsed.into()),
                None => area(power, codes.power),
            };
            sums.energy = sums.energy.wrapping_add(energy);
        }
    }

    /// The running count of ticks: what a part's count of scans is to totals.
    #[must_use]
    pub const fn ticks(&self) -> u32 {
        self.ticks
    }

    /// The sums of a channel; zeros where it does not exist.
    #[must_use]
    pub fn of(&self, channel: Channel) -> Sums {
        self.sums.get(channel.index()).copied().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(sense: i32, power: i64) -> Codes {
        Codes {
            sense,
            power,
            ..Codes::default()
        }
    }

    /// Trapezoids by hand: 1000 ticks from 10 to 30, then 501 ticks from 30 to -10.
    #[test]
    fn sums_are_trapezoids_over_ticks_of_64_us() {
        let mut sums = SoftwareSums::<1>::ZERO;
        sums.add(64 * 7, |_| codes(10, -1_000));
        let before = sums.of(Channel::C0);
        sums.add(64 * 1_007 + 63, |_| codes(30, -1_000));
        let first = sums.of(Channel::C0);
        assert_eq!(first.charge - before.charge, 500 * 10 + 500 * 30);
        assert_eq!(first.energy - before.energy, -1_000_000);
        assert_eq!(sums.ticks(), 1_007);
        sums.add(64 * 1_508, |_| codes(-10, 0));
        let second = sums.of(Channel::C0);
        assert_eq!(second.charge - first.charge, 250 * 30 - 251 * 10);
        assert_eq!(second.energy - first.energy, -250_000);
        assert_eq!(sums.of(Channel::C1), Sums::default());
    }
}
