use core::ffi::c_void;

use crake::Clock;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{self, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use crate::*;

types! {
    /// The caller's bus, delay and clock. Each callback gets `context` and must return; none may
    /// call this interface with an object of the call in progress (it would be told `IN_CALL`).
    struct Host {
        /// Handed to every callback; may be null.
        context: *mut c_void,
        /// One transfer with the 7-bit `address`: writes `count` bytes, then reads `room_count`
        /// bytes into `room`, with a repeated START or, where the controller cannot, STOP and START
        /// between them. Either count may be 0, which leaves that half out: without bytes to write,
        /// START and the address for reading come first (`crake_alert_response` alone asks for
        /// that).
        ///
        /// Returns 0; `CRAKE_NO_ACKNOWLEDGE` if nobody acknowledged the address, where it can tell;
        /// or a status of its own. It comes back as `bus_status`.
        transfer: Option<unsafe extern "C" fn(
            context: *mut c_void, address: u8, bytes: *const u8, count: usize, room: *mut u8,
            room_count: usize
        ) -> i32>,
        /// Waits at least `us` microseconds.
        delay_us: Option<unsafe extern "C" fn(context: *mut c_void, us: u32)>,
        /// Microseconds on a clock that runs through sleep and never goes back.
        now_us: Option<unsafe extern "C" fn(context: *mut c_void) -> u64>,
    }
}

/// Status of a bus callback: nobody acknowledged the address.
pub const NO_ACKNOWLEDGE: i32 = 0x7FFF_FFFF;

/// What a bus callback returned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Status(pub(crate) i32);

/// A host whose callbacks are there and, so the caller promised, may be called with its context.
#[derive(Clone, Copy)]
pub struct Lines(&'static Host);

impl Lines {
    /// Of a host that is the `argument`-th argument of the call.
    pub(crate) fn of(host: &'static Host, argument: u8) -> Result<Self, Error> {
        if host.transfer.is_none() || host.delay_us.is_none() || host.now_us.is_none() {
            return Err(Code::BadPointer.at(argument));
        }
        Ok(Self(host))
    }
}

impl i2c::Error for Status {
    fn kind(&self) -> ErrorKind {
        match self.0 {
            NO_ACKNOWLEDGE => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            _ => ErrorKind::Other,
        }
    }
}

impl ErrorType for Lines {
    type Error = Status;
}

impl I2c for Lines {
    /// The driver asks for no other transfers than these three.
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Status> {
        let (bytes, room): (&[u8], &mut [u8]) = match operations {
            [Operation::Write(bytes)] => (bytes, &mut []),
            [Operation::Read(room)] => (&[], room),
            [Operation::Write(bytes), Operation::Read(room)] => (bytes, room),
            _ => return Err(Status(i32::MIN)),
        };
        let (from, to, host) = (bytes.as_ptr(), room.as_mut_ptr(), self.0);
        let status = host.transfer.map_or(i32::MIN, |transfer| {
            // SAFETY: the caller's promise; pointers and counts are those of live slices, and
            // nobody else holds what is read into.
            unsafe { transfer(host.context, address, from, bytes.len(), to, room.len()) }
        });
        match status {
            0 => Ok(()),
            status => Err(Status(status)),
        }
    }
}

impl DelayNs for Lines {
    fn delay_ns(&mut self, ns: u32) {
        if let Some(delay_us) = self.0.delay_us {
            // SAFETY: the caller's promise.
            unsafe { delay_us(self.0.context, ns.div_ceil(1_000)) }
        }
    }
}

impl Clock for Lines {
    fn now_us(&mut self) -> u64 {
        let now_us = self.0.now_us;
        // SAFETY: the caller's promise.
        now_us.map_or(0, |now_us| unsafe { now_us(self.0.context) })
    }
}
