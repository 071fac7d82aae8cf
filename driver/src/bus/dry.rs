use core::convert::Infallible;
use core::future::Future;
use core::marker::PhantomData;

use super::register::Frame;
use super::{Access, Done, Fault, Link, Port, Register, Traffic, Wire, at_once, poll_once};

/// A port without a bus: it counts what an operation would put on one, and what it would wait.
#[derive(Debug)]
pub(crate) struct Dry<W> {
    counted: Traffic,
    wire: PhantomData<fn() -> W>,
}

/// Periods that a START, repeated or not, takes together with the end of what it begins: hold,
/// set-up, low and free times. They are less than two in each mode (UM10204, table of timing
/// characteristics).
const FRAMING: u64 = 2;
/// More than any operation takes.
const BITS_MAX: u64 = 1 << 30;
/// Eight bits and the acknowledge.
const BYTE: u64 = 9;

impl<W> Dry<W> {
    /// Nothing was counted.
    pub(crate) const NEW: Self = Self {
        counted: Traffic {
            clocks: 0,
            waits_us: 0,
        },
        wire: PhantomData,
    };

    /// Forgets what was counted.
    pub(crate) fn clear(&mut self) {
        *self = Self::NEW;
    }

    pub(crate) const fn counted(&self) -> Traffic {
        self.counted
    }

    /// Address and bytes behind one START.
    ///
    /// # Errors
    /// `Busy`: no operation is so long; it is one that does not end.
    fn count(&mut self, bytes: usize) -> Result<(), Fault> {
        let bits = BYTE.saturating_mul((bytes as u64).saturating_add(1));
        let clocks = &mut self.counted.clocks;
        *clocks = clocks.saturating_add(bits).saturating_add(FRAMING);
        if *clocks < BITS_MAX {
            Ok(())
        } else {
            Err(Fault::Busy)
        }
    }
}

impl<W: Wire> Port for Dry<W> {
    type Error = Infallible;
    type Wire = W;

    const DRY: bool = true;

    fn write_register(
        link: &mut Link<Self>,
        register: Register,
        _: u64,
    ) -> impl Future<Output = Result<(), Fault>> {
        let len = Frame::of::<W>(0).for_write::<W>(0, register).len();
        Done(link.port.count(len))
    }

    fn read_register(
        link: &mut Link<Self>,
        register: Register,
    ) -> impl Future<Output = Result<(), Fault>> {
        link.target.got = [0; 2];
        let len = Frame::of::<W>(0).for_read::<W>(0, register).len();
        Done(link.port.count(1).and_then(|()| link.port.count(len)))
    }

    fn read_bytes(
        link: &mut Link<Self>,
        _: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        into.fill(0);
        Done(
            link.port
                .count(1)
                .and_then(|()| link.port.count(into.len())),
        )
    }

    fn transfer(
        link: &mut Link<Self>,
        sent: &[u8],
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        into.fill(0);
        let read = match into.len() {
            0 => Ok(()),
            len => link.port.count(len),
        };
        Done(read.and_then(|()| link.port.count(sent.len())))
    }

    fn delay_us(&mut self, us: u32) -> impl Future<Output = ()> {
        let waits_us = &mut self.counted.waits_us;
        *waits_us = waits_us.saturating_add(u64::from(us));
        Done(())
    }

    fn shared<T: Copy, F: Future<Output = Result<T, Fault>>>(
        operation: impl FnOnce() -> F,
    ) -> impl Future<Output = Result<T, Fault>> {
        Done(poll_once(operation))
    }

    // As over a blocking bus: no future of another one that is polled after its end could panic.
    fn access(
        link: &mut Link<Self>,
        access: Access,
        value: u64,
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(at_once(link.access(access, value)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::wire::Plain;

    /// A map that waits for a bit without end: on the dry port nothing ever comes through.
    #[test]
    fn an_operation_that_does_not_end_is_stopped() {
        let mut link: Link<Dry<Plain>> = Link::new(Dry::NEW, 0x2C);
        let waited = loop {
            match at_once(link.get(Register::new(0x03, 2))) {
                Ok(status) if status & 1 == 0 => {}
                other => break other,
            }
        };
        assert_eq!(waited, Err(Fault::Busy));
    }
}
