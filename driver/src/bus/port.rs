use core::future::Future;

use embedded_hal::i2c;

use super::Fault;

/// A bus and a delay. Transfers are `write` with one buffer and `write_read`; `read` serves the alert
/// response alone: any implementation of the bus traits has these right.
pub trait Port {
    /// The bus's own error.
    type Error: i2c::Error;

    /// Whether there is no bus: what an operation would do is counted. Then every comparison of what
    /// came counts as equal, and every loop of tries runs to its end.
    const DRY: bool = false;

    /// START, address + write, bytes, STOP.
    fn write(&mut self, address: u8, bytes: &[u8])
    -> impl Future<Output = Result<(), Self::Error>>;

    /// START, address + write, bytes, repeated START, address + read, bytes, STOP.
    fn write_read(
        &mut self,
        address: u8,
        bytes: &[u8],
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Self::Error>>;

    /// START, address + read, bytes, STOP.
    fn read(
        &mut self,
        address: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Self::Error>>;

    /// Lets at least this much time go by.
    fn delay_us(&mut self, us: u32) -> impl Future<Output = ()>;

    /// Runs an operation that several others use.
    ///
    /// A blocking port makes the future and runs it to its end within one plain function, so that it
    /// is linked once, is no state machine and is never moved; an async port gives it back as it is.
    fn shared<T, F: Future<Output = Result<T, Fault>>>(
        operation: impl FnOnce() -> F,
    ) -> impl Future<Output = Result<T, Fault>>;
}
