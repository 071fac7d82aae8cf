use core::ffi::c_void;

use crake::Clock;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{self, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

/// The caller's bus, delay and clock. Each callback gets `context` and must return; none may call
/// this interface with an object of the call in progress (it would be told `IN_CALL`).
#[repr(C)]
pub struct Host {
    /// Handed to every callback; may be null.
    pub context: *mut c_void,
    /// Writes `count` bytes to the 7-bit `address` in one transfer: START, address, bytes, STOP.
    /// Returns 0; `CRAKE_NO_ACKNOWLEDGE` if nobody acknowledged the address, where it can tell; or
    /// a status of its own. It comes back as `bus_status`.
    pub write: Option<
        unsafe extern "C" fn(
            context: *mut c_void,
            address: u8,
            bytes: *const u8,
            count: usize,
        ) -> i32,
    >,
    /// Writes `count` bytes, then reads `room_count` bytes into `room`, with a repeated START or,
    /// where the controller cannot, STOP and START between them. Returns as `write`.
    pub write_read: Option<
        unsafe extern "C" fn(
            context: *mut c_void,
            address: u8,
            bytes: *const u8,
            count: usize,
            room: *mut u8,
            room_count: usize,
        ) -> i32,
    >,
    /// Reads `room_count` bytes from the 7-bit `address` into `room`, without a write before. For
    /// `crake_alert_response` alone; may be null where that is not used.
    pub read: Option<
        unsafe extern "C" fn(
            context: *mut c_void,
            address: u8,
            room: *mut u8,
            room_count: usize,
        ) -> i32,
    >,
    /// Waits at least `us` microseconds.
    pub delay_us: Option<unsafe extern "C" fn(context: *mut c_void, us: u32)>,
    /// Microseconds on a clock that runs through sleep and never goes back.
    pub now_us: Option<unsafe extern "C" fn(context: *mut c_void) -> u64>,
}

/// Status of a bus callback: nobody acknowledged the address.
pub const NO_ACKNOWLEDGE: i32 = 0x7FFF_FFFF;

/// What a bus callback returned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Status(pub(crate) i32);

/// A host whose callbacks may be called with its context, so the caller promised.
#[derive(Clone, Copy)]
pub struct Lines(pub(crate) &'static Host);

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
        let (host, context) = (self.0, self.0.context);
        // SAFETY: the caller's promise; pointers and counts are those of live slices, and nobody
        // else holds what is read into.
        let status = unsafe {
            match (operations, host.write, host.write_read, host.read) {
                ([Operation::Read(room)], _, _, Some(read)) => {
                    read(context, address, room.as_mut_ptr(), room.len())
                }
                ([Operation::Write(bytes)], Some(write), ..) => {
                    write(context, address, bytes.as_ptr(), bytes.len())
                }
                ([Operation::Write(bytes), Operation::Read(room)], _, Some(write_read), _) => {
                    let (to, from, count) = (room.as_mut_ptr(), bytes.as_ptr(), bytes.len());
                    write_read(context, address, from, count, to, room.len())
                }
                _ => i32::MIN,
            }
        };
        match status {
            0 => Ok(()),
            status => Err(Status(status)),
        }
    }
}

impl DelayNs for Lines {
    fn delay_ns(&mut self, ns: u32) {
        self.delay_us(ns.div_ceil(1_000));
    }

    fn delay_us(&mut self, us: u32) {
        if let Some(delay_us) = self.0.delay_us {
            // SAFETY: the caller's promise.
            unsafe { delay_us(self.0.context, us) }
        }
    }
}

impl Clock for Lines {
    fn now_us(&mut self) -> u64 {
        // SAFETY: the caller's promise.
        self.0
            .now_us
            .map_or(0, |now_us| unsafe { now_us(self.0.context) })
    }
}
