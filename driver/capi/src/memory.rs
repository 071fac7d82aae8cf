//! The caller's memory: where objects live in it, how pointers into it are met, and how a function
//! of the interface is made. All that is unsafe about a call stands here.

use core::mem::MaybeUninit;
use core::ops::{Deref, DerefMut};

use crate::{CAPTURE_MAX, Code, Error};

/// What comes of an argument or of a call.
pub(crate) type Met<T> = Result<T, Error>;

/// Makes functions of the interface: what each argument is to its body stands before its type.
///
/// | word | pointer | in the body |
/// |---|---|---|
/// | `new` | memory of an object | [`Wanted`], to be filled |
/// | `live`, `maybe` | a live object, or one or null | [`Held`], `Option` of it |
/// | `fixed` | an object that never changes again | a reference |
/// | `given`, `perhaps` | a value, or one or null | a reference, `Option` of it |
/// | `wanted`, `optional` | memory for a value, or that or null | [`Wanted`], `Option` of it |
/// | `array` | as many values as stands behind its type | a slice |
/// | `room`, `spare` | memory for as many, or that or null | [`Room`], `Option` of it |
/// | `value` | no pointer | as it is |
///
/// All are looked at before the body runs; it gives what became of the call. The program in
/// `header/` reads the same words.
macro_rules! calls {
    ($(
        $(#[$doc:meta])*
        fn $name:ident($($arg:ident: $word:ident $Type:ty $(; $count:ident)?),*) $body:block
    )*) => {$(
        $(#[$doc])*
        #[unsafe(no_mangle)]
        #[allow(clippy::too_many_arguments, unused_mut, unused_variables)]
        pub unsafe extern "C" fn $name(
            $($arg: $crate::memory::pointer!($word $Type),)* error: *mut $crate::Error
        ) -> $crate::Code {
            let call = || -> $crate::memory::Met<()> {
                let number = 0_u8;
                $(
                    let number = number.wrapping_add(1);
                    let mut $arg = $crate::memory::met!($word $arg, number $(, $count)?);
                )*
                let _ = number;
                $body
            };
            // SAFETY: the caller's promise.
            unsafe { $crate::memory::report(error, call()) }
        }
    )*};
}

macro_rules! pointer {
    (value $Type:ty) => { $Type };
    (fixed $Type:ty) => { *const $Type };
    (given $Type:ty) => { *const $Type };
    (perhaps $Type:ty) => { *const $Type };
    (array $Type:ty) => { *const $Type };
    ($word:ident $Type:ty) => { *mut $Type };
}

macro_rules! met {
    (value $arg:ident, $($with:ident),*) => { $arg };
    (maybe $arg:ident, $($with:ident),*) => { $crate::memory::met!(? live $arg, $($with),*) };
    (perhaps $arg:ident, $($with:ident),*) => { $crate::memory::met!(? given $arg, $($with),*) };
    (optional $arg:ident, $($with:ident),*) => { $crate::memory::met!(? wanted $arg, $($with),*) };
    (spare $arg:ident, $($with:ident),*) => { $crate::memory::met!(? room $arg, $($with),*) };
    (? $word:ident $arg:ident, $($with:ident),*) => {
        if $arg.is_null() { None } else { Some($crate::memory::met!($word $arg, $($with),*)) }
    };
    ($word:ident $arg:ident, $($with:ident),*) => {
        // SAFETY: the caller's promise, see the crate's head.
        unsafe { $crate::memory::$word($arg, $($with),*) }?
    };
}

/// Memory of objects: so many words of the caller's, what lives in them, and its mark, if it has
/// one. A type that takes more, or is aligned to more, does not compile.
macro_rules! objects {
    (@ $Live:ty) => { $Live };
    (@ $Live:ty, $mark:literal) => { Object<$Live> };
    ($(
        $(#[$doc:meta])*
        $Object:ident: $words:literal words of $Live:ty $(, $mark:literal)?;
    )*) => {$(
        $(#[$doc])*
        pub type $Object = objects!(@ $Live $(, $mark)?);
        const _: () = assert!(size_of::<$Object>() <= 8 * $words);
        const _: () = assert!(align_of::<$Object>() <= align_of::<u64>());
        $(impl Live for $Live {
            const MARK: u32 = 0xC4A4_E000 + $mark;
        })?
    )*};
}

pub(crate) use {calls, met, pointer};

objects! {
    /// Memory of a board: zero it, then `crake_board_init`.
    Board: 112 words of crate::board::Described, 0xB0;
    /// Memory of a board's margins, what is open of totals there: zero it, then
    /// `crake_margins_init`.
    Margins: 48 words of crate::board::Open, 0xB1;
    /// Memory of a monitor: zero it, then `crake_monitor_init`.
    Monitor: 36 words of crate::monitor::Driven, 0x10;
    /// Memory of totals: zero it, then `crake_totals_init`.
    Totals: 64 words of crate::totals::Counted, 0xD0;
    /// Memory of one limit.
    LimitMemory: 7 words of crake::alert::Limit;
    /// Memory of limits: zero it, then `crake_limits_init`.
    Limits: 8 words of crake::alert::Limits<'static>, 0x30;
    /// Memory of an alert queue with room for eight events: zero it, then `crake_queue_init`.
    AlertQueue: 56 words of crate::alerts::Queue, 0x50;
    /// Memory of a collection of scans: zero it, then `crake_collection_init`.
    Collection: 20 words of crate::calibration::Collected, 0x70;
}

/// What lives in an object's memory.
pub trait Live: 'static {
    /// Tells live objects of this kind from zeroed memory, and from other kinds.
    const MARK: u32;
}

/// An object's memory.
#[repr(C)]
pub struct Object<T> {
    /// The mark of its kind while it is live, the mark's complement while a call works on it.
    mark: u32,
    value: MaybeUninit<T>,
}

/// Whether an object is live there, or none is, as it has to be. Nobody may use one that a call
/// works on.
unsafe fn look<T: Live>(object: *const Object<T>, number: u8, live: bool) -> Met<()> {
    usable(object, number)?;
    // SAFETY: neither null nor misaligned, and by the caller's promise readable.
    match unsafe { (*object).mark } {
        mark if mark == !T::MARK => Err(Code::InCall.at(number)),
        mark if live && mark != T::MARK => Err(Code::NotReady.at(number)),
        mark if !live && mark == T::MARK => Err(Code::InUse.at(number)),
        _ => Ok(()),
    }
}

/// A live object that never changes again, as long as the result is used.
pub(crate) unsafe fn fixed<T: Live>(object: *const Object<T>, number: u8) -> Met<&'static T> {
    // SAFETY: the caller's promise.
    unsafe { look(object, number, true) }?;
    // SAFETY: the mark tells that the value is initialised; only `fill` writes it, and `new`
    // refuses to let it do so twice.
    Ok(unsafe { (*object).value.assume_init_ref() })
}

/// An object that one call works on; nobody else may until this is dropped.
pub(crate) struct Held<T: Live>(*mut Object<T>);

pub(crate) unsafe fn live<T: Live>(object: *mut Object<T>, number: u8) -> Met<Held<T>> {
    // SAFETY: the caller's promise.
    unsafe { look(object, number, true) }?;
    // SAFETY: it leads to a live object.
    unsafe { (*object).mark = !T::MARK };
    Ok(Held(object))
}

impl<T: Live> Deref for Held<T> {
    type Target = T;

    fn deref(&self) -> &T {
        // SAFETY: `live` found the mark of a live object, so the value is initialised; and it set
        // the mark that keeps every other call from it.
        unsafe { (*self.0).value.assume_init_ref() }
    }
}

impl<T: Live> DerefMut for Held<T> {
    fn deref_mut(&mut self) -> &mut T {
        // SAFETY: as in `deref`; no other reference to the value exists. The mark, which calls from
        // a callback read, is not part of it.
        unsafe { (*self.0).value.assume_init_mut() }
    }
}

impl<T: Live> Drop for Held<T> {
    fn drop(&mut self) {
        // SAFETY: it was valid in `live`, and the caller's memory outlives the call.
        unsafe { (*self.0).mark = T::MARK }
    }
}

/// What the caller hands in.
pub(crate) unsafe fn given<'a, T>(pointer: *const T, number: u8) -> Met<&'a T> {
    usable(pointer, number)?;
    // SAFETY: neither null nor misaligned; the rest is the caller's promise.
    Ok(unsafe { &*pointer })
}

/// Where the caller wants something to be written.
pub(crate) struct Wanted<T>(*mut T);

pub(crate) unsafe fn wanted<T>(pointer: *mut T, number: u8) -> Met<Wanted<T>> {
    usable(pointer, number).map(|()| Wanted(pointer))
}

impl<T> Wanted<T> {
    pub(crate) fn write(self, value: T) -> Met<()> {
        self.put(value);
        Ok(())
    }

    pub(crate) fn put<'a>(self, value: T) -> &'a mut T {
        // SAFETY: neither null nor misaligned; the rest was promised.
        unsafe { self.0.write(value) };
        // SAFETY: just written; nobody else has it during the call.
        unsafe { &mut *self.0 }
    }
}

/// Where an object is wanted, and none is yet.
pub(crate) unsafe fn new<T: Live>(object: *mut Object<T>, number: u8) -> Met<Wanted<Object<T>>> {
    // SAFETY: the caller's promise.
    unsafe { look(object, number, false) }?;
    Ok(Wanted(object))
}

impl<T: Live> Wanted<Object<T>> {
    pub(crate) fn fill(self, value: T) -> Met<()> {
        let (mark, value) = (T::MARK, MaybeUninit::new(value));
        self.write(Object { mark, value })
    }
}

/// Room for so many values of the caller's.
pub(crate) struct Room<T>(*mut T, usize);

/// No more than any address space has, and any call needs.
pub(crate) unsafe fn room<T>(pointer: *mut T, number: u8, count: usize) -> Met<Room<T>> {
    match count {
        0 => Ok(Room(core::ptr::dangling_mut(), 0)),
        1..=CAPTURE_MAX => usable(pointer, number).map(|()| Room(pointer, count)),
        _ => Err(Code::BadArgument.at(number)),
    }
}

pub(crate) unsafe fn array<'a, T>(list: *const T, number: u8, count: usize) -> Met<&'a [T]> {
    // SAFETY: the caller's promise; nothing is written.
    let Room(list, count) = unsafe { room(list.cast_mut(), number, count) }?;
    // SAFETY: neither null nor misaligned; the rest was promised.
    Ok(unsafe { core::slice::from_raw_parts(list, count) })
}

impl<T> Room<T> {
    /// Writes all of them first: what C has there may never have been written.
    pub(crate) fn filled<'a>(self, mut value: impl FnMut(usize) -> Met<T>) -> Met<&'a mut [T]> {
        let Self(pointer, count) = self;
        for place in 0..count {
            // SAFETY: neither null nor misaligned; the rest was promised.
            unsafe { pointer.add(place).write(value(place)?) };
        }
        // SAFETY: just written; the rest as before.
        Ok(unsafe { core::slice::from_raw_parts_mut(pointer, count) })
    }
}

/// Neither null nor misaligned.
fn usable<T>(pointer: *const T, number: u8) -> Met<()> {
    match pointer.is_null() || !pointer.is_aligned() {
        true => Err(Code::BadPointer.at(number)),
        false => Ok(()),
    }
}

/// Gives the outcome of a call back: the code as result and, where the caller wants it, the rest of
/// the error.
pub(crate) unsafe fn report(error: *mut Error, outcome: Met<()>) -> Code {
    let told = outcome.err().unwrap_or_default();
    if usable(error, 0).is_ok() {
        // SAFETY: neither null nor misaligned; the rest is the caller's promise.
        unsafe { error.write(told) };
    }
    told.code
}
