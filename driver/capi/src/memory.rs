//! The caller's memory: where objects live in it, and how pointers into it are met.

use core::mem::{MaybeUninit, align_of, size_of};
use core::ops::{Deref, DerefMut};

use crake::old::ledger::Ledger as DriverLedger;

use crate::CRAKE_RAILS;
use crate::code::{Code, Error};
use crate::monitor::Live;
use crate::station::Desk;
use crate::watch::Listed;

/// cbindgen:ignore
pub(crate) type DriverBoard = crake::old::board::Board<CRAKE_RAILS>;

// Enough for pointers of 64 bits and of 32, which differ by little; `Object::FITS` sees to it.

/// Words of 8 bytes in a `crake_board`.
pub const BOARD_WORDS: usize = 96;

/// Words of 8 bytes in a `crake_monitor`.
pub const MONITOR_WORDS: usize = 37;

/// Words of 8 bytes in a `crake_ledger`.
pub const LEDGER_WORDS: usize = 136;

/// Words of 8 bytes in a `crake_watches`.
pub const WATCHES_WORDS: usize = 83;

/// Words of 8 bytes in a `crake_station`.
pub const STATION_WORDS: usize = 87;

/// Memory of a board. Zero it, then `crake_board_init`. It must stay where it is, unchanged, as long as a monitor or ledger uses it.
#[repr(C)]
pub struct Board {
    words: [u64; BOARD_WORDS],
}

/// Memory of a monitor. Zero it, then `crake_monitor_init`. It must not be moved or copied.
#[repr(C)]
pub struct Monitor {
    words: [u64; MONITOR_WORDS],
}

/// Memory of a ledger. Zero it, then `crake_ledger_init`. It must not be moved or copied.
#[repr(C, align(16))]
pub struct Ledger {
    words: [u64; LEDGER_WORDS],
}

/// Memory of a list of watches. Zero it, then `crake_watches_init`. It must stay where it is, unchanged, as long as a station uses it.
#[repr(C)]
pub struct Watches {
    words: [u64; WATCHES_WORDS],
}

/// Memory of a station. Zero it, then `crake_station_init`. It must not be moved or copied.
#[repr(C)]
pub struct Station {
    words: [u64; STATION_WORDS],
}

/// Memory of the caller in which something of ours lives.
pub(crate) trait Object: Sized {
    /// What lives in it.
    type Live: 'static;
    /// Tells live objects of this kind from zeroed memory, and from other kinds.
    const MARK: u32;
    /// Fails to compile where the memory is too small or less aligned than it must be.
    const FITS: () = {
        assert!(size_of::<Slot<Self::Live>>() <= size_of::<Self>());
        assert!(align_of::<Slot<Self::Live>>() <= align_of::<Self>());
    };
}

impl Object for Board {
    type Live = DriverBoard;
    const MARK: u32 = 0xC4A4_E0B0;
}

impl Object for Monitor {
    type Live = Live;
    const MARK: u32 = 0xC4A4_E010;
}

impl Object for Ledger {
    type Live = (&'static DriverBoard, DriverLedger<'static, CRAKE_RAILS>);
    const MARK: u32 = 0xC4A4_E0D0;
}

impl Object for Watches {
    type Live = Listed;
    const MARK: u32 = 0xC4A4_E030;
}

impl Object for Station {
    type Live = Desk;
    const MARK: u32 = 0xC4A4_E050;
}

/// What stands in an object's memory.
#[repr(C)]
struct Slot<T> {
    /// The mark of its kind while it is live, the mark's complement while a call works on it.
    mark: u32,
    value: MaybeUninit<T>,
}

/// An object that one call works on; nobody else may until this is dropped.
pub(crate) struct Held<O: Object> {
    slot: *mut Slot<O::Live>,
}

impl<O: Object> Deref for Held<O> {
    type Target = O::Live;

    fn deref(&self) -> &O::Live {
        // SAFETY: `held` found the mark of a live object, so the value is initialised; and it set the mark that keeps every other call from it.
        unsafe { (*self.slot).value.assume_init_ref() }
    }
}

impl<O: Object> DerefMut for Held<O> {
    fn deref_mut(&mut self) -> &mut O::Live {
        // SAFETY: as in `deref`; no other reference to the value exists. The mark, which calls from a callback read, is not part of it.
        unsafe { (*self.slot).value.assume_init_mut() }
    }
}

impl<O: Object> Drop for Held<O> {
    fn drop(&mut self) {
        // SAFETY: the slot was valid in `held`, and the caller's memory outlives the call.
        unsafe { (*self.slot).mark = O::MARK }
    }
}

/// Where an object stands, and its mark.
///
/// # Safety
/// `memory` is null or leads to zeroed memory of its type or to an object of it.
unsafe fn slot<O: Object>(
    memory: *mut O,
    argument: u8,
) -> Result<(*mut Slot<O::Live>, u32), Error> {
    const { O::FITS };
    if memory.is_null() || !memory.is_aligned() {
        return Err(Error::argument(Code::BadPointer, argument));
    }
    let slot = memory.cast::<Slot<O::Live>>();
    // SAFETY: neither null nor misaligned, and by the caller's promise readable; FITS saw that the slot fits.
    let mark = unsafe { (*slot).mark };
    if mark == !O::MARK {
        return Err(Error::argument(Code::Busy, argument));
    }
    Ok((slot, mark))
}

/// Puts a new object into memory that holds none.
///
/// # Safety
/// As [`slot`]; the memory is the callee's from now on.
pub(crate) unsafe fn create<O: Object>(
    memory: *mut O,
    argument: u8,
    value: O::Live,
) -> Result<(), Error> {
    // SAFETY: the caller's promise.
    let (slot, mark) = unsafe { slot(memory, argument) }?;
    if mark == O::MARK {
        return Err(Error::argument(Code::InUse, argument));
    }
    let value = MaybeUninit::new(value);
    let mark = O::MARK;
    // SAFETY: `slot` leads to writable memory of sufficient size and alignment.
    unsafe { slot.write(Slot { mark, value }) };
    Ok(())
}

/// A live object for one call alone.
///
/// # Safety
/// As [`slot`].
pub(crate) unsafe fn held<O: Object>(memory: *mut O, argument: u8) -> Result<Held<O>, Error> {
    // SAFETY: the caller's promise.
    let (slot, mark) = unsafe { slot(memory, argument) }?;
    if mark != O::MARK {
        return Err(Error::argument(Code::NotReady, argument));
    }
    // SAFETY: `slot` leads to a live object.
    unsafe { (*slot).mark = !O::MARK };
    Ok(Held { slot })
}

/// The same where null means that there is none.
///
/// # Safety
/// As [`slot`].
pub(crate) unsafe fn held_if_any<O: Object>(
    memory: *mut O,
    argument: u8,
) -> Result<Option<Held<O>>, Error> {
    if memory.is_null() {
        return Ok(None);
    }
    // SAFETY: the caller's promise.
    unsafe { held(memory, argument) }.map(Some)
}

/// A live object that never changes again.
///
/// # Safety
/// As [`slot`]; besides, the object stays where it is, unchanged, as long as the result is used.
pub(crate) unsafe fn shared<O: Object>(
    memory: *const O,
    argument: u8,
) -> Result<&'static O::Live, Error> {
    // SAFETY: the caller's promise; nothing is written.
    let (slot, mark) = unsafe { slot(memory.cast_mut(), argument) }?;
    if mark != O::MARK {
        return Err(Error::argument(Code::NotReady, argument));
    }
    // SAFETY: the mark tells that the value is initialised; only `create` writes it, and refuses to do so twice.
    Ok(unsafe { (*slot).value.assume_init_ref() })
}

/// What the caller hands in.
///
/// # Safety
/// `pointer` is null or leads to a value of its type that nobody changes during the call.
pub(crate) unsafe fn input<'a, T>(pointer: *const T, argument: u8) -> Result<&'a T, Error> {
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(Error::argument(Code::BadPointer, argument));
    }
    // SAFETY: neither null nor misaligned; the rest is the caller's promise.
    Ok(unsafe { &*pointer })
}

/// Several of them.
///
/// # Safety
/// As [`input`], for `count` values in a row; `count` is at most what an array of that type can hold.
pub(crate) unsafe fn inputs<'a, T>(
    pointer: *const T,
    count: usize,
    argument: u8,
) -> Result<&'a [T], Error> {
    if count == 0 {
        return Ok(&[]);
    }
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(Error::argument(Code::BadPointer, argument));
    }
    // SAFETY: neither null nor misaligned; the rest is the caller's promise.
    Ok(unsafe { core::slice::from_raw_parts(pointer, count) })
}

/// Writes what the caller asked for.
///
/// # Safety
/// `pointer` is null or leads to writable memory for a value of its type.
pub(crate) unsafe fn output<T>(pointer: *mut T, argument: u8, value: T) -> Result<(), Error> {
    writable(pointer, argument)?;
    // SAFETY: neither null nor misaligned; the rest is the caller's promise.
    unsafe { pointer.write(value) };
    Ok(())
}

/// Room for `count` values, zeroed: what C has there may never have been written.
///
/// # Safety
/// `pointer` is null or leads to writable memory for `count` values of its type, for which zeros are a value; `count` is at most what an array of that type can hold.
pub(crate) unsafe fn room<'a, T: Copy>(
    pointer: *mut T,
    count: usize,
    argument: u8,
) -> Result<&'a mut [T], Error> {
    if count == 0 {
        return Ok(&mut []);
    }
    writable(pointer, argument)?;
    // SAFETY: neither null nor misaligned; the rest is the caller's promise.
    unsafe { pointer.write_bytes(0, count) };
    // SAFETY: just written; the rest is the caller's promise.
    Ok(unsafe { core::slice::from_raw_parts_mut(pointer, count) })
}

/// Asks a live object, the first argument, for something, and writes that where the caller wants it. Where it cannot be written nothing is asked, so that nothing is taken out and lost.
///
/// # Safety
/// As [`slot`], [`output`] and [`report`].
pub(crate) unsafe fn asked<O: Object, T>(
    object: *mut O,
    (pointer, argument): (*mut T, u8),
    error: *mut Error,
    ask: impl FnOnce(&mut O::Live) -> Result<T, Error>,
) -> Code {
    let outcome = || {
        writable(pointer, argument)?;
        // SAFETY: the caller's promise.
        let mut live = unsafe { held(object, 1) }?;
        let found = ask(&mut live)?;
        // SAFETY: the caller's promise.
        unsafe { output(pointer, argument, found) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Neither null nor misaligned.
pub(crate) fn writable<T>(pointer: *mut T, argument: u8) -> Result<(), Error> {
    if pointer.is_null() || !pointer.is_aligned() {
        return Err(Error::argument(Code::BadPointer, argument));
    }
    Ok(())
}

/// Gives the outcome back: the code as result and, where the caller wants it, the rest of the error.
///
/// # Safety
/// `error` is null or leads to writable memory for an error.
pub(crate) unsafe fn report(error: *mut Error, outcome: Result<(), Error>) -> Code {
    let told = outcome.err().unwrap_or(Error::new(Code::Ok));
    if !error.is_null() && error.is_aligned() {
        // SAFETY: neither null nor misaligned; the rest is the caller's promise.
        unsafe { error.write(told) };
    }
    told.code
}
