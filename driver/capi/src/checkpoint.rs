use crake::old::ledger::{CheckpointError, Ledger as DriverLedger};
use crake::old::part::Joint;
use crake::old::part::corncrake::SPEC;

use crate::CRAKE_RAILS;
use crate::code::{Code, Error};
use crate::frame;
use crate::ledger::Gap;
use crate::memory::{self, Board, Ledger, report};

/// Length of a checkpoint in bytes.
pub const CHECKPOINT_LEN: usize = 925;
const _: () = assert!(CHECKPOINT_LEN == DriverLedger::<CRAKE_RAILS>::CHECKPOINT_LEN);

/// Writes the whole account, and what it takes to join the part again, to `bytes`, of which there are `room`: `CRAKE_CHECKPOINT_LEN` of them are written, for memory that outlives a restart of the firmware.
///
/// Save right after a call that made a frame for this ledger, with the `serial` that `crake_joint` gives then. After the restart: `crake_ledger_load`, `crake_ledger_clock_restarted` if the clock did
/// not run through, `crake_attach` with that ledger and the serial: the part counted on, and not a round is lost.
///
/// `CHECKPOINT_LENGTH` if there is too little room.
///
/// # Safety
/// Each pointer is null or leads to what its type says, `bytes` to `room` of them.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_save(
    ledger: *mut Ledger,
    serial: u16,
    bytes: *mut u8,
    room: usize,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let live = unsafe { memory::held(ledger, 1) }?;
        if room < CHECKPOINT_LEN {
            let (expected, got) = (CHECKPOINT_LEN, room);
            return Err(CheckpointError::Length { expected, got }.into());
        }
        // SAFETY: the caller's promise; so few fit into any address space.
        let into = unsafe { memory::room(bytes, CHECKPOINT_LEN, 3) }?;
        live.1.save(&Joint { serial }, into)?;
        Ok(())
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Makes the ledger that was saved as these `count` bytes, in zeroed memory; `serial` is for `crake_attach`. The board must be described as it was then.
///
/// Whatever else the bytes are is found out: a single wrong bit always, and so is any burst of up to 16. The memory is left zeroed then; begin with `crake_ledger_init`.
///
/// # Safety
/// Each pointer is null or leads to what its type says, `bytes` to `count` of them, and `board` stays where it is, as long as the ledger is used.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_load(
    ledger: *mut Ledger,
    board: *const Board,
    bytes: *const u8,
    count: usize,
    serial: *mut u16,
    error: *mut Error,
) -> Code {
    let outcome = || {
        memory::writable(serial, 5)?;
        // SAFETY: the caller's promise, for as long as the ledger is used.
        let board = unsafe { memory::shared(board, 2) }?;
        // One more than there may be is enough to find it out.
        let count = count.min(CHECKPOINT_LEN.saturating_add(1));
        // SAFETY: the caller's promise; so few fit into any address space.
        let bytes = unsafe { memory::inputs(bytes, count, 3) }?;
        let (loaded, joint) = DriverLedger::load(board, &SPEC, bytes)?;
        // SAFETY: the caller's promise.
        unsafe { memory::create(ledger, 1, (board, loaded)) }?;
        // SAFETY: the caller's promise.
        unsafe { memory::output(serial, 5, joint.serial) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Tells a ledger that the host's clock began anew, as after most resets: it reads `now_us`, and since the `before_us` of the last frame given to this ledger so much time passed as `since` brackets; null if
/// nothing is known.
///
/// With `since` the account goes on, and its bound grows by what is unknown. Without, an epoch that was open ends, and the gap has no upper end. `reason`, which may be null: why an epoch ended, as in
/// `crake_frame`; 0 if it goes on.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_clock_restarted(
    ledger: *mut Ledger,
    now_us: u64,
    since: *const Gap,
    reason: *mut u8,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let mut live = unsafe { memory::held(ledger, 1) }?;
        let since = if since.is_null() {
            None
        } else {
            // SAFETY: the caller's promise.
            Some(unsafe { memory::input(since, 3) }?)
        };
        if since.is_some_and(|since| since.least_us > since.greatest_us) {
            return Err(Error::argument(Code::BadArgument, 3));
        }
        let since = since.map(|since| crake::old::ledger::Gap {
            least_us: since.least_us,
            greatest_us: since.greatest_us,
        });
        let ended = live.1.clock_restarted(now_us, since);
        if reason.is_null() {
            return Ok(());
        }
        // SAFETY: the caller's promise; a byte is always aligned.
        unsafe { memory::output(reason, 4, ended.map_or(0, frame::why)) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}
