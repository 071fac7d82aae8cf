use crate::old::Channel;
use crate::old::frame::Stamp;
use crate::old::part::{Accumulators, Counters};

/// Running sums of `N` channels of a part that keeps none: codes times microseconds of the host's clock, by the trapezoid between one frame and the next.
///
/// The moment of a sample is the middle of its [`Stamp`]. Sums are whole numbers and wrap like a part's own; the widths are [`WIDTHS`](Self::WIDTHS). What happens between two frames is not seen:
/// the bounds of a ledger take it in by what the board declares of its loads, with the pace as the longest time between frames.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sums<const N: usize> {
    at_us: u64,
    elapsed_us: u32,
    channels: [Sum; N],
}

/// What one channel shows in a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Taken {
    /// Sense code.
    pub sense: i32,
    /// Power code.
    pub power: i64,
    /// Mean power code since the sample before, where the part tells it: taken in place of the trapezoid.
    pub mean_power: Option<i64>,
}

#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sum {
    last: Option<Taken>,
    charge: i64,
    energy: i64,
}

/// Bits of the sums, sign included: one less than their type has.
const BITS: u8 = 63;

impl<const N: usize> Sums<N> {
    /// For [`Spec::accumulators`](crate::old::part::Spec::accumulators) of a part whose sums are made here.
    pub const WIDTHS: Accumulators = Accumulators {
        energy_bits: BITS,
        charge_bits: BITS,
        rounds_bits: 32,
    };

    /// Nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            at_us: 0,
            elapsed_us: 0,
            channels: [Sum {
                last: None,
                charge: 0,
                energy: 0,
            }; N],
        }
    }

    /// Takes a sample of all channels in; `None` for a channel that is not enabled.
    ///
    /// A channel without a sample before counts the whole time since with this one: right after a change of ranges, and at the very beginning, where nothing has been counted yet.
    pub fn add(&mut self, stamp: Stamp, mut sample: impl FnMut(Channel) -> Option<Taken>) {
        let at_us = stamp
            .before_us
            .saturating_add(stamp.bracket_us() >> 1)
            .max(self.at_us);
        // A ledger gives up long before 2^32 µs.
        let us = at_us.wrapping_sub(self.at_us) as u32;
        self.at_us = at_us;
        self.elapsed_us = self.elapsed_us.wrapping_add(us);
        let first = i64::from(us >> 1);
        let second = i64::from(us).wrapping_sub(first);
        for (channel, sum) in Channel::first(u8::MAX).zip(&mut self.channels) {
            let taken = sample(channel);
            if let Some(now) = taken {
                let last = sum.last.unwrap_or(now);
                let area = |from: i64, to: i64| {
                    from.wrapping_mul(first)
                        .wrapping_add(to.wrapping_mul(second))
                };
                let (from, to) = match now.mean_power {
                    Some(mean) => (mean, mean),
                    None => (last.power, now.power),
                };
                sum.charge = sum
                    .charge
                    .wrapping_add(area(i64::from(last.sense), i64::from(now.sense)));
                sum.energy = sum.energy.wrapping_add(area(from, to));
            }
            sum.last = taken;
        }
    }

    /// The samples before mean something else from now on: another set-up has taken over.
    pub fn forget(&mut self) {
        for sum in &mut self.channels {
            sum.last = None;
        }
    }

    /// Microseconds counted, modulo 2^32: what such a part's [`Head::rounds`](crate::old::part::Head::rounds) is.
    #[must_use]
    pub const fn elapsed_us(&self) -> u32 {
        self.elapsed_us
    }

    /// The sums of a channel, modulo their widths; zeros where it does not exist.
    #[must_use]
    pub fn counters(&self, channel: Channel) -> Counters {
        self.channels
            .get(channel.index())
            .map_or_else(Counters::default, |sum| Counters {
                charge: narrowed(sum.charge),
                energy: narrowed(sum.energy),
            })
    }
}

impl<const N: usize> Default for Sums<N> {
    fn default() -> Self {
        Self::new()
    }
}

const fn narrowed(sum: i64) -> i64 {
    const SPARE: u32 = 64 - BITS as u32;
    (sum << SPARE) >> SPARE
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(before_us: u64, after_us: u64) -> Stamp {
        Stamp {
            before_us,
            after_us,
        }
    }

    fn taken(sense: i32, power: i64) -> Taken {
        Taken {
            sense,
            power,
            mean_power: None,
        }
    }

    /// By hand: 10 → 20 over 100 µs is 1500, 20 → −40 over 7 µs (3 with the first, 4 with the second) is 60 − 160.
    #[test]
    fn trapezoids_between_the_middles_of_the_stamps() {
        let mut sums = Sums::<1>::new();
        sums.add(stamp(1_000, 1_010), |_| Some(taken(10, 1)));
        let start = sums.elapsed_us();
        let before = sums.counters(Channel::C0);
        sums.add(stamp(1_100, 1_110), |_| Some(taken(20, -3)));
        sums.add(stamp(1_107, 1_117), |_| Some(taken(-40, 5)));
        assert_eq!(sums.elapsed_us() - start, 107);
        let after = sums.counters(Channel::C0);
        assert_eq!(after.charge - before.charge, 1_500 + 60 - 160);
        assert_eq!(after.energy - before.energy, 50 - 150 - 9 + 20);
    }

    #[test]
    fn a_mean_that_the_part_tells_counts_for_the_whole_time() {
        let mut sums = Sums::<1>::new();
        sums.add(stamp(0, 0), |_| Some(taken(0, 1_000)));
        let mean = Taken {
            mean_power: Some(7),
            ..taken(0, 9_000)
        };
        sums.add(stamp(11, 11), |_| Some(mean));
        assert_eq!(sums.counters(Channel::C0).energy, 77);
    }

    #[test]
    fn what_was_before_a_change_is_not_mixed_with_what_comes_after() {
        let mut sums = Sums::<2>::new();
        sums.add(stamp(0, 0), |_| Some(taken(100, 0)));
        sums.forget();
        sums.add(stamp(10, 10), |channel| {
            (channel == Channel::C0).then_some(taken(-1, 0))
        });
        assert_eq!(sums.counters(Channel::C0).charge, -10);
        assert_eq!(sums.counters(Channel::C1).charge, 0);
        assert_eq!(sums.counters(Channel::C2), Counters::default());
    }

    #[test]
    fn sums_wrap_at_their_width_and_a_clock_that_steps_back_takes_nothing_away() {
        let mut sums = Sums::<1>::new();
        sums.add(stamp(0, 0), |_| Some(taken(0, i64::MAX)));
        sums.add(stamp(3, 3), |_| Some(taken(0, i64::MAX)));
        // 3 × (2^63 − 1) = −3 modulo 2^63.
        assert_eq!(sums.counters(Channel::C0).energy, -3);
        sums.add(stamp(1, 1), |_| Some(taken(5, 5)));
        assert_eq!(sums.elapsed_us(), 3);
        assert_eq!(sums.counters(Channel::C0).energy, -3);
    }
}
