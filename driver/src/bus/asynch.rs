use core::future::Future;

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::register::Frame;
use super::{Fault, Link, Port, Register};

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

    async fn write_register(
        link: &mut Link<Self>,
        register: Register,
        value: u64,
    ) -> Result<(), Fault> {
        let Link { port, target } = link;
        let mut frame = Frame::of(value);
        let sent = frame.for_write(target.address(), register);
        let result = port.i2c.write(target.address(), sent).await;
        target.noted(register.pointer(), result)
    }

    async fn read_register(link: &mut Link<Self>, register: Register) -> Result<(), Fault> {
        let Link { port, target } = link;
        let mut frame = Frame::of(0);
        let space = frame.for_read(target.address(), register);
        let pointer = [register.pointer()];
        let result = port.i2c.write_read(target.address(), &pointer, space).await;
        target.noted(register.pointer(), result)?;
        frame.note(target, register)
    }

    async fn read_bytes(link: &mut Link<Self>, pointer: u8, into: &mut [u8]) -> Result<(), Fault> {
        let Link { port, target } = link;
        let bytes = [pointer];
        let result = port.i2c.write_read(target.address(), &bytes, into).await;
        target.noted(pointer, result)
    }

    fn delay_us(&mut self, us: u32) -> impl Future<Output = ()> {
        self.delay.delay_us(us)
    }

    fn shared<T: Copy, F: Future<Output = Result<T, Fault>>>(
        operation: impl FnOnce() -> F,
    ) -> impl Future<Output = Result<T, Fault>> {
        operation()
    }
}
