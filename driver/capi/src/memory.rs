//! The caller's memory: where objects live in it, how pointers into it are met, and how a function
//! of the interface is made. All that is unsafe about a call stands here.

use core::mem::MaybeUninit;
use core::ops::{Deref, DerefMut};

use crate::error::{Code, Error};

/// Makes functions of the interface: what each argument is to its body stands before its type.
///
/// | word | pointer | in the body |
/// |---|---|---|
/// | `new` | memory of an object | [`Vacant`] |
/// | `live`, `maybe` | a live object, or one or null | [`Held`], `Option` of it |
/// | `fixed` | an object that never changes again | a reference |
/// | `given`, `perhaps` | a value, or one or null | a reference, `Option` of it |
/// | `wanted`, `optional` | memory for a value, or that or null | [`Wanted`], `Option` of it |
/// | `array`, `room` | several values, memory for several | [`Array`] |
/// | `value` | no pointer | as it is |
///
/// All are looked at before the body runs; it gives what became of the call. The program in
/// `header/` reads the same words.
macro_rules! calls {
    ($(
        $(#[$doc:meta])*
        fn $name:ident($($arg:ident: $word:ident $Type:ty),*) $body:block
    )*) => {$(
        $(#[$doc])*
        #[unsafe(no_mangle)]
        #[allow(clippy::too_many_arguments, unused_mut)]
        pub unsafe extern "C" fn $name(
            $($arg: $crate::memory::pointer!($word $Type),)* error: *mut $crate::Error
        ) -> $crate::Code {
            let call = || -> Result<(), $crate::Error> {
                let number = 0_u8;
                $(
                    let number = number.wrapping_add(1);
                    let mut $arg = $crate::memory::met!($word $arg, number);
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
    (value $arg:ident, $number:ident) => { $arg };
    (maybe $arg:ident, $number:ident) => { $crate::memory::met!(? live $arg, $number) };
    (perhaps $arg:ident, $number:ident) => { $crate::memory::met!(? given $arg, $number) };
    (optional $arg:ident, $number:ident) => { $crate::memory::met!(? wanted $arg, $number) };
    (? $word:ident $arg:ident, $number:ident) => {
        if $arg.is_null() { None } else { Some($crate::memory::met!($word $arg, $number)) }
    };
    ($word:ident $arg:ident, $number:ident) => {
        // SAFETY: the caller's promise, see the crate's head.
        unsafe { $crate::memory::$word($arg, $number) }?
    };
}

pub(crate) use {calls, met, pointer};

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

macro_rules! objects {
    ($($Object:ty: $Live:ty, $mark:literal;)*) => {
        $(impl Object for $Object {
            type Live = $Live;
            const MARK: u32 = 0xC4A4_E000 + $mark;
        })*
    };
}

objects! {
    crate::Board: crate::board::Described, 0xB0;
    crate::Margins: crate::board::Open, 0xB1;
    crate::Monitor: crate::monitor::Live, 0x10;
    crate::Totals: crate::totals::Counted, 0xD0;
    crate::Limits: crake::alert::Limits<'static>, 0x30;
    crate::AlertQueue: crate::alerts::Queue, 0x50;
    crate::Collection: crate::calibration::Collected, 0x70;
}

/// What stands in an object's memory.
#[repr(C)]
struct Slot<T> {
    /// The mark of its kind while it is live, the mark's complement while a call works on it.
    mark: u32,
    value: MaybeUninit<T>,
}

/// Where an object stands, and its mark.
unsafe fn slot<O: Object>(memory: *mut O, number: u8) -> Result<(*mut Slot<O::Live>, u32), Error> {
    const { O::FITS };
    usable(memory, number)?;
    let slot = memory.cast::<Slot<O::Live>>();
    // SAFETY: neither null nor misaligned, and by the caller's promise readable; FITS saw that the
    // slot fits.
    match unsafe { (*slot).mark } {
        mark if mark == !O::MARK => Err(Error::argument(Code::InCall, number)),
        mark => Ok((slot, mark)),
    }
}

unsafe fn found<O: Object>(memory: *mut O, number: u8) -> Result<*mut Slot<O::Live>, Error> {
    // SAFETY: the caller's promise.
    match unsafe { slot(memory, number) }? {
        (slot, mark) if mark == O::MARK => Ok(slot),
        _ => Err(Error::argument(Code::NotReady, number)),
    }
}

/// An object that one call works on; nobody else may until this is dropped.
pub(crate) struct Held<O: Object>(*mut Slot<O::Live>);

pub(crate) unsafe fn live<O: Object>(memory: *mut O, number: u8) -> Result<Held<O>, Error> {
    // SAFETY: the caller's promise.
    let slot = unsafe { found(memory, number) }?;
    // SAFETY: `slot` leads to a live object.
    unsafe { (*slot).mark = !O::MARK };
    Ok(Held(slot))
}

impl<O: Object> Deref for Held<O> {
    type Target = O::Live;

    fn deref(&self) -> &O::Live {
        // SAFETY: `live` found the mark of a live object, so the value is initialised; and it set
        // the mark that keeps every other call from it.
        unsafe { (*self.0).value.assume_init_ref() }
    }
}

impl<O: Object> DerefMut for Held<O> {
    fn deref_mut(&mut self) -> &mut O::Live {
        // SAFETY: as in `deref`; no other reference to the value exists. The mark, which calls from
        // a callback read, is not part of it.
        unsafe { (*self.0).value.assume_init_mut() }
    }
}

impl<O: Object> Drop for Held<O> {
    fn drop(&mut self) {
        // SAFETY: the slot was valid in `live`, and the caller's memory outlives the call.
        unsafe { (*self.0).mark = O::MARK }
    }
}

/// Memory that holds no object yet.
pub(crate) struct Vacant<O: Object>(*mut Slot<O::Live>);

pub(crate) unsafe fn new<O: Object>(memory: *mut O, number: u8) -> Result<Vacant<O>, Error> {
    // SAFETY: the caller's promise.
    match unsafe { slot(memory, number) }? {
        (_, mark) if mark == O::MARK => Err(Error::argument(Code::InUse, number)),
        (slot, _) => Ok(Vacant(slot)),
    }
}

impl<O: Object> Vacant<O> {
    pub(crate) fn fill(self, value: O::Live) -> Result<(), Error> {
        let (mark, value) = (O::MARK, MaybeUninit::new(value));
        // SAFETY: the slot is writable, and was found large enough and aligned.
        unsafe { self.0.write(Slot { mark, value }) };
        Ok(())
    }
}

/// A live object that never changes again, as long as the result is used.
pub(crate) unsafe fn fixed<O: Object>(
    memory: *const O,
    number: u8,
) -> Result<&'static O::Live, Error> {
    // SAFETY: the caller's promise; nothing is written.
    let slot = unsafe { found(memory.cast_mut(), number) }?;
    // SAFETY: the mark tells that the value is initialised; only `Vacant` writes it, and refuses to
    // do so twice.
    Ok(unsafe { (*slot).value.assume_init_ref() })
}

/// What the caller hands in.
pub(crate) unsafe fn given<'a, T>(pointer: *const T, number: u8) -> Result<&'a T, Error> {
    usable(pointer, number)?;
    // SAFETY: neither null nor misaligned; the rest is the caller's promise.
    Ok(unsafe { &*pointer })
}

/// Where the caller wants something to be written.
pub(crate) struct Wanted<T>(*mut T);

pub(crate) unsafe fn wanted<T>(pointer: *mut T, number: u8) -> Result<Wanted<T>, Error> {
    usable(pointer, number).map(|()| Wanted(pointer))
}

impl<T> Wanted<T> {
    pub(crate) fn write(self, value: T) -> Result<(), Error> {
        // SAFETY: neither null nor misaligned; the rest was promised.
        unsafe { self.0.write(value) };
        Ok(())
    }
}

/// Several values of the caller's, or room for them: so few that any address space has them.
pub(crate) struct Array<T>(*mut T, u8);

pub(crate) unsafe fn array<T>(pointer: *const T, number: u8) -> Result<Array<T>, Error> {
    Ok(Array(pointer.cast_mut(), number))
}

pub(crate) unsafe fn room<T>(pointer: *mut T, number: u8) -> Result<Array<T>, Error> {
    Ok(Array(pointer, number))
}

impl<T> Array<T> {
    /// The same memory for another type of the same size.
    pub(crate) fn of<U>(self) -> Array<U> {
        const { assert!(size_of::<T>() == size_of::<U>() && align_of::<T>() >= align_of::<U>()) };
        Array(self.0.cast(), self.1)
    }

    pub(crate) fn values<'a>(self, count: usize) -> Result<&'a [T], Error> {
        if count == 0 {
            return Ok(&[]);
        }
        usable(self.0, self.1)?;
        // SAFETY: neither null nor misaligned; the rest was promised.
        Ok(unsafe { core::slice::from_raw_parts(self.0, count) })
    }

    /// Writes all of them first: what C has there may never have been written.
    pub(crate) fn filled<'a>(
        self,
        count: usize,
        mut value: impl FnMut(usize) -> Result<T, Error>,
    ) -> Result<&'a mut [T], Error> {
        if count == 0 {
            return Ok(&mut []);
        }
        usable(self.0, self.1)?;
        for place in 0..count {
            // SAFETY: neither null nor misaligned; the rest was promised.
            unsafe { self.0.add(place).write(value(place)?) };
        }
        // SAFETY: just written; the rest as before.
        Ok(unsafe { core::slice::from_raw_parts_mut(self.0, count) })
    }
}

/// Neither null nor misaligned.
fn usable<T>(pointer: *const T, number: u8) -> Result<(), Error> {
    match pointer.is_null() || !pointer.is_aligned() {
        true => Err(Error::argument(Code::BadPointer, number)),
        false => Ok(()),
    }
}

/// Gives the outcome of a call back: the code as result and, where the caller wants it, the rest of
/// the error.
pub(crate) unsafe fn report(error: *mut Error, outcome: Result<(), Error>) -> Code {
    let told = outcome.err().unwrap_or(Error::new(Code::Ok));
    if usable(error, 0).is_ok() {
        // SAFETY: neither null nor misaligned; the rest is the caller's promise.
        unsafe { error.write(told) };
    }
    told.code
}
