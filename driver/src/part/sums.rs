use super::comparator::Sealed;
use super::{Codes, Sums};
use crate::Channel;
use crate::convert::{product, product_wide};

/// What keeps the running sums of a part that the part does not keep itself.
pub trait AddUp: Sealed {
    /// Nothing yet.
    const ZERO: Self;

    /// Takes a sample of all channels, at a count of scans, or of ticks of the host's clock, that
    /// has so many bits. `of` is given the count since the sample before, and tells the mean of the
    /// power since then where that is known.
    fn add(&mut self, scans: u32, bits: u8, of: impl Fn(Channel, u32) -> (Codes, Option<i64>));

    /// The sums of a channel; zeros where it does not exist.
    fn of(&self, channel: Channel) -> Sums;

    /// The count at which the last sample was taken.
    fn scans(&self) -> u32;
}

/// The part keeps both sums itself, or nobody does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoSums;

impl Sealed for NoSums {}

impl AddUp for NoSums {
    const ZERO: Self = Self;

    #[inline(always)]
    fn add(&mut self, _: u32, _: u8, _: impl Fn(Channel, u32) -> (Codes, Option<i64>)) {}

    #[inline(always)]
    fn of(&self, _: Channel) -> Sums {
        Sums::default()
    }

    #[inline(always)]
    fn scans(&self) -> u32 {
        0
    }
}

/// Running sums of `N` channels of a part that keeps none, or not both: codes times scans, or times
/// the host's time in [ticks](crate::info::SumBits::tick_us), by the trapezoid from one sample to
/// the next.
///
/// What happens between two samples is not seen: a declared load tells the bounds of totals how
/// much that can be, with the longest time between two samples.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SoftwareSums<const N: usize> {
    scans: u32,
    sums: [Sums; N],
    last: [(i32, i64); N],
}

impl<const N: usize> Sealed for SoftwareSums<N> {}

impl<const N: usize> AddUp for SoftwareSums<N> {
    const ZERO: Self = Self {
        scans: 0,
        sums: [Sums {
            charge: 0,
            energy: 0,
        }; N],
        last: [(0, 0); N],
    };

    fn add(&mut self, scans: u32, bits: u8, of: impl Fn(Channel, u32) -> (Codes, Option<i64>)) {
        let unused = 32_u32.saturating_sub(u32::from(bits));
        let elapsed = scans.wrapping_sub(self.scans);
        let elapsed = elapsed.unbounded_shl(unused).unbounded_shr(unused);
        self.scans = scans;
        // Half of it by the codes before, half by those of now.
        let before = elapsed >> 1;
        let after = elapsed.wrapping_sub(before);
        let channels = self.sums.iter_mut().zip(&mut self.last);
        for (channel, (sums, last)) in Channel::first(N as u8).zip(channels) {
            let (codes, mean) = of(channel, elapsed);
            let (sense, power) = *last;
            *last = (codes.sense, codes.power);
            let area = |then: i64, now: i64| {
                product_wide(then, before).wrapping_add(product_wide(now, after))
            };
            // From more than 31 bits on nothing is added up: the sample comes too late.
            let charge =
                product(sense, before as i32).wrapping_add(product(codes.sense, after as i32));
            let energy = match mean {
                Some(mean) => area(mean, mean),
                None => area(power, codes.power),
            };
            sums.charge = sums.charge.wrapping_add(charge);
            sums.energy = sums.energy.wrapping_add(energy);
        }
    }

    fn of(&self, channel: Channel) -> Sums {
        self.sums.get(channel.index()).copied().unwrap_or_default()
    }

    #[inline(always)]
    fn scans(&self) -> u32 {
        self.scans
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

    /// Trapezoids by hand: 1000 scans from 10 to 30, then 501 from 30 to -10, across the end of a
    /// count of 28 bits.
    #[test]
    fn sums_are_trapezoids() {
        let mut sums = SoftwareSums::<1>::ZERO;
        sums.add(0x0FFF_FF00, 28, |_, _| (codes(10, -1_000), None));
        let before = sums.of(Channel::C0);
        sums.add(0x0000_02E8, 28, |_, _| (codes(30, -1_000), None));
        let first = sums.of(Channel::C0);
        assert_eq!(first.charge - before.charge, 500 * 10 + 500 * 30);
        assert_eq!(first.energy - before.energy, -1_000_000);
        sums.add(0x0000_04DD, 28, |_, _| (codes(-10, 0), None));
        let second = sums.of(Channel::C0);
        assert_eq!(second.charge - first.charge, 250 * 30 - 251 * 10);
        assert_eq!(second.energy - first.energy, -250_000);
        assert_eq!(sums.of(Channel::C1), Sums::default());
    }

    /// A mean that the part tells takes the place of both samples' power.
    #[test]
    fn a_mean_of_the_power_is_taken_as_it_is() {
        let mut sums = SoftwareSums::<1>::ZERO;
        sums.add(0, 31, |_, _| (codes(0, 7_000), None));
        sums.add(1_001, 31, |_, _| (codes(0, 9_000), Some(-3)));
        assert_eq!(sums.of(Channel::C0).energy, -3 * 1_001);
    }
}
