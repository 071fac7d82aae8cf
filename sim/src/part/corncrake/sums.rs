//! Codes of a scan, means over scans, and the running sums (datasheet, section 4).

use super::{CHANNELS, configuration::Configuration};
use crate::part::analogue::Code;

/// Results of one channel, means of 2^k scans.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Results {
    pub(super) sense: i32,
    pub(super) rail: i32,
    pub(super) power: i64,
}

#[derive(Debug, Default)]
pub(super) struct Sums {
    pub(super) results: [Results; CHANNELS],
    /// A mean was finished since the last start, and the configuration is still the same.
    pub(super) complete: bool,
    /// Live over-range flags: bit 2c sense, bit 2c + 1 rail.
    pub(super) over_range: u8,
    /// Sign-extended from 44 and 60 bits.
    pub(super) charge: [i64; CHANNELS],
    pub(super) energy: [i64; CHANNELS],
    /// 28 bits.
    pub(super) scans: u32,
    /// Codes of the last conversions.
    pub(super) sense: [i32; CHANNELS],
    pub(super) rail: [i32; CHANNELS],
    mean: [Mean; CHANNELS],
    scans_in_mean: u32,
}

/// Sums of a mean in the making: at most 2^10 codes, so 44 bits for power.
#[derive(Clone, Copy, Debug, Default)]
struct Mean {
    sense: i64,
    rail: i64,
    power: i64,
}

impl Sums {
    #[inline]
    pub(super) fn take_sense(&mut self, channel: usize, code: Code) {
        self.sense[channel] = code.value;
        self.over_range |= u8::from(code.clipped) << (2 * channel);
    }

    /// Keeps the rail code; gives the power code of the channel in this scan.
    #[inline]
    pub(super) fn take_rail(&mut self, channel: usize, code: Code) -> i64 {
        self.rail[channel] = code.value;
        self.over_range |= u8::from(code.clipped) << (2 * channel + 1);
        self.power(channel)
    }

    /// Adds the scan to means and running sums of the enabled channels; true if one of the sums is
    /// now near a rollover.
    pub(super) fn end_scan(&mut self, configuration: &Configuration) -> bool {
        let (channels, averaging) = (configuration.order(), configuration.averaging);
        let mut rollover_ahead = false;
        for &channel in channels {
            let (sense, rail, power) = (
                i64::from(self.sense[channel]),
                i64::from(self.rail[channel]),
                self.power(channel),
            );
            rollover_ahead |= accumulate::<CHARGE_BITS>(&mut self.charge[channel], sense);
            rollover_ahead |= accumulate::<ENERGY_BITS>(&mut self.energy[channel], power);
            let mean = &mut self.mean[channel];
            mean.sense += sense;
            mean.rail += rail;
            mean.power += power;
        }
        self.scans = (self.scans + 1) % (1 << SCANS_BITS);
        rollover_ahead |= self.scans == 3 << (SCANS_BITS - 2);
        self.scans_in_mean += 1;
        if self.scans_in_mean >> averaging != 0 {
            self.finish_mean(channels, averaging);
        }
        rollover_ahead
    }

    /// A mode starts: the mean in the making is void, and none is finished yet.
    pub(super) fn start_anew(&mut self) {
        self.drop_mean();
        self.complete = false;
    }

    fn finish_mean(&mut self, channels: &[usize], averaging: u8) {
        // An arithmetic shift rounds down, so half of the divisor added before makes it nearest
        // with halves towards plus infinity.
        let half = (1 << averaging) >> 1;
        let rounded = |sum: i64| (sum + half) >> averaging;
        for &channel in channels {
            let Mean { sense, rail, power } = self.mean[channel];
            self.results[channel] = Results {
                sense: rounded(sense) as i32,
                rail: rounded(rail) as i32,
                power: rounded(power),
            };
        }
        self.drop_mean();
        self.complete = true;
    }

    fn drop_mean(&mut self) {
        self.mean = [Mean::default(); CHANNELS];
        self.scans_in_mean = 0;
    }

    fn power(&self, channel: usize) -> i64 {
        i64::from(self.sense[channel]) * i64::from(self.rail[channel])
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
pub(super) const SCANS_BITS: u32 = 28;
