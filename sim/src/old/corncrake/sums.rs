//! Codes of a round, means over rounds, and the accumulators (datasheet, section 4).

use super::CHANNELS;
use crate::part::analogue::Code;

/// Results of one channel, means of 2^k rounds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Results {
    pub(super) sense: i32,
    pub(super) bus: i32,
    pub(super) power: i64,
}

#[derive(Debug, Default)]
pub(super) struct Sums {
    pub(super) results: [Results; CHANNELS],
    /// A mean was finished since RUN took over.
    pub(super) complete: bool,
    /// Live over-range flags: bit 2c sense, bit 2c + 1 bus.
    pub(super) over_range: u8,
    /// Sign-extended from 44 and 60 bits.
    pub(super) charge: [i64; CHANNELS],
    pub(super) energy: [i64; CHANNELS],
    /// 28 bits.
    pub(super) rounds: u32,
    /// Codes of the last conversions.
    pub(super) sense: [i32; CHANNELS],
    pub(super) bus: [i32; CHANNELS],
    mean: [Mean; CHANNELS],
    rounds_in_mean: u32,
}

/// Sums of a mean in the making: at most 2^10 codes, so 44 bits for power.
#[derive(Clone, Copy, Debug, Default)]
struct Mean {
    sense: i64,
    bus: i64,
    power: i64,
}

impl Sums {
    #[inline]
    pub(super) fn take_sense(&mut self, channel: usize, code: Code) {
        self.sense[channel] = code.value;
        self.over_range |= u8::from(code.clipped) << (2 * channel);
    }

    /// Keeps the bus code; gives the power code of the channel in this round.
    #[inline]
    pub(super) fn take_bus(&mut self, channel: usize, code: Code) -> i64 {
        self.bus[channel] = code.value;
        self.over_range |= u8::from(code.clipped) << (2 * channel + 1);
        self.power(channel)
    }

    /// Adds the round to means and accumulators of `channels`; true if one of those is now due to roll over.
    pub(super) fn end_round(&mut self, channels: &[usize], averaging: u8) -> bool {
        let mut rollover_ahead = false;
        for &channel in channels {
            let (sense, bus, power) = (
                i64::from(self.sense[channel]),
                i64::from(self.bus[channel]),
                self.power(channel),
            );
            rollover_ahead |= accumulate::<CHARGE_BITS>(&mut self.charge[channel], sense);
            rollover_ahead |= accumulate::<ENERGY_BITS>(&mut self.energy[channel], power);
            let mean = &mut self.mean[channel];
            mean.sense += sense;
            mean.bus += bus;
            mean.power += power;
        }
        self.rounds = (self.rounds + 1) % (1 << ROUNDS_BITS);
        rollover_ahead |= self.rounds == 3 << (ROUNDS_BITS - 2);
        self.rounds_in_mean += 1;
        if self.rounds_in_mean >> averaging != 0 {
            self.finish_mean(channels, averaging);
        }
        rollover_ahead
    }

    /// A RUN took over: the mean in the making is void, and none is finished yet.
    pub(super) fn start_anew(&mut self) {
        self.drop_mean();
        self.complete = false;
    }

    fn finish_mean(&mut self, channels: &[usize], averaging: u8) {
        // An arithmetic shift rounds down, so half of the divisor added before makes it nearest with halves
        // towards plus infinity.
        let half = (1 << averaging) >> 1;
        let rounded = |sum: i64| (sum + half) >> averaging;
        for &channel in channels {
            let Mean { sense, bus, power } = self.mean[channel];
            self.results[channel] = Results {
                sense: rounded(sense) as i32,
                bus: rounded(bus) as i32,
                power: rounded(power),
            };
        }
        self.drop_mean();
        self.complete = true;
    }

    fn drop_mean(&mut self) {
        self.mean = [Mean::default(); CHANNELS];
        self.rounds_in_mean = 0;
    }

    fn power(&self, channel: usize) -> i64 {
        i64::from(self.sense[channel]) * i64::from(self.bus[channel])
    }
}

/// Adds modulo 2^BITS; true if the magnitude reached three quarters of its greatest from below.
#[inline]
fn accumulate<const BITS: u32>(sum: &mut i64, code: i64) -> bool {
    let near = 3 << (BITS - 3);
    let before = sum.unsigned_abs();
    *sum = wrapped::<BITS>(sum.wrapping_add(code));
    before < near && sum.unsigned_abs() >= near
}

/// The low BITS of a value, as a signed number.
pub(super) fn wrapped<const BITS: u32>(value: i64) -> i64 {
    value << (64 - BITS) >> (64 - BITS)
}

pub(super) const CHARGE_BITS: u32 = 44;
pub(super) const ENERGY_BITS: u32 = 60;
pub(super) const ROUNDS_BITS: u32 = 28;
