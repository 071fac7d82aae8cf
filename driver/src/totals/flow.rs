//! From sums in codes to charge and energy, exactly, once.

use super::common::Common;
use super::quantity::Quantity;
use super::sums::{OpenSums, Sums};
use crate::board::Factors;
use crate::convert::{divide, long_product, product_unsigned};
use crate::monitor::Saturation;

/// A total in 2^-20 nC or nJ, 96 bits with a sign: ±3.9e13 C or J, which is 10 kW for 120 years.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sum {
    /// Least significant first.
    pub(super) words: [u32; 3],
}

/// Binary places of a [`Sum`] below the nanocoulomb and nanojoule.
pub(super) const PLACES: u32 = 20;

impl Common {
    /// A total in whole units, the open stretch included, and what it says after clipping.
    #[inline(never)] // linked once
    pub(super) fn net(
        &self,
        sums: &Sums,
        factors: &Factors,
        quantity: Quantity,
    ) -> (i128, Option<Saturation>) {
        let [charge, energy] = &sums.closed;
        let mut sum = *quantity.of([charge, energy]);
        self.add_open(&sums.open, factors, quantity, &mut sum);
        let saturation = match (sums.open.is_clipped(quantity), factors.is_forward()) {
            (false, _) => Saturation::None,
            (true, true) => Saturation::AtLeast,
            (true, false) => Saturation::Unknown,
        };
        (sum.rounded(), Some(saturation))
    }

    /// Adds what is open of a rail: mean per scan × time by the host's clock.
    #[inline(never)] // linked once
    pub(super) fn add_open(
        &self,
        sums: &OpenSums,
        factors: &Factors,
        quantity: Quantity,
        sum: &mut Sum,
    ) {
        self.add_shown(sums, factors, quantity, quantity.factor(factors), sum);
    }

    /// Adds what was shown in the open stretch × twice the time by the host's clock ÷ scans ÷ 2^5 ×
    /// these factors, without the lowest two words, for energy three.
    ///
    /// By a factor of mantissa × 2^(places − 88), for energy − 120, it is in 2^-20 nC and nJ.
    /// There are 47 places at the most.
    pub(super) fn add_shown(
        &self,
        sums: &OpenSums,
        factors: &Factors,
        quantity: Quantity,
        (mantissa, places): (u64, u8),
        sum: &mut Sum,
    ) {
        if self.scans == 0 {
            return;
        }
        let (shown, rail_lsb) = sums.shown(factors, quantity, self.scans);
        // A product, not a shift: for shifts of 64 bits the M0 links a routine.
        let half = u32::from(places / 2);
        let rest = u32::from(places).wrapping_sub(half);
        let scale = product_unsigned(
            u32::from(rail_lsb).wrapping_shl(half),
            1_u32.wrapping_shl(rest),
        );
        let by = [self.open_twice_us(), mantissa, scale];
        let mut words = long_product(shown.unsigned_abs(), &by);
        let [_, _, charge @ ..] = &mut words.0;
        let [_, energy @ ..] = charge;
        let words = match quantity {
            Quantity::Charge => charge.as_mut_slice(),
            Quantity::Energy => energy,
        };
        divide(words, self.scans << 5); // 43 bits
        sum.add(words, shown < 0);
    }
}

impl Sum {
    pub(super) const ZERO: Self = Self { words: [0; 3] };

    /// Adds another sum, or takes it off.
    #[inline(always)]
    fn add(&mut self, other: &[u32], negative: bool) {
        let mut carry = u64::from(negative);
        for (word, other) in self.words.iter_mut().zip(other) {
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
