use crake::old::burst::Burst;
use crake::old::part::SenseRange;
use crake::old::part::corncrake::SPEC;
use crake::old::{Channel, ShuntMonitor};

use crate::code::{Code, Error};
use crate::memory::{self, Board, Monitor, report};
use crate::wide::Wide;

/// Conversions of a whole burst.
pub const BURST_CODES: usize = 1024;

/// What a burst comes to. Times are the part's own: as far off as its oscillator, 1.5 % at the most.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Statistics {
    /// Sum of current × conversion time, in nanocoulombs, rounded towards zero.
    pub charge_nc: Wide,
    /// Least current of a conversion, in nanoamperes.
    pub least_na: i64,
    /// Greatest current of a conversion.
    pub greatest_na: i64,
    /// Mean, rounded towards zero.
    pub mean_na: i64,
    /// Root of the mean square, rounded down.
    pub rms_na: i64,
    /// Nanoseconds for which conversions were above the level.
    pub above_ns: u64,
    /// Length of the burst in nanoseconds.
    pub duration_ns: u64,
    /// Number of conversions.
    pub count: u32,
}

impl From<crake::old::burst::Statistics> for Statistics {
    fn from(statistics: crake::old::burst::Statistics) -> Self {
        Self {
            charge_nc: Wide::from(statistics.charge.as_nanocoulombs()),
            least_na: statistics.least.as_nanoamps(),
            greatest_na: statistics.greatest.as_nanoamps(),
            mean_na: statistics.mean.as_nanoamps(),
            rms_na: statistics.rms.as_nanoamps(),
            above_ns: statistics.above_ns,
            duration_ns: statistics.duration_ns,
            count: statistics.count,
        }
    }
}

/// The rail and the range of a burst, the first three arguments of a call, and its codes, the fourth and fifth.
///
/// # Safety
/// As [`memory::shared`] and [`memory::inputs`].
unsafe fn burst<'a>(
    board: *const Board,
    channel: u8,
    sense: u8,
    codes: *const i32,
    count: usize,
) -> Result<Burst<'a>, Error> {
    if count > BURST_CODES {
        return Err(Error::argument(Code::BadArgument, 5));
    }
    // SAFETY: the caller's promise.
    let board = unsafe { memory::shared(board, 1) }?;
    let in_channel = |code, argument| Error {
        channel,
        ..Error::argument(code, argument)
    };
    let range = SenseRange(sense);
    if SPEC.sense_range(range).is_none() {
        return Err(in_channel(Code::NoSuchSenseRange, 3));
    }
    let rail = board.rail(Channel::new(channel));
    Ok(Burst {
        // SAFETY: the caller's promise.
        codes: unsafe { memory::inputs(codes, count, 4) }?,
        rail: rail.ok_or(in_channel(Code::NoSuchChannel, 2))?,
        range,
        spec: &SPEC,
    })
}

/// Fetches the codes of a burst into `codes`, oldest first, as many as fit into `room`, which is zeroed first, and no more than `CRAKE_BURST_CODES`; `count` is their number, 0 if there was no burst since the
/// part's reset. Waits until the burst is over.
///
/// A burst is begun by `crake_configure` with mode 3, which makes a frame for the ledger; the part is idle afterwards: configure it again to go on. The codes stay in the part until the next burst.
///
/// # Safety
/// Each pointer is null or leads to what its type says, `codes` to `room` of them.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_fetch(
    monitor: *mut Monitor,
    codes: *mut i32,
    room: usize,
    count: *mut usize,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(monitor, (count, 4), error, |live| {
            // SAFETY: the caller's promise; so few fit into any address space.
            let codes = memory::room(codes, room.min(BURST_CODES), 2)?;
            Ok(live.monitor.fetch(codes)?)
        })
    }
}

/// Least, greatest, mean and r.m.s. current, charge, and time above `level_na`, of the codes of a burst: on the rail of `channel`, in sense range `sense` (as in `crake_ranges`). All zero without codes.
///
/// # Safety
/// Each pointer is null or leads to what its type says, `codes` to `count` of them.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_burst_statistics(
    board: *const Board,
    channel: u8,
    sense: u8,
    codes: *const i32,
    count: usize,
    level_na: i64,
    statistics: *mut Statistics,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let burst = unsafe { burst(board, channel, sense, codes, count) }?;
        let found = burst.statistics(crake::old::units::Current::from_nanoamps(level_na));
        // SAFETY: the caller's promise.
        unsafe { memory::output(statistics, 7, Statistics::from(found)) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// The current of each conversion of a burst, in nanoamperes, oldest first, into `currents_na`, which has room for `count` of them; the rest as for `crake_burst_statistics`.
///
/// # Safety
/// Each pointer is null or leads to what its type says, `codes` and `currents_na` to `count` of them, not overlapping.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_burst_currents(
    board: *const Board,
    channel: u8,
    sense: u8,
    codes: *const i32,
    count: usize,
    currents_na: *mut i64,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let burst = unsafe { burst(board, channel, sense, codes, count) }?;
        // SAFETY: the caller's promise; `burst` found that there are few.
        let room = unsafe { memory::room(currents_na, count, 6) }?;
        for (current, place) in burst.currents().zip(room) {
            *place = current.as_nanoamps();
        }
        Ok(())
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}
