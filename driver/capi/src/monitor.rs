use crake::old::ShuntMonitor;
use crake::old::part::Joint;
use crake::old::part::corncrake::Corncrake;

use crate::CRAKE_RAILS;
use crate::code::{self, Code, Error};
use crate::frame::Frame;
use crate::host::{Bus, Host, Pause, Status, Ticks};
use crate::memory::{self, Board, Ledger, Monitor, report};
use crate::setup::Setup;

/// How a monitor is to be used.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Config {
    /// 7-bit address of the part: 0x32 to 0x35.
    pub address: u8,
    /// Greatest number of bytes that `write_read` reads in one transfer; 0 for no limit. Blocks are then read in pieces, and stay coherent. Single registers take 5 whatever it is.
    pub read_max: u8,
    /// How often a step that may be repeated is repeated after a failure; 2 is a good choice.
    pub repeats: u8,
    /// 1 to work out the bound of every current in every frame, 0 to leave it out.
    pub bounds: u8,
}

/// What lives in a monitor's memory.
pub(crate) struct Live {
    pub(crate) monitor: crake::old::Monitor<'static, Bus, Pause, Ticks, Corncrake, CRAKE_RAILS>,
    /// A copy of the caller's delay, for what waits besides the monitor.
    pub(crate) pause: Pause,
    bounds: bool,
}

/// Calls that make a frame: the driver's call, then the ledger, then the caller's copy.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
pub(crate) unsafe fn with_frame(
    monitor: *mut Monitor,
    (ledger, argument): (*mut Ledger, u8),
    frame: *mut Frame,
    call: impl for<'m> FnOnce(&'m mut Live) -> Result<crake::old::Frame<'m>, crake::old::Error<Status>>,
) -> Result<(), Error> {
    // Found before anything is asked of the part.
    if !frame.is_null() && !frame.is_aligned() {
        let argument = argument.wrapping_add(1); // the one after the ledger; calls have seven at most
        return Err(Error::argument(Code::BadPointer, argument));
    }
    // SAFETY: the caller's promise.
    let mut live = unsafe { memory::held(monitor, 1) }?;
    // SAFETY: the caller's promise.
    let mut ledger = unsafe { memory::held_if_any(ledger, argument) }?;
    let accounted = ledger.as_ref().map(|ledger| ledger.0);
    if accounted.is_some_and(|board| !core::ptr::eq(board, live.monitor.board())) {
        return Err(Error::argument(Code::BadArgument, argument));
    }
    let bounds = live.bounds;
    let latched = call(&mut live)?;
    let entry = ledger.as_mut().map(|ledger| ledger.1.update(&latched));
    if !frame.is_null() {
        let made = Frame::new(&latched, bounds, entry);
        // SAFETY: the caller's promise.
        unsafe { memory::output(frame, argument, made) }?;
    }
    Ok(())
}

/// Calls that take a set-up as their second argument and make a frame.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
unsafe fn with_setup(
    monitor: *mut Monitor,
    setup: *const Setup,
    (ledger, frame): (*mut Ledger, *mut Frame),
    error: *mut Error,
    call: impl for<'m> FnOnce(
        &'m mut Live,
        crake::old::Setup<CRAKE_RAILS>,
    ) -> Result<crake::old::Frame<'m>, crake::old::Error<Status>>,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let setup = unsafe { memory::input(setup, 2) }?.driver(2)?;
        // SAFETY: the caller's promise.
        unsafe { with_frame(monitor, (ledger, 3), frame, |live| call(live, setup)) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Makes a monitor in zeroed memory: of the part at an address, on a board. Touches nothing yet; go on with `crake_init` or `crake_attach`.
///
/// `host` and `config` are copied. Every later call waits out its transfers; the longest is `crake_init`, a latch takes two transfers and one round.
///
/// # Safety
/// Each pointer is null or leads to what its type says; the callbacks may be called with the context as `crake_host` says, and `board` stays where it is, as long as the monitor is used.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_monitor_init(
    monitor: *mut Monitor,
    board: *const Board,
    host: *const Host,
    config: *const Config,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise, for as long as the monitor is used.
        let board = unsafe { memory::shared(board, 2) }?;
        // SAFETY: the caller's promise.
        let (bus, pause, ticks) = unsafe { memory::input(host, 3) }?.parts(3)?;
        // SAFETY: the caller's promise.
        let config = unsafe { memory::input(config, 4) }?;
        if config.address > 0x7F || config.bounds > 1 {
            return Err(Error::argument(Code::BadArgument, 4));
        }
        let read_max = match config.read_max {
            0 => u8::MAX,
            bytes => bytes,
        };
        let part = Corncrake::new();
        let made = crake::old::Monitor::new(bus, pause, ticks, part, config.address, board)
            .with_read_max(read_max)
            .with_repeats(config.repeats);
        let live = Live {
            monitor: made,
            pause,
            bounds: config.bounds == 1,
        };
        // SAFETY: the caller's promise.
        unsafe { memory::create(monitor, 1, live) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Sets the part up from whatever state it is in, running sums at zero, and starts it. The frame has no readings yet; `ledger` and `frame` may be null, here and below.
///
/// What the part cannot do is refused before a byte is sent. After another failure the part may be half set up; this starts over.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_init(
    monitor: *mut Monitor,
    setup: *const Setup,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        with_setup(monitor, setup, (ledger, frame), error, |live, setup| {
            live.monitor.init(&setup)
        })
    }
}

/// Joins a part that runs already, without disturbing it, and latches. `serial` is what `crake_joint` gave when it was last set up, kept across the firmware's restart.
///
/// `RESET_SEEN`, `SET_UP_CHANGED`, `IDENTITY`: the part is as it was, and `crake_init` is what remains.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_attach(
    monitor: *mut Monitor,
    serial: u16,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    let joint = Joint { serial };
    // SAFETY: the caller's promise.
    let outcome = unsafe {
        with_frame(monitor, (ledger, 3), frame, |live| {
            live.monitor.attach(&joint)
        })
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome) }
}

/// Latches all channels at the end of the round in progress and reads them. While the supply is declared off no transfer is made, and the frame says so.
///
/// No count and no over-range flag is lost by a failure; the next frame has them.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_latch(
    monitor: *mut Monitor,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    let outcome = unsafe { with_frame(monitor, (ledger, 2), frame, |live| live.monitor.latch()) };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome) }
}

/// Takes over another set-up at the end of the round in progress; the frame is of that moment, still described by the old one. Not a round is lost.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_configure(
    monitor: *mut Monitor,
    setup: *const Setup,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        with_setup(monitor, setup, (ledger, frame), error, |live, setup| {
            live.monitor.configure(&setup)
        })
    }
}

/// Gives what has to be kept across a restart of the firmware for `crake_attach`.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_joint(
    monitor: *mut Monitor,
    serial: *mut u16,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(monitor, (serial, 2), error, |live| {
            Ok(live.monitor.joint().serial)
        })
    }
}

/// How long a call can take at the most on a bus of `bus_hz`, its waits and all repeats after failures included, in microseconds. `task` is a number as in `crake_error`; 6 is a whole service.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_longest_us(
    monitor: *mut Monitor,
    task: u8,
    bus_hz: u32,
    longest_us: *mut u64,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(monitor, (longest_us, 4), error, |live| {
            let task = code::task(task).ok_or(Error::argument(Code::BadArgument, 2))?;
            Ok(live.monitor.longest_us(task, bus_hz))
        })
    }
}

/// Declares the part's supply off (0) or on (1). On again, the part is fresh from reset: call `crake_init`.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_declare_powered(
    monitor: *mut Monitor,
    powered: u8,
    error: *mut Error,
) -> Code {
    let outcome = || {
        if powered > 1 {
            return Err(Error::argument(Code::BadArgument, 2));
        }
        // SAFETY: the caller's promise.
        let mut live = unsafe { memory::held(monitor, 1) }?;
        live.monitor.declare_powered(powered == 1);
        Ok(())
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}
