use core::future::Future;
use core::marker::PhantomData;
use core::pin::{Pin, pin};
use core::task::{Context, Poll, Waker};

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use super::register::Frame;
use super::{Access, Fault, Link, Port, Register, Wire};

/// A port over a blocking bus and delay, for registers that travel as `W` says.
#[derive(Clone, Debug)]
pub struct Blocking<I, D, W> {
    i2c: I,
    delay: D,
    wire: PhantomData<fn() -> W>,
}

impl<I, D, W> Blocking<I, D, W> {
    /// A port over these.
    pub const fn new(i2c: I, delay: D) -> Self {
        Self {
            i2c,
            delay,
            wire: PhantomData,
        }
    }

    /// Gives bus and delay back.
    pub fn release(self) -> (I, D) {
        (self.i2c, self.delay)
    }
}

impl<I: I2c, D: DelayNs, W: Wire> Port for Blocking<I, D, W> {
    type Error = I::Error;
    type Wire = W;

    #[inline(always)]
    fn write_register(
        link: &mut Link<Self>,
        register: Register,
        value: u64,
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(link.write_now(register, value))
    }

    #[inline(always)]
    fn read_register(
        link: &mut Link<Self>,
        register: Register,
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(link.read_now(register))
    }

    #[inline(always)]
    fn read_bytes(
        link: &mut Link<Self>,
        pointer: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        let Link { port, target } = link;
        let result = port.i2c.write_read(target.address(), &[pointer], into);
        Done(target.noted(pointer, result))
    }

    #[inline(always)]
    fn transfer(
        link: &mut Link<Self>,
        sent: &[u8],
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(link.transfer_now(sent, into))
    }

    #[inline(always)]
    fn delay_us(&mut self, us: u32) -> impl Future<Output = ()> {
        self.delay.delay_us(us);
        Done(())
    }

    #[inline(always)]
    fn shared<T: Copy, F: Future<Output = Result<T, Fault>>>(
        operation: impl FnOnce() -> F,
    ) -> impl Future<Output = Result<T, Fault>> {
        Done(poll_once(operation))
    }

    #[inline(always)]
    fn access(
        link: &mut Link<Self>,
        access: Access,
        value: u64,
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(link.access_now(access, value))
    }
}

/// What a blocking bus does at once, each linked once.
impl<I: I2c, D: DelayNs, W: Wire> Link<Blocking<I, D, W>> {
    #[inline(never)]
    fn access_now(&mut self, access: Access, value: u64) -> Result<(), Fault> {
        at_once(self.access(access, value))
    }

    #[inline(never)]
    fn write_now(&mut self, register: Register, value: u64) -> Result<(), Fault> {
        let Self { port, target } = self;
        let mut frame = Frame::of::<W>(value);
        let sent = frame.for_write::<W>(target.address(), register);
        let result = port.i2c.write(target.address(), sent);
        target.noted(register.pointer(), result)
    }

    #[inline(never)]
    fn transfer_now(&mut self, sent: &[u8], into: &mut [u8]) -> Result<(), Fault> {
        let Self { port, target } = self;
        let result = match into {
            [] => port.i2c.write(target.address(), sent),
            _ => port.i2c.write_read(target.address(), sent, into),
        };
        target.noted(pointer_of::<W>(sent), result)
    }

    #[inline(never)]
    fn read_now(&mut self, register: Register) -> Result<(), Fault> {
        let Self { port, target } = self;
        let mut frame = Frame::of::<W>(0);
        let space = frame.for_read::<W>(target.address(), register);
        let result = port
            .i2c
            .write_read(target.address(), &[register.pointer()], space);
        target.noted(register.pointer(), result)?;
        frame.note::<W, _>(target, register)
    }
}

/// The last byte of the pointer that bytes of a transfer begin with.
pub(super) fn pointer_of<W: Wire>(sent: &[u8]) -> u8 {
    let last = W::POINTER_BYTES.wrapping_sub(1);
    sent.get(last).copied().unwrap_or_default()
}

/// A future that is ready at once, however often it is asked: the core library's own panics when it
/// is asked again.
pub(crate) struct Done<T>(pub(crate) T);

// What it holds is handed out by value and never pinned.
impl<T> Unpin for Done<T> {}

impl<T: Copy> Future for Done<T> {
    type Output = T;

    #[inline(always)]
    fn poll(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<T> {
        Poll::Ready(self.0)
    }
}

/// Makes and runs what a blocking bus makes ready at once.
#[inline(never)] // linked once for each operation, and so that no caller becomes a state machine
pub(crate) fn poll_once<T, F: Future<Output = Result<T, Fault>>>(
    operation: impl FnOnce() -> F,
) -> Result<T, Fault> {
    at_once(operation())
}

/// Polls exactly once. A future that waits all the same, which none over a blocking bus does, is
/// given up with [`Fault::Waits`].
#[inline(always)]
pub(crate) fn at_once<T>(operation: impl Future<Output = Result<T, Fault>>) -> Result<T, Fault> {
    match pin!(operation).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(result) => result,
        Poll::Pending => Err(Fault::Waits),
    }
}
