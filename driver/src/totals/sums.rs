//! One rail: running sums over a stretch, unwrapped, in codes; and the totals of those that have
//! ended.

use super::checkpoint::long;
use super::flow::Sum;
use super::quantity::Quantity;
use crate::board::Factors;
use crate::config::ChannelRange;
use crate::convert::{product_unsigned, scaled_wide};
use crate::info::SumBits;
use crate::part::{Codes, Sums as Running};

/// Sums of one channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sums {
    pub(super) open: OpenSums,
    /// Charge and energy of the stretches that have ended.
    pub(super) closed: [Sum; 2],
}

/// Those of the stretch that goes on. The part's own lie in their lowest bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(C)] // bytes in front, where short instructions reach them
pub struct OpenSums {
    /// What one code stands for.
    sense_lsb: u8,
    rail_lsb: u8,
    /// Places of the ranges: that of the sense range in the upper half.
    ranges: u8,
    state: u8,
    /// What is above 64 bits of the sum of power codes since it began.
    energy_high: i32,
    /// Sum of sense codes, and where it began. 64 bits last for a thousand years.
    charge: i64,
    charge_from: i64,
    /// Sum of power codes, modulo 2^64, and where it began.
    energy: u64,
    energy_from: u64,
    /// Sum over the scans of the rail code, where an offset is taken off.
    rail: u64,
}

/// The channel is enabled.
const ENABLED: u8 = 1;
/// A sense, or a rail, conversion was clipped; for good.
const SENSE_CLIPPED: u8 = 4;
const RAIL_CLIPPED: u8 = 8;
pub(super) const CLIPPED: u8 = SENSE_CLIPPED | RAIL_CLIPPED;

/// What went over range of these codes.
#[inline(always)]
pub(super) fn clipped(codes: Codes) -> u8 {
    let sense = if codes.sense_clipped {
        SENSE_CLIPPED
    } else {
        0
    };
    let rail = if codes.rail_clipped { RAIL_CLIPPED } else { 0 };
    sense | rail
}

impl Sums {
    pub(super) const NONE: Self = Self {
        open: OpenSums::NONE,
        closed: [Sum::ZERO; 2],
    };

    /// Every word of it, for a checkpoint.
    pub(super) fn words(&mut self, word: &mut dyn FnMut(&mut u32)) {
        self.open.words(word);
        for sum in &mut self.closed {
            sum.words.iter_mut().for_each(&mut *word);
        }
    }
}

impl OpenSums {
    const NONE: Self = Self {
        charge: 0,
        charge_from: 0,
        energy: 0,
        energy_from: 0,
        rail: 0,
        energy_high: 0,
        sense_lsb: 0,
        rail_lsb: 0,
        ranges: 0,
        state: 0,
    };

    /// Takes the ranges of a configuration.
    pub(super) fn configure(&mut self, range: &ChannelRange, enabled: bool) {
        self.state &= CLIPPED;
        if enabled {
            (self.sense_lsb, self.rail_lsb) = (range.sense_lsb, range.rail_lsb);
            self.ranges = range.sense << 4 | range.rail;
            self.state |= ENABLED;
        }
    }

    fn words(&mut self, word: &mut dyn FnMut(&mut u32)) {
        let mut charge = [self.charge as u64, self.charge_from as u64];
        charge.iter_mut().for_each(|number| long(number, word));
        [self.charge, self.charge_from] = charge.map(|number| number as i64);
        for number in [&mut self.energy, &mut self.energy_from, &mut self.rail] {
            long(number, word);
        }
        let mut high = self.energy_high as u32;
        let state = [self.sense_lsb, self.rail_lsb, self.ranges, self.state];
        let mut state = u32::from_le_bytes(state);
        word(&mut high);
        word(&mut state);
        self.energy_high = high as i32;
        [self.sense_lsb, self.rail_lsb, self.ranges, self.state] = state.to_le_bytes();
    }

    /// Begins a stretch with the sums as they are.
    pub(super) fn begin(&mut self) {
        (self.charge_from, self.energy_from) = (self.charge, self.energy);
        (self.energy_high, self.rail) = (0, 0);
    }

    /// Adds what the part counted since, across at most one rollover of each sum.
    #[inline(always)]
    pub(super) fn add(&mut self, bits: SumBits, running: Running) {
        let charge = wrapped(running.charge.wrapping_sub(self.charge), bits.charge);
        let energy = wrapped(running.energy.wrapping_sub(self.energy as i64), bits.energy);
        self.charge = self.charge.wrapping_add(charge);
        let (sum, carry) = self.energy.overflowing_add(energy as u64);
        let high = ((energy >> 63) as i32).wrapping_add(carry.into());
        self.energy = sum;
        self.energy_high = self.energy_high.wrapping_add(high);
    }

    /// Adds a rail code that stands for so many scans.
    #[inline(always)]
    pub(super) fn weigh(&mut self, code: u32, scans: u32) {
        self.rail = self.rail.wrapping_add(product_unsigned(code, scans));
    }

    /// Notes what went over range.
    #[inline(always)]
    pub(super) fn clip(&mut self, clipped: u8) {
        self.state |= clipped;
    }

    pub(super) const fn is_clipped(&self, quantity: Quantity) -> bool {
        let concerned = match quantity {
            Quantity::Charge => SENSE_CLIPPED,
            Quantity::Energy => CLIPPED,
        };
        self.state & concerned != 0
    }

    /// Places of the sense range and of the rail range; `None` where the channel is not enabled.
    pub(super) const fn ranges(&self) -> Option<(u8, u8)> {
        if self.state & ENABLED == 0 {
            return None;
        }
        Some((self.ranges >> 4, self.ranges & 0x0F))
    }

    /// What was shown in the stretch, less the offset: 256ths of sense units, added up over the
    /// scans, for energy times rail codes; and what one rail code stands for. The sums of a channel
    /// that is not enabled stand still.
    pub(super) fn shown(&self, factors: &Factors, quantity: Quantity, scans: u64) -> (i128, u8) {
        let (mut sum, mut of, mut rail_lsb) = (
            i128::from(self.charge.wrapping_sub(self.charge_from)),
            scans,
            1,
        );
        if quantity == Quantity::Energy {
            sum = i128::from(self.energy).wrapping_sub(i128::from(self.energy_from));
            sum = sum.wrapping_add(i128::from(self.energy_high) << 64);
            (of, rail_lsb) = (self.rail, self.rail_lsb);
        }
        let mut shown = scaled_wide(sum, u64::from(self.sense_lsb) << 8);
        let offset = factors.offset_256ths();
        if offset != 0 && self.state & ENABLED != 0 {
            shown = shown.wrapping_sub(scaled_wide(offset.into(), of));
        }
        (shown, rail_lsb)
    }
}

/// A difference of two sums that wrap at so many bits: right while it is less than half their span.
#[inline(always)]
const fn wrapped(difference: i64, bits: u8) -> i64 {
    let spare = 64_u32.saturating_sub(bits as u32);
    match difference.checked_shl(spare) {
        Some(above) => above.wrapping_shr(spare),
        None => 0, // no bits, no differences
    }
}
