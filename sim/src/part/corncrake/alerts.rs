//! Limits, debounce, flags and the two outputs (datasheet, section 3.6).

use super::CHANNELS;
use crate::part::fields::fields;

/// What a limit is on, in the order of the flag bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    OverVoltage,
    UnderVoltage,
    OverCurrent,
    UnderCurrent,
    OverPower,
}

impl Kind {
    pub(super) const ALL: [Self; 5] = [
        Self::OverVoltage,
        Self::UnderVoltage,
        Self::OverCurrent,
        Self::UnderCurrent,
        Self::OverPower,
    ];
}

pub(super) const ROLLOVER_AHEAD: u32 = 1 << 20;
pub(super) const SCAN_DONE: u32 = 1 << 21;
const RESET_SEEN: u32 = 1 << 22;
/// The flags for which LATCHING is fixed.
pub(super) const ALWAYS_LATCHING: u32 = ROLLOVER_AHEAD | SCAN_DONE | RESET_SEEN;

#[derive(Debug)]
pub(super) struct Alerts {
    pub(super) latching: u32,
    pub(super) mask_a: u32,
    pub(super) mask_b: u32,
    flags: u32,
    conditions: u32,
    limits: [[i64; 5]; CHANNELS],
    debounce: [u32; CHANNELS],
    /// Conversions in a row beyond the limit, up to 15.
    counts: [[u8; 5]; CHANNELS],
    /// The alert response was won: both outputs are let go of until a flag that reaches one is set.
    answered: bool,
}

impl Alerts {
    pub(super) fn after_reset() -> Self {
        Self {
            latching: ALWAYS_LATCHING,
            mask_a: 0,
            mask_b: 0,
            flags: RESET_SEEN,
            conditions: 0,
            limits: [NEVER_PASSED; CHANNELS],
            debounce: [0x01_1111; CHANNELS],
            counts: [[0; 5]; CHANNELS],
            answered: false,
        }
    }

    pub(super) fn flags(&self) -> u32 {
        self.flags
    }

    pub(super) fn conditions(&self) -> u32 {
        self.conditions
    }

    pub(super) fn limit(&self, channel: usize, kind: Kind) -> i64 {
        self.limits[channel][kind as usize]
    }

    pub(super) fn debounce(&self, channel: usize) -> u32 {
        self.debounce[channel]
    }

    /// Conversions in a row beyond each limit of a channel, in the order of [`Kind::ALL`].
    pub(super) fn counts(&self, channel: usize) -> [u8; 5] {
        self.counts[channel]
    }

    /// OUTPUTS: bit 0 output A, bit 1 output B, set while pulled low.
    pub(super) fn outputs(&self) -> u8 {
        let reaches = |mask| u64::from(!self.answered && self.flags & mask != 0);
        fields(&[(reaches(self.mask_b), 1), (reaches(self.mask_a), 1)]) as u8
    }

    /// The part's address went through in an alert response.
    pub(super) fn let_go(&mut self) {
        self.answered = true;
    }

    pub(super) fn set_limit(&mut self, channel: usize, kind: Kind, limit: i64) {
        self.limits[channel][kind as usize] = limit;
        self.restart_count(channel, kind);
    }

    /// The limits of the channel are to be written after it.
    pub(super) fn set_debounce(&mut self, channel: usize, counts: u32) {
        self.debounce[channel] = counts;
        self.reset_limits(channel);
    }

    /// RANGES was written: limits are codes of the ranges before.
    pub(super) fn reset_all_limits(&mut self) {
        for channel in 0..CHANNELS {
            self.reset_limits(channel);
        }
        self.mask_a = 0;
        self.mask_b = 0;
    }

    pub(super) fn set_latching(&mut self, latching: u32) {
        self.latching = latching;
        self.follow();
    }

    /// A write to FLAGS, which does not reach the flag of the reset.
    pub(super) fn clear(&mut self, flags: u32) {
        self.flags &= !flags | RESET_SEEN;
    }

    /// Bit 0 of RESET_SEEN.
    pub(super) fn reset_seen(&self) -> bool {
        self.flags & RESET_SEEN != 0
    }

    pub(super) fn clear_reset_seen(&mut self) {
        self.flags &= !RESET_SEEN;
    }

    pub(super) fn set(&mut self, flag: u32) {
        self.flags |= flag;
        if flag & (self.mask_a | self.mask_b) != 0 {
            self.answered = false;
        }
    }

    /// A start or a stop: no counts, no conditions.
    pub(super) fn restart(&mut self) {
        for channel in 0..CHANNELS {
            self.restart_counts(channel);
        }
    }

    #[inline]
    pub(super) fn compare_sense(&mut self, channel: usize, code: i64) {
        self.compare(
            channel,
            Kind::OverCurrent,
            code > self.limit(channel, Kind::OverCurrent),
        );
        self.compare(
            channel,
            Kind::UnderCurrent,
            code < self.limit(channel, Kind::UnderCurrent),
        );
    }

    #[inline]
    pub(super) fn compare_rail(&mut self, channel: usize, code: i64) {
        self.compare(
            channel,
            Kind::OverVoltage,
            code > self.limit(channel, Kind::OverVoltage),
        );
        self.compare(
            channel,
            Kind::UnderVoltage,
            code < self.limit(channel, Kind::UnderVoltage),
        );
    }

    #[inline]
    pub(super) fn compare_power(&mut self, channel: usize, code: i64) {
        self.compare(
            channel,
            Kind::OverPower,
            code > self.limit(channel, Kind::OverPower),
        );
    }

    /// One conversion of a kind has come: the condition, and the flag after it.
    #[inline]
    fn compare(&mut self, channel: usize, kind: Kind, beyond: bool) {
        let flag = flag_bit(channel, kind);
        let count = &mut self.counts[channel][kind as usize];
        if beyond {
            let wanted = self.debounce[channel] >> (4 * kind as u32) & 0xF;
            *count = (*count + 1).min(15);
            if u32::from(*count) >= wanted {
                self.conditions |= flag;
                self.set(flag);
            }
        } else {
            *count = 0;
            self.conditions &= !flag;
            self.flags &= !flag | self.latching;
        }
    }

    fn reset_limits(&mut self, channel: usize) {
        self.limits[channel] = NEVER_PASSED;
        self.restart_counts(channel);
    }

    fn restart_counts(&mut self, channel: usize) {
        for kind in Kind::ALL {
            self.restart_count(channel, kind);
        }
    }

    fn restart_count(&mut self, channel: usize, kind: Kind) {
        self.counts[channel][kind as usize] = 0;
        self.conditions &= !flag_bit(channel, kind);
        self.follow();
    }

    /// A flag that follows is not set without its condition.
    fn follow(&mut self) {
        self.flags &= self.latching | self.conditions;
    }
}

/// Limits after a reset, in the order of [`Kind::ALL`]: the ends of the codes.
const NEVER_PASSED: [i64; 5] = [0xFFFF, 0, (1 << 17) - 1, -(1 << 17), (1 << 33) - 1];

fn flag_bit(channel: usize, kind: Kind) -> u32 {
    1 << (5 * channel + kind as usize)
}
