use crake::old::part::{BusRange, Pace, SenseRange};
use crake::old::{Channel, Mode};

use crate::CRAKE_RAILS;
use crate::code::{Code, Error};

/// Ranges of one channel.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ranges {
    /// 1 to convert the channel, 0 to leave it out.
    pub enabled: u8,
    /// 0: ±65.536 mV in steps of 500 nV; 1: ±26.2144 mV in steps of 200 nV.
    pub sense: u8,
    /// 0: 6.5536 V in steps of 100 µV; 1: 16.384 V in steps of 250 µV; 2: 65.536 V in steps of 1 mV.
    pub bus: u8,
}

/// A sampling set-up.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Setup {
    /// Ranges, from channel 0 up.
    pub channels: [Ranges; CRAKE_RAILS],
    /// 0 idle, 1 paced, 2 single-shot, 3 burst: sense of one channel 16 000 times a second, 1024 times, then idle (`crake_fetch`).
    pub mode: u8,
    /// For paced: 0, 1, 2, 3, 4 for 2000, 500, 100, 10, 1 rounds a second.
    pub pace: u8,
    /// k: readings are means of 2^k rounds, k from 0 to 10.
    pub averaging: u8,
    /// For a burst: its channel, which must be enabled.
    pub burst_channel: u8,
}

impl Setup {
    /// As the driver takes it; what the part cannot do is for the driver to refuse.
    pub(crate) fn driver(&self, argument: u8) -> Result<crake::old::Setup<CRAKE_RAILS>, Error> {
        let mode = match self.mode {
            0 => Mode::Idle,
            1 => Mode::Paced(Pace(self.pace)),
            2 => Mode::SingleShot,
            3 => Mode::Burst(Channel::new(self.burst_channel)),
            _ => return Err(Error::argument(Code::BadArgument, argument)),
        };
        let mut setup = crake::old::Setup {
            channels: [None; CRAKE_RAILS],
            mode,
            averaging: self.averaging,
        };
        for (channel, ranges) in Channel::first(u8::MAX).zip(&self.channels) {
            match ranges.enabled {
                0 => {}
                1 => {
                    let ranges = crake::old::Ranges {
                        sense: SenseRange(ranges.sense),
                        bus: BusRange(ranges.bus),
                    };
                    setup = setup.with(channel, Some(ranges));
                }
                _ => return Err(Error::argument(Code::BadArgument, argument)),
            }
        }
        Ok(setup)
    }
}
