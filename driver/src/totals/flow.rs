//! From sums in codes to charge and energy, exactly, once.

use super::pace::Interval;
use super::quantity::Quantity;
use super::sums::Sums;
use crate::board::Factors;
use crate::convert::{divided, product_above};

/// A total in 2^-20 nC or nJ, 96 bits with a sign: ±3.9e13 C or J, which is 10 kW for 120 years.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sum {
    /// Least significant first.
    pub(super) words: [u32; 3],
}

/// Binary places of a [`Sum`] below the nanocoulomb and nanojoule.
pub(super) const PLACES: u32 = 20;

/// What is common to all rails of the open stretch.
#[derive(Clone, Copy, Debug)]
pub struct Open {
    /// Twice its length on the host's clock in microseconds, from the middle of one bracket to that
    /// of the other, and the length of the last bracket.
    pub(super) twice_us: u64,
    pub(super) width_us: u32,
    /// Scans in it, not 0, and their nominal period.
    pub(super) scans: u64,
    pub(super) period_us: u32,
    pub(super) interval: Interval,
    /// Time by the host's clock over time by the part's, × 2^60; where that is 16 or more, which
    /// only the brackets of a few scans can make, it is 16.
    pub(super) ratio: u64,
}

impl Open {
    #[inline(never)]
    pub(super) fn new(
        scans: u64,
        period_us: u32,
        interval: Interval,
        twice_us: u64,
        width_us: u32,
    ) -> Self {
        let part_us = scans.wrapping_mul(u64::from(period_us)); // 43 by 20 bits
        let (ratio, _) = divided(u128::from(twice_us) << 59, part_us);
        let ratio = u64::try_from(ratio).unwrap_or(u64::MAX);
        Self {
            twice_us,
            width_us,
            scans,
            period_us,
            interval,
            ratio,
        }
    }
}

impl Sum {
    pub(super) const ZERO: Self = Self { words: [0; 3] };

    /// What flowed through a rail in the open stretch: mean per scan × time by the host's clock.
    ///
    /// What was shown per scan × nominal period is a total by the part's clock; × the ratio of the
    /// clocks it is one by the host's. With a factor of mantissa × 2^(places − 88) it is shown ×
    /// period × ratio × 2^60 × mantissa × 2^places over 2^128, in 2^-20 nC; energy is over 2^160.
    #[inline(never)]
    pub(super) fn of(open: &Open, sums: &Sums, factors: &Factors, quantity: Quantity) -> Self {
        let shown = sums.shown(factors, quantity, open.scans);
        let (mantissa, places) = quantity.factor(factors);
        // At most 2^20 by 2^43.
        let period = u64::from(open.period_us).unbounded_shl(u32::from(places));
        let product = product_above(shown.unsigned_abs(), [open.ratio, mantissa, period]);
        let [a, b, c, d, ..] = product;
        let words = match quantity {
            Quantity::Charge => [a, b, c],
            Quantity::Energy => [b, c, d],
        };
        let mut sum = Self::ZERO;
        sum.add(&Self { words }, shown < 0);
        sum
    }

    /// Adds another sum, or takes it off.
    #[inline(never)]
    pub(super) fn add(&mut self, other: &Self, negative: bool) {
        let mut carry = u64::from(negative);
        for (word, other) in self.words.iter_mut().zip(&other.words) {
            let other = if negative { !other } else { *other };
            carry = carry
                .wrapping_add(u64::from(*word))
                .wrapping_add(u64::from(other));
            *word = carry as u32;
            carry >>= 32;
        }
    }

    /// In 2^-20 of a unit.
    pub(super) fn get(&self) -> i128 {
        let [low, mid, high] = self.words;
        let low = (u64::from(mid) << 32) | u64::from(low);
        (i128::from(high as i32) << 64) | i128::from(low)
    }

    /// In whole units, rounded to nearest.
    pub(super) fn rounded(&self) -> i128 {
        self.get().wrapping_add(1 << (PLACES - 1)) >> PLACES
    }
}
