use core::future::Future;

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::{Fault, Port};

/// A port over an async bus and delay.
#[derive(Clone, Debug)]
pub struct Async<I, D> {
    i2c: I,
    delay: D,
}

impl<I, D> Async<I, D> {
    /// A port over these.
    pub const fn new(i2c: I, delay: D) -> Self {
        Self { i2c, delay }
    }

    /// Gives bus and delay back.
    pub fn release(self) -> (I, D) {
        (self.i2c, self.delay)
    }
}

impl<I: I2c, D: DelayNs> Port for Async<I, D> {
    type Error = I::Error;

    fn write(
        &mut self,
        address: u8,
        bytes: &[u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        self.i2c.write(address, bytes)
    }

    fn write_read(
        &mut self,
        address: u8,
        bytes: &[u8],
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        self.i2c.write_read(address, bytes, into)
    }

    fn read(
        &mut self,
        address: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        self.i2c.read(address, into)
    }

    fn delay_us(&mut self, us: u32) -> impl Future<Output = ()> {
        self.delay.delay_us(us)
    }

    fn shared<T, F: Future<Output = Result<T, Fault>>>(
        operation: impl FnOnce() -> F,
    ) -> impl Future<Output = Result<T, Fault>> {
        operation()
    }
}
