use core::future::Future;
use core::pin::{Pin, pin};
use core::task::{Context, Poll, Waker};

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use super::{Fault, Port};

/// A port over a blocking bus and delay.
#[derive(Clone, Debug)]
pub struct Blocking<I, D> {
    i2c: I,
    delay: D,
}

impl<I, D> Blocking<I, D> {
    /// A port over these.
    pub const fn new(i2c: I, delay: D) -> Self {
        Self { i2c, delay }
    }

    /// Gives bus and delay back.
    pub fn release(self) -> (I, D) {
        (self.i2c, self.delay)
    }
}

impl<I: I2c, D: DelayNs> Port for Blocking<I, D> {
    type Error = I::Error;

    #[inline(always)]
    fn write(
        &mut self,
        address: u8,
        bytes: &[u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        Done::new(self.i2c.write(address, bytes))
    }

    #[inline(always)]
    fn write_read(
        &mut self,
        address: u8,
        bytes: &[u8],
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        Done::new(self.i2c.write_read(address, bytes, into))
    }

    #[inline(always)]
    fn read(
        &mut self,
        address: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        Done::new(self.i2c.read(address, into))
    }

    #[inline(always)]
    fn delay_us(&mut self, us: u32) -> impl Future<Output = ()> {
        self.delay.delay_us(us);
        Done::new(())
    }

    #[inline(always)]
    fn shared<T, F: Future<Output = Result<T, Fault>>>(
        operation: impl FnOnce() -> F,
    ) -> impl Future<Output = Result<T, Fault>> {
        Done::new(poll_once(operation))
    }
}

/// A future that is ready at once, and for ever waits if it is asked again: the core library's own
/// panics then.
pub(crate) struct Done<T>(Option<T>);

impl<T> Done<T> {
    #[inline(always)]
    pub(crate) const fn new(value: T) -> Self {
        Self(Some(value))
    }
}

// What it holds is handed out by value and never pinned.
impl<T> Unpin for Done<T> {}

impl<T> Future for Done<T> {
    type Output = T;

    #[inline(always)]
    fn poll(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<T> {
        match self.0.take() {
            Some(value) => Poll::Ready(value),
            None => Poll::Pending,
        }
    }
}

/// Makes and runs what a blocking bus makes ready at once.
///
/// It is polled exactly once. A future that waits all the same, which none over a blocking bus does,
/// is given up with [`Fault::Waits`].
#[inline(never)] // linked once for each operation, and so that no caller becomes a state machine
pub(crate) fn poll_once<T, F: Future<Output = Result<T, Fault>>>(
    operation: impl FnOnce() -> F,
) -> Result<T, Fault> {
    let operation = pin!(operation());
    match operation.poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(result) => result,
        Poll::Pending => Err(Fault::Waits),
    }
}
