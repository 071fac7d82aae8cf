//! The kit's own layer between driver and fixture: counts what passes, spoils what it is told to, and lets things happen between transfers. Any fixture gets its faults from here.

use alloc::{boxed::Box, rc::Rc, vec::Vec};
use core::cell::{Cell, RefCell};

use crake::old::{Clock, exchange::Effort};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use super::Desk;

/// A controller that passes transfers on to the fixture's own, or does not.
pub struct Probe<D: Desk> {
    inner: D::I2c,
    tap: Rc<Tap>,
}

/// What failed: the fixture's bus, or the kit on purpose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ProbeError(pub ErrorKind);

/// One transfer, as it was asked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Transfer {
    /// The register it is about: the first byte written.
    pub(super) pointer: u8,
    /// Bytes written after the address.
    pub(super) written: usize,
    /// Bytes read.
    pub(super) read: usize,
}

/// What becomes of a transfer.
#[derive(Clone, Copy, Debug)]
pub(super) enum Spoil {
    /// Not acknowledged at this byte, address bytes counted: what came before it has reached the part.
    Refused(usize),
    /// Told as done, and never sent.
    Lost,
    /// One bit of what is read arrives wrong; `sealed`, with a check byte that fits again.
    Flipped { byte: usize, bit: u8, sealed: bool },
}

/// What the kit keeps of the transfers since [`begin`](Self::begin), and what it has planned for them.
#[derive(Default)]
pub(super) struct Tap {
    cost: Cell<Effort>,
    log: RefCell<Vec<Transfer>>,
    plan: Cell<Option<(usize, usize, Spoil)>>,
    between: RefCell<Option<Between>>,
}

/// What happens right before a transfer, given its number.
type Between = Box<dyn FnMut(usize)>;

impl Tap {
    /// Counts transfers from here on, with nothing planned.
    pub(super) fn begin(&self) {
        self.cost.set(Effort::NONE);
        self.log.borrow_mut().clear();
        self.plan.set(None);
        *self.between.borrow_mut() = None;
    }

    /// The same with this in store for the transfer of this number.
    pub(super) fn spoil(&self, number: usize, spoil: Spoil) {
        self.begin();
        self.plan.set(Some((number, number, spoil)));
    }

    /// The same for all transfers from this number on.
    pub(super) fn spoil_from(&self, number: usize, spoil: Spoil) {
        self.begin();
        self.plan.set(Some((number, usize::MAX, spoil)));
    }

    /// The same with something done right before each transfer.
    pub(super) fn between(&self, act: impl FnMut(usize) + 'static) {
        self.begin();
        *self.between.borrow_mut() = Some(Box::new(act));
    }

    /// What it came to since.
    pub(super) fn cost(&self) -> Effort {
        self.cost.get()
    }

    /// The transfers since.
    pub(super) fn log(&self) -> Vec<Transfer> {
        self.log.borrow().clone()
    }

    fn add(&self, cost: Effort) {
        self.cost.set(self.cost.get().then(cost));
    }

    /// Notes a transfer; gives what is in store for it.
    fn pass(&self, transfer: Transfer) -> Option<Spoil> {
        let number = self.log.borrow().len();
        let act = self.between.take();
        if let Some(mut act) = act {
            act(number);
            *self.between.borrow_mut() = Some(act);
        }
        self.log.borrow_mut().push(transfer);
        let reads = transfer.read > 0;
        self.add(Effort {
            transfers: 1,
            restarts: u32::from(reads && transfer.written > 0),
            bytes: (1 + transfer.written + transfer.read) as u32
                + u32::from(reads && transfer.written > 0),
            wait_us: 0,
        });
        let (first, last, spoil) = self.plan.get()?;
        (first..=last).contains(&number).then_some(spoil)
    }
}

impl<D: Desk> Probe<D> {
    pub(super) fn new(desk: &D, tap: &Rc<Tap>) -> Self {
        Self {
            inner: desk.i2c(),
            tap: tap.clone(),
        }
    }

    fn send(&mut self, address: u8, written: &[u8], read: &mut [u8]) -> Result<(), ProbeError> {
        let outcome = if read.is_empty() {
            self.inner.write(address, written)
        } else if written.is_empty() {
            self.inner.read(address, read)
        } else {
            self.inner.write_read(address, written, read)
        };
        outcome.map_err(|error| ProbeError(error.kind()))
    }

    /// Whatever comes before the byte of this number reaches the part; then nothing more.
    fn refuse(
        &mut self,
        at: usize,
        address: u8,
        written: &[u8],
        read: &mut [u8],
    ) -> Result<(), ProbeError> {
        let refused = |source| ProbeError(ErrorKind::NoAcknowledge(source));
        if at == 0 {
            return Err(refused(NoAcknowledgeSource::Address));
        }
        if at <= written.len() {
            self.send(address, &written[..at - 1], &mut [])?;
            return Err(refused(NoAcknowledgeSource::Data));
        }
        match at.checked_sub(written.len() + 2) {
            // The address again, after the repeated START.
            None => {
                self.send(address, written, &mut [])?;
                Err(refused(NoAcknowledgeSource::Address))
            }
            // A target cannot refuse a byte that it sends itself; the controller breaks off.
            Some(arrived) => {
                let room = &mut read[..arrived];
                self.send(address, written, room)?;
                Err(ProbeError(ErrorKind::Bus))
            }
        }
    }
}

impl Error for ProbeError {
    fn kind(&self) -> ErrorKind {
        self.0
    }
}

impl<D: Desk> ErrorType for Probe<D> {
    type Error = ProbeError;
}

impl<D: Desk> I2c for Probe<D> {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ProbeError> {
        let mut written = Vec::new();
        let mut room: &mut [u8] = &mut [];
        for operation in operations {
            match operation {
                Operation::Write(bytes) => written.extend_from_slice(bytes),
                Operation::Read(bytes) => room = bytes,
            }
        }
        let spoil = self.tap.pass(Transfer {
            pointer: written.first().copied().unwrap_or_default(),
            written: written.len(),
            read: room.len(),
        });
        match spoil {
            None => self.send(address, &written, room),
            Some(Spoil::Lost) => Ok(()),
            Some(Spoil::Refused(at)) => self.refuse(at, address, &written, room),
            Some(Spoil::Flipped { byte, bit, sealed }) => {
                self.send(address, &written, room)?;
                if let Some(byte) = room.get_mut(byte) {
                    *byte ^= 1 << bit;
                }
                if sealed && let Some((check, data)) = room.split_last_mut() {
                    *check = pec(address, &written, data);
                }
                Ok(())
            }
        }
    }
}

/// Check byte of a read with a repeated START: over everything from START on (SMBus specification, packet error checking).
pub(super) fn pec(address: u8, written: &[u8], read: &[u8]) -> u8 {
    let head = [address << 1];
    let again = [address << 1 | 1];
    crc8(
        head.iter()
            .chain(written)
            .chain(&again)
            .chain(read)
            .copied(),
    )
}

/// CRC-8, polynomial x^8 + x^2 + x + 1, bit by bit.
pub(super) fn crc8(bytes: impl IntoIterator<Item = u8>) -> u8 {
    bytes.into_iter().fold(0, |crc, byte| {
        (0..8).fold(crc ^ byte, |crc, _| {
            let shifted = crc << 1;
            if crc & 0x80 == 0 {
                shifted
            } else {
                shifted ^ 0x07
            }
        })
    })
}

/// The fixture's time as the driver's clock.
pub struct Ticks<D>(pub(super) D);

impl<D: Desk> Clock for Ticks<D> {
    fn now_us(&mut self) -> u64 {
        self.0.now_ns() / 1_000
    }
}

/// The fixture's time as the driver's delay; it keeps count of what was waited.
pub struct Pause<D> {
    desk: D,
    tap: Rc<Tap>,
}

impl<D: Desk> Pause<D> {
    pub(super) fn new(desk: &D, tap: &Rc<Tap>) -> Self {
        Self {
            desk: desk.clone(),
            tap: tap.clone(),
        }
    }
}

impl<D: Desk> DelayNs for Pause<D> {
    fn delay_ns(&mut self, ns: u32) {
        self.tap.add(Effort::wait(ns.div_ceil(1_000)));
        self.desk.run_for_ns(ns.into());
    }

    fn delay_us(&mut self, us: u32) {
        self.tap.add(Effort::wait(us));
        self.desk.run_for_ns(u64::from(us) * 1_000);
    }
}

#[cfg(test)]
mod tests {
    use super::pec;

    /// Rows of the worked examples in docs/old/corncrake-datasheet.md, section 10: reads of IDENTITY and BUS_0.
    #[test]
    fn check_bytes_of_the_datasheet() {
        assert_eq!(pec(0x32, &[0x00], &[0x9E, 0x37, 0xC4, 0x01]), 0x0B);
        assert_eq!(pec(0x32, &[0x64], &[0x80, 0xE8]), 0x0B);
    }
}
