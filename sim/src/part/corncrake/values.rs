//! What each register holds, which values it allows, and what a write changes.

use super::{
    Core,
    alerts::{ALWAYS_LATCHING, Kind},
    engine::IDLE,
    registers::Register,
    sample::bytes_of,
};
use crate::part::fields::fields;

/// Registers of the part as a whole, and the number of accepted writes to counted registers.
#[derive(Debug)]
pub(super) struct Settings {
    pub(super) writes: u16,
    pub(super) guard: bool,
    capture_index: u16,
    capture_number: u8,
}

impl Settings {
    pub(super) fn after_reset() -> Self {
        Self {
            writes: 0,
            guard: false,
            capture_index: 0,
            capture_number: 16,
        }
    }

    pub(super) fn count_write(&mut self) {
        self.writes = self.writes.wrapping_add(1);
    }
}

impl Core {
    /// Data bytes that reading the register gives now.
    pub(super) fn read_len(&self, register: Register) -> usize {
        match register {
            Register::Capture => register.width() * usize::from(self.settings.capture_number),
            _ => register.width(),
        }
    }

    /// Fills `bytes`, as many as [`read_len`](Self::read_len) says, with the register's value, most
    /// significant byte first.
    pub(super) fn read(&self, register: Register, bytes: &mut [u8]) {
        let value: i64 = match register {
            Register::Capture => {
                let from = usize::from(self.settings.capture_index);
                let kept = self.captured.iter().skip(from).copied();
                let codes = kept.chain(core::iter::repeat(0));
                for (bytes, code) in bytes.chunks_exact_mut(3).zip(codes) {
                    bytes.copy_from_slice(&bytes_of::<3>(i64::from(code)));
                }
                return;
            }
            Register::Identity => i64::from(IDENTITY),
            Register::Writes => i64::from(self.settings.writes),
            Register::State => i64::from(self.state()),
            Register::Run => i64::from(self.mode),
            Register::Channels => i64::from(self.configuration.channels()),
            Register::Ranges => i64::from(self.configuration.ranges),
            Register::Averaging => i64::from(self.configuration.averaging),
            Register::Guard => i64::from(self.settings.guard),
            Register::ResetSeen => i64::from(self.alerts.reset_seen()),
            Register::Limit(channel, kind) => self.alerts.limit(channel, kind),
            Register::Debounce(channel) => i64::from(self.alerts.debounce(channel)),
            Register::Latching => i64::from(self.alerts.latching),
            Register::MaskA => i64::from(self.alerts.mask_a),
            Register::MaskB => i64::from(self.alerts.mask_b),
            Register::Flags => i64::from(self.alerts.flags()),
            Register::Conditions => i64::from(self.alerts.conditions()),
            Register::Outputs => i64::from(self.alerts.outputs()),
            Register::Sense(channel) => i64::from(self.sums.results[channel].sense),
            Register::Rail(channel) => i64::from(self.sums.results[channel].rail),
            Register::Power(channel) => self.sums.results[channel].power,
            Register::Charge(channel) => self.sums.charge[channel],
            Register::Energy(channel) => self.sums.energy[channel],
            Register::Scans => i64::from(self.sums.scans),
            Register::CaptureCount => self.captured.len() as i64,
            Register::CaptureFrom => {
                let (index, number) = (self.settings.capture_index, self.settings.capture_number);
                fields(&[(index.into(), 10), (number.into(), 8)]) as i64
            }
            // They cannot be read.
            Register::Latch | Register::Restart => return,
        };
        let width = register.width().min(bytes.len());
        bytes[..width].copy_from_slice(&value.to_be_bytes()[8 - width..]);
    }

    /// Whether the register's description allows this value now. Bits of `value` beyond the
    /// register's width are zero.
    pub(super) fn allows(&self, register: Register, value: u64) -> bool {
        let extended = sign_extended(value, register.width());
        match register {
            Register::Run if value == u64::from(IDLE) || value == u64::from(self.mode) => true,
            Register::Run | Register::Channels | Register::Ranges | Register::Averaging
                if self.mode != IDLE =>
            {
                false
            }
            Register::Run => match value {
                0x10..=0x14 | 0x20 => true,
                mode @ 0x30..=0x33 => self.configuration.channels() >> (mode - 0x30) & 1 == 1,
                _ => false,
            },
            Register::Channels => (0x01..=0x0F).contains(&value),
            // Of each channel's four bits the highest is 0, and the lowest are not both 1.
            Register::Ranges => (value | value << 3 & value << 2) & 0x8888 == 0,
            Register::Averaging => value <= 10,
            Register::Guard => value <= 1,
            Register::Restart => value == 0xA5,
            Register::ResetSeen => value == 1,
            Register::Limit(_, Kind::OverVoltage | Kind::UnderVoltage)
            | Register::Latch
            | Register::Flags => true,
            Register::Limit(_, Kind::OverCurrent | Kind::UnderCurrent) => {
                (-(1 << 17)..1 << 17).contains(&extended)
            }
            Register::Limit(_, Kind::OverPower) => (-(1 << 33)..1 << 33).contains(&extended),
            Register::Debounce(_) => {
                value >> 20 == 0 && (0..5).all(|kind| value >> (4 * kind) & 0xF != 0)
            }
            Register::Latching => value >> 20 == u64::from(ALWAYS_LATCHING >> 20),
            Register::MaskA | Register::MaskB => value >> 23 == 0,
            Register::CaptureFrom => value >> 8 <= 1023 && (1..=16).contains(&(value & 0xFF)),
            _ => false,
        }
    }

    /// Carries out an accepted write that asks for no latch, mode or reset.
    pub(super) fn store(&mut self, register: Register, value: u64) {
        if register.is_counted() {
            self.settings.count_write();
        }
        match register {
            Register::Channels => self.configuration.enable(value as u8),
            Register::Ranges => {
                self.configuration.ranges = value as u16;
                self.alerts.reset_all_limits();
            }
            Register::Averaging => self.configuration.averaging = value as u8,
            Register::Guard => self.settings.guard = value == 1,
            Register::ResetSeen => self.alerts.clear_reset_seen(),
            Register::CaptureFrom => {
                self.settings.capture_index = (value >> 8) as u16;
                self.settings.capture_number = value as u8;
            }
            Register::Limit(channel, kind @ (Kind::OverVoltage | Kind::UnderVoltage)) => {
                self.alerts.set_limit(channel, kind, value as i64)
            }
            Register::Limit(channel, kind) => {
                self.alerts
                    .set_limit(channel, kind, sign_extended(value, register.width()))
            }
            Register::Debounce(channel) => self.alerts.set_debounce(channel, value as u32),
            Register::Latching => self.alerts.set_latching(value as u32),
            Register::MaskA => self.alerts.mask_a = value as u32,
            Register::MaskB => self.alerts.mask_b = value as u32,
            Register::Flags => self.alerts.clear(value as u32),
            _ => {}
        }
        if matches!(
            register,
            Register::Channels | Register::Ranges | Register::Averaging
        ) {
            self.sums.complete = false;
        }
    }
}

fn sign_extended(value: u64, width: usize) -> i64 {
    let spare = 64 - 8 * width as u32;
    (value << spare) as i64 >> spare
}

/// Section 3.
const IDENTITY: u32 = 0x9E37_C402;
