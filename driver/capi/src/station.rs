use crake::old::ShuntMonitor;
use crake::old::alert::{Cause, Causes, Event as DriverEvent, Outputs, Station as DriverStation};

use crate::CRAKE_RAILS;
use crate::code::{Code, Error};
use crate::frame::{Frame, Reading};
use crate::host::Status;
use crate::memory::{self, Ledger, Monitor, Station, Watches, report};
use crate::monitor::{Live, with_frame};
use crate::setup::Setup;

/// Events that a station keeps until they are taken.
const QUEUE: usize = 8;

/// What lives in a station's memory.
///
/// cbindgen:ignore
pub(crate) type Desk = DriverStation<'static, CRAKE_RAILS, QUEUE>;

/// Something that the part told.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// The cause is older than this: when the frame after it was latched, in microseconds on the host's clock.
    pub before_us: u64,
    /// As `after_us` of a frame.
    pub after_us: u64,
    /// The limit in force in nanovolts, nanoamperes or nanowatts: the requested one moved to the code on the safe side.
    pub in_force: i64,
    /// The channel's reading in that frame: already back, perhaps. `NOTHING` where no limit is concerned.
    pub reading: Reading,
    /// 0 a limit was passed; 1 one of the part's running sums comes near its end: latch soon; 2 a round was done; 3 the part was reset.
    pub cause: u8,
    /// Channel of the limit.
    pub channel: u8,
    /// Kind of the limit, as in `crake_watch`.
    pub kind: u8,
    /// 1 if `in_force` is known.
    pub in_force_known: u8,
}

impl From<DriverEvent> for Event {
    fn from(event: DriverEvent) -> Self {
        let (cause, channel, kind) = match event.cause {
            // A kind's place is below 5.
            Cause::Limit(channel, kind) => (0, channel.number(), kind.index() as u8),
            Cause::RolloverAhead => (1, 0, 0),
            Cause::RoundDone => (2, 0, 0),
            Cause::ResetSeen => (3, 0, 0),
        };
        Self {
            before_us: event.stamp.before_us,
            after_us: event.stamp.after_us,
            in_force: event.in_force.map_or(0, |limit| limit.value()),
            reading: event
                .reading
                .map_or(Reading::none(Code::Nothing), Reading::from),
            cause,
            channel,
            kind,
            in_force_known: u8::from(event.in_force.is_some()),
        }
    }
}

/// What is to be watched: a list, and the outputs that are told of rollover ahead.
///
/// # Safety
/// As [`memory::shared`].
unsafe fn watched(
    watches: *const Watches,
    argument: u8,
    rollover_outputs: u8,
) -> Result<crake::old::alert::Watches<'static>, Error> {
    // SAFETY: the caller's promise.
    let listed = unsafe { memory::shared(watches, argument) }?;
    let outputs = Outputs::from_bits(rollover_outputs).ok_or(Error::argument(
        Code::BadArgument,
        argument.wrapping_add(1), // calls have eight at most
    ))?;
    Ok(crake::old::alert::Watches::limits(listed.limits()).rollover_ahead(outputs))
}

/// Calls of a station, the second argument, that make a frame.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
unsafe fn by_station(
    monitor: *mut Monitor,
    station: *mut Station,
    (ledger, frame): (*mut Ledger, *mut Frame),
    error: *mut Error,
    call: impl for<'m> FnOnce(
        &mut Desk,
        &'m mut Live,
    ) -> Result<crake::old::Frame<'m>, crake::old::Error<Status>>,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let mut desk = unsafe { memory::held(station, 2) }?;
        // SAFETY: the caller's promise.
        unsafe { with_frame(monitor, (ledger, 3), frame, |live| call(&mut desk, live)) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Makes a station in zeroed memory: it arms watches together with a set-up, serves the part, and queues events. Touches nothing yet.
///
/// `rollover_outputs`: outputs (1 A, 2 B, 3 both, 0 none) told when a running sum of the part comes near its end.
///
/// # Safety
/// Each pointer is null or leads to what its type says, and `watches` stays where it is, as long as the station uses it.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_init(
    station: *mut Station,
    setup: *const Setup,
    watches: *const Watches,
    rollover_outputs: u8,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let setup = unsafe { memory::input(setup, 2) }?.driver(2)?;
        // SAFETY: the caller's promise, for as long as the station is used.
        let watches = unsafe { watched(watches, 3, rollover_outputs) }?;
        // SAFETY: the caller's promise.
        unsafe { memory::create(station, 1, Desk::new(setup, watches)) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Puts set-up and watches in force in one exchange. The frame is of the moment at which they took over.
///
/// Watches that cannot be are refused before a byte is sent. After a failure on the bus the outputs may be masked; arm again.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_arm(
    monitor: *mut Monitor,
    station: *mut Station,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        by_station(monitor, station, (ledger, frame), error, |desk, live| {
            desk.arm(&mut live.monitor)
        })
    }
}

/// The same with another set-up and another list of watches: ranges and limits change together. The old list is free once this succeeded.
///
/// After a failure on the bus either may be in force; arm again, and keep both lists until then.
///
/// # Safety
/// Each pointer is null or leads to what its type says, and `watches` stays where it is, as long as the station uses it.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_rearm(
    monitor: *mut Monitor,
    station: *mut Station,
    setup: *const Setup,
    watches: *const Watches,
    rollover_outputs: u8,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let setup = unsafe { memory::input(setup, 3) }?.driver(3)?;
        // SAFETY: the caller's promise, for as long as the station uses it.
        let watches = unsafe { watched(watches, 4, rollover_outputs) }?;
        // SAFETY: the caller's promise.
        let mut desk = unsafe { memory::held(station, 2) }?;
        // SAFETY: the caller's promise.
        unsafe {
            with_frame(monitor, (ledger, 6), frame, |live| {
                desk.rearm(&mut live.monitor, setup, watches)
            })
        }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Reads the causes, clears exactly those that were seen, again until none is left, latches a frame and queues an event for each. Call it while an alert line is low: its level, not its edge.
///
/// What was seen before a failure stays pending and is reported by the next service.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_service(
    monitor: *mut Monitor,
    station: *mut Station,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        by_station(monitor, station, (ledger, frame), error, |desk, live| {
            desk.service(&mut live.monitor)
        })
    }
}

/// The first piece of a service that is split, so that a watchdog or others on the bus are met: reads the causes once and clears exactly those that were seen, two short transfers at the most. `more` is 1 if
/// there were some: others may have come meanwhile, look again (a condition that stands is found each time, so at most so often); 0 if there were none. Then `crake_station_latch`.
///
/// What was seen stays pending until a latch; what was seen before a failure, until a later look came through as well.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_look(
    monitor: *mut Monitor,
    station: *mut Station,
    more: *mut u8,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(monitor, (more, 3), error, |live| {
            // SAFETY: the caller's promise.
            let mut desk = memory::held(station, 2)?;
            Ok(u8::from(desk.look(&mut live.monitor)?))
        })
    }
}

/// The last piece of a service that is split: latches as `crake_latch` does, and queues an event for each cause that is pending. Call it for other frames as well where watches have a hysteresis.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_latch(
    monitor: *mut Monitor,
    station: *mut Station,
    ledger: *mut Ledger,
    frame: *mut Frame,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        by_station(monitor, station, (ledger, frame), error, |desk, live| {
            let frame = live.monitor.latch()?;
            desk.report(&frame);
            Ok(frame)
        })
    }
}

/// Takes the oldest event out of the queue; `NOTHING` if there is none.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_next_event(
    station: *mut Station,
    event: *mut Event,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(station, (event, 2), error, |desk| {
            let next = desk.next_event().ok_or(Error::new(Code::Nothing))?;
            Ok(Event::from(next))
        })
    }
}

/// Causes of events that found the queue full since the last call, five bits per channel from channel 0 up in the order of the kinds, bit 61 rollover ahead; 0 if none was lost.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_station_lost(
    station: *mut Station,
    causes: *mut u64,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(station, (causes, 2), error, |desk| {
            Ok(Causes::bits(&desk.lost()))
        })
    }
}
