//! What each register holds, which values it allows, and what a write changes.

use super::{
    Core, IDENTITY,
    alerts::{self, Kind},
    frame::bytes_of,
    registers::{Register, STORE_WINDOW},
};

/// The set-up as written; RUN takes CHANNELS, RANGES and AVERAGING over from here.
#[derive(Debug)]
pub(super) struct Settings {
    pub(super) serial: u16,
    pub(super) run: u32,
    pub(super) channels: u8,
    pub(super) ranges: u16,
    pub(super) averaging: u8,
    pub(super) guard: bool,
    pub(super) boot: bool,
    pub(super) store_index: u16,
}

impl Settings {
    pub(super) fn after_reset() -> Self {
        Self {
            serial: 0,
            run: 0,
            channels: 0x0F,
            ranges: 0x2222,
            averaging: 0,
            guard: false,
            boot: true,
            store_index: 0,
        }
    }
}

impl Core {
    /// Fills the front of `bytes` with the register's value, most significant byte first.
    pub(super) fn read(&self, register: Register, bytes: &mut [u8]) {
        if register == Register::Store {
            let from = usize::from(self.settings.store_index);
            for (bytes, code) in bytes
                .chunks_mut(3)
                .zip(self.store.codes.iter().skip(from).take(STORE_WINDOW))
            {
                bytes.copy_from_slice(&bytes_of::<3>(i64::from(*code)));
            }
            return;
        }
        let value: i64 = match register {
            Register::Identity => i64::from(IDENTITY),
            Register::Serial => i64::from(self.settings.serial),
            Register::State => i64::from(self.state()),
            Register::Run => i64::from(self.settings.run),
            Register::Channels => i64::from(self.settings.channels),
            Register::Ranges => i64::from(self.settings.ranges),
            Register::Averaging => i64::from(self.settings.averaging),
            Register::Guard => i64::from(self.settings.guard),
            Register::Boot => i64::from(self.settings.boot),
            Register::Limit(channel, kind) => self.alerts.limit(channel, kind),
            Register::Debounce(channel) => i64::from(self.alerts.debounce(channel)),
            Register::Hold => i64::from(self.alerts.hold),
            Register::MaskA => i64::from(self.alerts.mask_a),
            Register::MaskB => i64::from(self.alerts.mask_b),
            Register::Causes => i64::from(self.alerts.causes()),
            Register::Levels => i64::from(self.alerts.levels()),
            Register::Outputs => i64::from(self.alerts.outputs()),
            Register::Sense(channel) => i64::from(self.sums.results[channel].sense),
            Register::Bus(channel) => i64::from(self.sums.results[channel].bus),
            Register::Power(channel) => self.sums.results[channel].power,
            Register::Charge(channel) => self.sums.charge[channel],
            Register::Energy(channel) => self.sums.energy[channel],
            Register::Rounds => i64::from(self.sums.rounds),
            Register::StoreCount => self.store.count as i64,
            Register::StoreIndex => i64::from(self.settings.store_index),
            // Filled above, or never read.
            Register::Store | Register::Latch | Register::Restart => 0,
        };
        let width = register.width().min(bytes.len());
        bytes[..width].copy_from_slice(&value.to_be_bytes()[8 - width..]);
    }

    /// Whether the register's description allows this value, whose bits beyond the register's width are zero.
    pub(super) fn allows(&self, register: Register, value: u64) -> bool {
        let extended = sign_extended(value, register.width());
        match register {
            Register::Run => match value >> 16 {
                0x00 | 0x10..=0x14 | 0x20 => true,
                mode @ 0x30..=0x33 => self.settings.channels >> (mode - 0x30) & 1 == 1,
                _ => false,
            },
            Register::Channels => (0x01..=0x0F).contains(&value),
            Register::Ranges => (0..4)
                .map(|channel| value >> (4 * channel) & 0xF)
                .all(|code| code & 8 == 0 && code & 3 != 3),
            Register::Averaging => value <= 10,
            Register::Guard => value <= 1,
            Register::Restart => value == 0xA5,
            Register::Boot => value == 1,
            Register::Limit(_, Kind::OverVoltage | Kind::UnderVoltage)
            | Register::Latch
            | Register::Causes => true,
            Register::Limit(_, Kind::OverCurrent | Kind::UnderCurrent) => {
                (-(1 << 17)..1 << 17).contains(&extended)
            }
            Register::Limit(_, Kind::OverPower) => (-(1 << 33)..1 << 33).contains(&extended),
            Register::Debounce(_) => {
                value >> 20 == 0 && (0..5).all(|kind| value >> (4 * kind) & 0xF != 0)
            }
            Register::Hold => value >> 20 == u64::from(alerts::ALWAYS_HELD >> 20),
            Register::MaskA | Register::MaskB => value >> 23 == 0,
            Register::StoreIndex => value <= 1008,
            _ => false,
        }
    }

    /// Carries out an accepted write that asks for no latch, mode or reset.
    pub(super) fn store(&mut self, register: Register, value: u64) {
        if register.is_set_up() {
            self.settings.serial = self.settings.serial.wrapping_add(1);
        }
        match register {
            Register::Run => self.settings.run = value as u32,
            Register::Channels => self.settings.channels = value as u8,
            Register::Ranges => self.settings.ranges = value as u16,
            Register::Averaging => self.settings.averaging = value as u8,
            Register::Guard => self.settings.guard = value == 1,
            Register::Boot => self.settings.boot = false,
            Register::StoreIndex => self.settings.store_index = value as u16,
            Register::Limit(channel, kind @ (Kind::OverVoltage | Kind::UnderVoltage)) => {
                self.alerts.set_limit(channel, kind, value as i64)
            }
            Register::Limit(channel, kind) => {
                self.alerts
                    .set_limit(channel, kind, sign_extended(value, register.width()))
            }
            Register::Debounce(channel) => self.alerts.set_debounce(channel, value as u32),
            Register::Hold => self.alerts.set_hold(value as u32),
            Register::MaskA => self.alerts.mask_a = value as u32,
            Register::MaskB => self.alerts.mask_b = value as u32,
            Register::Causes => self.alerts.clear(value as u32),
            _ => {}
        }
    }
}

fn sign_extended(value: u64, width: usize) -> i64 {
    let spare = 64 - 8 * width as u32;
    (value << spare) as i64 >> spare
}
