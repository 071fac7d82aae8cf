use core::future::Future;
use core::marker::PhantomData;

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::blocking::pointer_of;
use super::register::Frame;
use super::{Fault, Link, Port, Register, Wire};

/// A port over an async bus and delay, for registers that travel as `W` says.
#[derive(Clone, Debug)]
pub struct Async<I, D, W> {
    i2c: I,
    delay: D,
    wire: PhantomData<fn() -> W>,
}

impl<I, D, W> Async<I, D, W> {
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

impl<I: I2c, D: DelayNs, W: Wire> Port for Async<I, D, W> {
    type Error = I::Error;
    type Wire = W;

    async fn write_register(
        link: &mut Link<Self>,
        register: Register,
        value: u64,
    ) -> Result<(), Fault> {
        let Link { port, target } = link;
        let mut frame = Frame::of::<W>(value);
        let sent = frame.for_write::<W>(target.address(), register);
        let result = port.i2c.write(target.address(), sent).await;
        target.noted(register.pointer(), result)
    }

    async fn read_register(link: &mut Link<Self>, register: Register) -> Result<(), Fault> {
        let Link { port, target } = link;
        let mut frame = Frame::of::<W>(0);
        let space = frame.for_read::<W>(target.address(), register);
        let pointer = [register.pointer()];
        let result = port.i2c.write_read(target.address(), &pointer, space).await;
        target.noted(register.pointer(), result)?;
        frame.note::<W, _>(target, register)
    }

    async fn read_bytes(link: &mut Link<Self>, pointer: u8, into: &mut [u8]) -> Result<(), Fault> {
        let Link { port, target } = link;
        let bytes = [pointer];
        let result = port.i2c.write_read(target.address(), &bytes, into).await;
        target.noted(pointer, result)
    }

    async fn transfer(link: &mut Link<Self>, sent: &[u8], into: &mut [u8]) -> Result<(), Fault> {
        let Link { port, target } = link;
        let result = match into {
            [] => port.i2c.write(target.address(), sent).await,
            _ => port.i2c.write_read(target.address(), sent, into).await,
        };
        target.noted(pointer_of::<W>(sent), result)
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
