use crake::old::Channel;
use crake::old::alert::{Limit, Outputs, Watch as DriverWatch};
use crake::old::units::{Current, Power, Voltage};

use crate::CRAKE_RAILS;
use crate::code::{Code, Error};
use crate::memory::{self, Watches, report};

/// Greatest number of watches in a list: one of each kind on each channel.
pub const WATCHES_MAX: usize = 20;
const _: () = assert!(WATCHES_MAX == CRAKE_RAILS * crake::old::alert::Kind::ALL.len());

/// One limit on one channel, and what is to happen when it is passed.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Watch {
    /// The limit, in nanovolts, nanoamperes or nanowatts.
    pub limit: i64,
    /// Reported again only after the reading was back by this much, in the limit's unit.
    pub hysteresis: u64,
    /// The channel.
    pub channel: u8,
    /// 0 over-voltage, 1 under-voltage, 2 over-current, 3 under-current, 4 over-power.
    pub kind: u8,
    /// Passed after so many consecutive conversions beyond the limit: 1 to 15.
    pub debounce: u8,
    /// 1: the cause is held until it was seen and cleared; 0: it follows the condition.
    pub held: u8,
    /// Outputs it reaches: 1 A, 2 B, 3 both, 0 none, to be found by looking (by `crake_station_service`).
    pub outputs: u8,
}

/// What lives in the memory of a list: every place holds a watch, and `count` of them count.
pub(crate) struct Listed {
    watches: [DriverWatch; WATCHES_MAX],
    count: usize,
}

impl Listed {
    pub(crate) fn limits(&self) -> &[DriverWatch] {
        self.watches.get(..self.count).unwrap_or_default()
    }
}

impl Watch {
    fn driver(&self) -> Option<DriverWatch> {
        let limit = match self.kind {
            0 => Limit::OverVoltage(Voltage::from_nanovolts(self.limit)),
            1 => Limit::UnderVoltage(Voltage::from_nanovolts(self.limit)),
            2 => Limit::OverCurrent(Current::from_nanoamps(self.limit)),
            3 => Limit::UnderCurrent(Current::from_nanoamps(self.limit)),
            4 => Limit::OverPower(Power::from_nanowatts(self.limit)),
            _ => return None,
        };
        let mut watch = DriverWatch::new(Channel::new(self.channel), limit)
            .debounce(self.debounce)
            .hysteresis(self.hysteresis);
        match self.held {
            0 => {}
            1 => watch = watch.held(),
            _ => return None,
        }
        Some(match self.outputs {
            0 => watch.silent(),
            _ => watch.to(Outputs::from_bits(self.outputs)?),
        })
    }
}

/// Makes a list of `count` watches in zeroed memory, at most `CRAKE_WATCHES_MAX`; `list` is not needed afterwards. Whether part and board can watch for them is checked when they are armed.
///
/// `BAD_ARGUMENT` with the place in the list as `got`.
///
/// # Safety
/// Each pointer is null or leads to what its type says, `list` to `count` of them.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_watches_init(
    watches: *mut Watches,
    list: *const Watch,
    count: usize,
    error: *mut Error,
) -> Code {
    let outcome = || {
        if count > WATCHES_MAX {
            return Err(Error::argument(Code::BadArgument, 3));
        }
        // SAFETY: the caller's promise; `count` is small.
        let list = unsafe { memory::inputs(list, count, 2) }?;
        let nameless = DriverWatch::new(Channel::C0, Limit::OverVoltage(Voltage::ZERO));
        let mut listed = Listed {
            watches: [nameless; WATCHES_MAX],
            count,
        };
        for (place, (watch, described)) in (0..).zip(listed.watches.iter_mut().zip(list)) {
            *watch = described.driver().ok_or(Error {
                got: place,
                ..Error::argument(Code::BadArgument, 2)
            })?;
        }
        // SAFETY: the caller's promise.
        unsafe { memory::create(watches, 1, listed) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}
