use core::ffi::c_void;

use crake::old::Clock;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{self, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use crate::code::{Code, Error};

/// The caller's bus, delay and clock. Copied on initialisation. Each callback gets `context` and must return; none may call this interface with an object of the call in progress
/// (it would be told `BUSY`).
#[repr(C)]
#[derive(Clone, Copy)]
pub struct Host {
    /// Handed to every callback; may be null.
    pub context: *mut c_void,
    /// Writes `count` bytes to the 7-bit `address` in one transfer: START, address, bytes, STOP. Returns 0; `CRAKE_NO_ACKNOWLEDGE` if nobody acknowledged the address, where it can tell; or a
    /// status of its own. It comes back as `bus_status`.
    pub write: Option<
        unsafe extern "C" fn(
            context: *mut c_void,
            address: u8,
            bytes: *const u8,
            count: usize,
        ) -> i32,
    >,
    /// Writes `count` bytes, then reads `room_count` bytes into `room`, with a repeated START or, where the controller cannot, STOP and START between them. Returns as `write`.
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
    /// Reads `room_count` bytes from the 7-bit `address` into `room`, without a write before. For `crake_alert_response` alone; may be null where that is not used.
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

/// What a bus callback returned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Status(pub(crate) i32);

/// Status of a bus callback: nobody acknowledged the address.
pub const NO_ACKNOWLEDGE: i32 = 0x7FFF_FFFF;

/// Status of a transfer that the callbacks cannot make; the driver asks for none.
const UNSUPPORTED: Status = Status(i32::MIN);

type Read = unsafe extern "C" fn(*mut c_void, u8, *mut u8, usize) -> i32;
type Write = unsafe extern "C" fn(*mut c_void, u8, *const u8, usize) -> i32;
type WriteRead = unsafe extern "C" fn(*mut c_void, u8, *const u8, usize, *mut u8, usize) -> i32;

pub(crate) struct Bus {
    context: *mut c_void,
    write: Write,
    write_read: WriteRead,
    read: Option<Read>,
}

#[derive(Clone, Copy)]
pub(crate) struct Pause {
    context: *mut c_void,
    delay_us: unsafe extern "C" fn(*mut c_void, u32),
}

pub(crate) struct Ticks {
    context: *mut c_void,
    now_us: unsafe extern "C" fn(*mut c_void) -> u64,
}

impl Host {
    /// Bus, delay and clock apart, as the driver takes them.
    pub(crate) fn parts(&self, argument: u8) -> Result<(Bus, Pause, Ticks), Error> {
        let context = self.context;
        let (Some(write), Some(write_read), Some(delay_us), Some(now_us)) =
            (self.write, self.write_read, self.delay_us, self.now_us)
        else {
            return Err(Error::argument(Code::BadPointer, argument));
        };
        Ok((
            Bus {
                context,
                write,
                write_read,
                read: self.read,
            },
            Pause { context, delay_us },
            Ticks { context, now_us },
        ))
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

impl ErrorType for Bus {
    type Error = Status;
}

impl I2c for Bus {
    fn read(&mut self, address: u8, room: &mut [u8]) -> Result<(), Status> {
        let read = self.read.ok_or(UNSUPPORTED)?;
        // SAFETY: the caller promised a callback that may be called like this with its context; `room` is a live slice that nobody else holds.
        done(unsafe { read(self.context, address, room.as_mut_ptr(), room.len()) })
    }

    fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), Status> {
        // SAFETY: the caller of crake_monitor_init promised a callback that may be called like this with its context; pointer and count are a live slice's.
        done(unsafe { (self.write)(self.context, address, bytes.as_ptr(), bytes.len()) })
    }

    fn write_read(&mut self, address: u8, bytes: &[u8], room: &mut [u8]) -> Result<(), Status> {
        let (bytes, count) = (bytes.as_ptr(), bytes.len());
        let (room, room_count) = (room.as_mut_ptr(), room.len());
        // SAFETY: as in `write`; `room` is a live slice that nobody else holds.
        done(unsafe { (self.write_read)(self.context, address, bytes, count, room, room_count) })
    }

    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Status> {
        match operations {
            [Operation::Read(room)] => self.read(address, room),
            [Operation::Write(bytes)] => self.write(address, bytes),
            [Operation::Write(bytes), Operation::Read(room)] => {
                self.write_read(address, bytes, room)
            }
            _ => Err(UNSUPPORTED),
        }
    }
}

impl DelayNs for Pause {
    fn delay_ns(&mut self, ns: u32) {
        self.delay_us(ns.div_ceil(1_000));
    }

    fn delay_us(&mut self, us: u32) {
        // SAFETY: the caller of crake_monitor_init promised a callback that may be called like this with its context.
        unsafe { (self.delay_us)(self.context, us) }
    }
}

impl Clock for Ticks {
    fn now_us(&mut self) -> u64 {
        // SAFETY: the caller of crake_monitor_init promised a callback that may be called like this with its context.
        unsafe { (self.now_us)(self.context) }
    }
}

const fn done(status: i32) -> Result<(), Status> {
    if status == 0 {
        Ok(())
    } else {
        Err(Status(status))
    }
}
