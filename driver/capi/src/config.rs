use crake::config::{Config as DriverConfig, FullScale, Mode as DriverMode, ScanRate};
use crake::units::Voltage;

use crate::*;

/// What the part does by itself.
#[repr(u8)]
pub enum Mode {
    /// Nothing: no conversions, sums stand still, least supply current.
    Idle = 0,
    /// Scans for ever.
    Continuous = 1,
    /// As many scans as one mean takes whenever a sample is taken, then idle.
    SingleShot = 2,
}

/// What one channel has to reach, in either direction; the finest range that does is taken.
#[repr(C)]
#[derive(Clone, Copy, Default)]
pub struct Channel {
    /// At least so many microvolts across the sense resistor: up to 65 535 on Corncrake.
    pub sense_uv: u32,
    /// At least so many microvolts of the rail: up to 65 535 000.
    pub rail_uv: u32,
    /// 1 to convert the channel, 0 to leave it out.
    pub enabled: u8,
}

/// What to convert, and how often.
#[repr(C)]
#[derive(Clone, Copy, Default)]
pub struct Config {
    /// From channel 0 up.
    pub channels: [Channel; CRAKE_RAILS],
    /// In continuous mode at least so many scans a second; 2000, 500, 100, 10 and 1 can be.
    pub scans_per_second: u32,
    /// A `crake_mode`.
    pub mode: u8,
    /// k: readings are means of 2^k scans, k from 0 to 10. Running sums take every scan regardless.
    pub averaging_log2: u8,
}

impl Config {
    /// As the driver takes it; what the part cannot do is for the driver to refuse. It is the
    /// second argument of each call.
    pub(crate) fn driver(&self) -> Result<DriverConfig<CRAKE_RAILS>, Error> {
        let mode = match self.mode {
            0 => DriverMode::Idle,
            1 => DriverMode::Continuous(ScanRate::per_second(self.scans_per_second)),
            2 => DriverMode::SingleShot,
            _ => return Err(Error::argument(Code::BadArgument, 2)),
        };
        let scales = self.channels.map(|channel| {
            FullScale::new(
                Voltage::from_microvolts(channel.sense_uv.into()),
                Voltage::from_microvolts(channel.rail_uv.into()),
            )
        });
        let mut config = DriverConfig::single_shot(scales)
            .with_mode(mode)
            .averaging(self.averaging_log2);
        for (channel, asked) in crake::Channel::first(u8::MAX).zip(&self.channels) {
            if asked.enabled == 0 {
                config = config.without(channel);
            }
        }
        Ok(config)
    }
}
