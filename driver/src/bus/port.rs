use core::future::Future;

use embedded_hal::i2c;

use super::{Access, Fault, Link, Register, Wire};

/// A bus and a delay, as registers of a part are read and written over them. Transfers are `write`
/// with one buffer and `write_read`: any implementation of the bus traits has these right.
///
/// The driver's own, over a blocking and over an async bus; parts and firmware use [`Link`] and the
/// monitor.
///
/// What an operation keeps across its waits are values alone: bytes lie in the port. Over a
/// blocking port all of it then stays in the core's registers.
pub trait Port: Sized {
    /// The bus's own error.
    type Error: i2c::Error;

    /// How registers travel: the part that it was made for.
    type Wire: Wire;

    /// Whether there is no bus: what an operation would do is counted. Then every comparison of
    /// what came counts as equal, and every loop of tries runs to its end.
    const DRY: bool = false;

    /// Writes a register in one transfer.
    fn write_register(
        link: &mut Link<Self>,
        register: Register,
        value: u64,
    ) -> impl Future<Output = Result<(), Fault>>;

    /// Reads a register in one transfer; the value is noted in the link's target.
    fn read_register(
        link: &mut Link<Self>,
        register: Register,
    ) -> impl Future<Output = Result<(), Fault>>;

    /// Reads bytes from a pointer on, none of which is taken for a check byte.
    fn read_bytes(
        link: &mut Link<Self>,
        pointer: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>>;

    /// Sends bytes, and reads some behind a repeated START if there is room for any.
    fn transfer(
        link: &mut Link<Self>,
        sent: &[u8],
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>>;

    /// Lets at least this much time go by.
    fn delay_us(&mut self, us: u32) -> impl Future<Output = ()>;

    /// Runs an operation that several others use.
    ///
    /// A blocking port makes the future and runs it to its end within one plain function, so that
    /// it is linked once, is no state machine and is never moved; an async port gives it back as it
    /// is.
    fn shared<T: Copy, F: Future<Output = Result<T, Fault>>>(
        operation: impl FnOnce() -> F,
    ) -> impl Future<Output = Result<T, Fault>>;

    /// Every access of a [`Link`] to a register. A blocking port makes a plain function of it,
    /// whose arguments go in registers of the core, which those of [`shared`](Self::shared) do not.
    fn access(
        link: &mut Link<Self>,
        access: Access,
        value: u64,
    ) -> impl Future<Output = Result<(), Fault>> {
        link.access(access, value)
    }
}
