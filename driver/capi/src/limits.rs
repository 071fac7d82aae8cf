use core::time::Duration;

use crake::Channel;
use crake::alert::{Kind as DriverKind, Lasting, Limit as DriverLimit, Limits as DriverLimits};
use crake::alert::{Outputs, Quantity, Threshold, limit_in_force};

use crate::*;

/// Greatest number of limits: one of each kind on each channel.
pub const LIMITS_MAX: usize = 20;

/// What a limit watches for.
#[repr(u8)]
pub enum Kind {
    /// Rail voltage above the limit.
    OverVoltage = 0,
    /// Rail voltage below the limit.
    UnderVoltage = 1,
    /// Current above the limit, signed.
    OverCurrent = 2,
    /// Current below the limit, signed.
    UnderCurrent = 3,
    /// Power above the limit, signed.
    OverPower = 4,
}

/// One limit on one channel, and what is to happen when it is passed.
#[repr(C)]
pub struct Limit {
    /// The limit, in nanovolts, nanoamperes or nanowatts.
    pub limit: i64,
    /// Over only once a sample is back on the permitted side by this much, in the limit's unit, 0
    /// or more; 0 takes a 64th of the limit. A limit near zero needs one of its own.
    pub hysteresis: i64,
    /// What happens while the condition lasts: 0, its flag alone is taken off its outputs until a
    /// sample shows it over; otherwise it is looked at again after so many microseconds.
    pub look_again_us: u32,
    /// The channel.
    pub channel: u8,
    /// A `crake_kind`.
    pub kind: u8,
    /// Passed after so many consecutive conversions beyond the limit: 1 to 15; 0 counts as 1.
    pub debounce: u8,
    /// 0: the flag stays until it was seen and cleared; 1: it follows the condition.
    pub following: u8,
    /// Outputs it reaches: 1 A, 2 B, 3 both, 0 none, which has to be meant.
    pub outputs: u8,
    /// 1 if it reaches no output on purpose, to be found by looking.
    pub silent: u8,
}

/// Memory of one limit.
#[repr(C)]
pub struct LimitMemory {
    words: [u64; 7],
}

/// Memory of limits: zero it, then `crake_limits_init`.
#[repr(C)]
pub struct Limits {
    words: [u64; 8],
}

impl Limit {
    fn driver(&self) -> Option<DriverLimit> {
        let kind = *DriverKind::ALL.get(usize::from(self.kind))?;
        let threshold = Threshold::of(kind, self.limit);
        let mut limit = DriverLimit::new(Channel::new(self.channel), threshold)
            .debounce(self.debounce.max(1))
            .to(Outputs::from_bits(self.outputs)?);
        if self.hysteresis != 0 {
            limit = limit.hysteresis(Quantity::of(kind, self.hysteresis));
        }
        if self.following != 0 {
            limit = limit.following();
        }
        if self.silent != 0 {
            limit = limit.silent();
        }
        if self.look_again_us > 0 {
            let interval = Duration::from_micros(self.look_again_us.into());
            limit = limit.lasting(Lasting::LookAgain(interval));
        }
        Some(limit)
    }
}

calls! {
    /// Makes limits of a list of `count`, which is not needed afterwards; `memory` has room for as
    /// many, and stays with the limits. What cannot be is found when they are set.
    ///
    /// `rollover_outputs` are told when a running sum of the part comes near its end; nothing is
    /// masked on `wired_outputs`, which are wired to hardware. `BAD_ARGUMENT` with the place in the
    /// list as `got` for a kind or an output that there is not.
    fn crake_limits_init(
        limits: new Limits, memory: room LimitMemory, list: array Limit, count: value usize,
        rollover_outputs: value u8, wired_outputs: value u8
    ) {
        let bad = |argument| Error::argument(Code::BadArgument, argument);
        if count > LIMITS_MAX {
            return Err(bad(4));
        }
        let list = list.values(count)?;
        let list = memory.of().filled(count, |place| {
            let made = list.get(place).and_then(Limit::driver);
            made.ok_or(Error { got: place as i64, ..bad(3) })
        })?;
        let rollover = Outputs::from_bits(rollover_outputs).ok_or(bad(5))?;
        let wired = Outputs::from_bits(wired_outputs).ok_or(bad(6))?;
        limits.fill(DriverLimits::new(list).rollover_ahead(rollover).wired(wired))
    }

    /// What a limit's code stands for under the configuration in force: the limit moved to the code
    /// on the safe side. `kind` is a `crake_kind`. `NOTHING` where the channel is not enabled or
    /// the limit beyond full scale.
    fn crake_limit_in_force(
        monitor: live Monitor, channel: value u8, kind: value u8, limit: value i64,
        in_force: wanted i64
    ) {
        let kind = DriverKind::ALL.get(usize::from(kind));
        let kind = *kind.ok_or(Error::argument(Code::BadArgument, 3))?;
        let threshold = Threshold::of(kind, limit);
        let found = limit_in_force(monitor.last(), Channel::new(channel), threshold);
        in_force.write(found.ok_or(Error::new(Code::Nothing))?.billionths())
    }
}
