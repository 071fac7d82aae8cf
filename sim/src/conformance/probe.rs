//! The kit's own layer between driver and fixture: it counts what passes, spoils what it is told
//! to, lets things happen between transfers, and stops an operation that does not end. Any fixture
//! gets its faults from here.

use alloc::{boxed::Box, format, rc::Rc, vec::Vec};
use core::cell::{Cell, RefCell};
use core::future::poll_fn;
use core::task::Poll;

use crake::Clock;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use super::Fixture;
use crate::bus::BusError;

/// Transfers after which an operation counts as one that never ends.
pub(super) const TRANSFERS_MAX: u32 = 10_000;
/// Waits after which it does, in microseconds.
pub(super) const WAITS_MAX_US: u64 = 60_000_000;

/// One transfer, as it was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Transfer {
    /// The register it is about: the last byte of its pointer.
    pub(super) register: u8,
    /// Bytes written after the address.
    pub(super) written: usize,
    /// Bytes read.
    pub(super) read: usize,
    /// When it was asked for, by the fixture's clock.
    pub(super) at_ns: u64,
}

/// What becomes of a transfer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Spoil {
    /// The first so many bytes written arrive, then it fails; with `usize::MAX` all of it arrived,
    /// reading included, and it is told as failed nevertheless.
    Cut(usize),
    /// Told as done, and never sent.
    Lost,
    /// One bit of what is read arrives wrong; `sealed`, with a check byte that fits again.
    Flipped { byte: usize, bit: u8, sealed: bool },
    /// All that is read is this byte, and nothing that is written arrives; `sealed`, with a check
    /// byte that fits.
    Stuck { byte: u8, sealed: bool },
    /// The future that waits for it is dropped; the transfer itself arrived or did not.
    Dropped { arrived: bool },
}

/// What happens right before a transfer, given its number, and eight times in each wait, without.
type Between = Box<dyn FnMut(Option<usize>)>;

/// What the kit keeps of the transfers since [`begin`](Self::begin), and what it plans for them.
pub(super) struct Tap {
    pub(super) fixture: Rc<dyn Fixture>,
    pointer_bytes: usize,
    count: Cell<u32>,
    waited_us: Cell<u64>,
    log: RefCell<Vec<Transfer>>,
    /// For transfers from the first number up to before the second.
    plan: Cell<Option<(usize, usize, Spoil)>>,
    between: RefCell<Option<Between>>,
    pub(super) dropped: Cell<bool>,
}

/// Transfers that are kept: more than any operation has that ends.
const LOG_MAX: usize = 4_096;

impl Tap {
    pub(super) fn new(fixture: Rc<dyn Fixture>, pointer_bytes: usize) -> Rc<Self> {
        Rc::new(Self {
            fixture,
            pointer_bytes,
            count: Cell::default(),
            waited_us: Cell::default(),
            log: RefCell::default(),
            plan: Cell::default(),
            between: RefCell::default(),
            dropped: Cell::default(),
        })
    }

    /// Counts from here on, with nothing planned.
    pub(super) fn begin(&self) {
        self.allow();
        self.log.borrow_mut().clear();
        self.plan.set(None);
        *self.between.borrow_mut() = None;
    }

    /// A new operation begins, which may take as much as any.
    pub(super) fn allow(&self) {
        self.count.set(0);
        self.waited_us.set(0);
        self.dropped.set(false);
    }

    /// Counts from here on, with this in store for the transfer of this number.
    pub(super) fn spoil(&self, number: usize, spoil: Spoil) {
        self.spoil_all(number..number + 1, spoil);
    }

    /// The same without touching what is kept and what else happens.
    pub(super) fn plan(&self, number: usize, spoil: Spoil) {
        self.plan.set(Some((number, number + 1, spoil)));
    }

    pub(super) fn spoil_all(&self, numbers: core::ops::Range<usize>, spoil: Spoil) {
        self.begin();
        self.plan.set(Some((numbers.start, numbers.end, spoil)));
    }

    /// Counts from here on; this happens before each transfer.
    pub(super) fn between(&self, act: impl FnMut(Option<usize>) + 'static) {
        self.begin();
        *self.between.borrow_mut() = Some(Box::new(act));
    }

    pub(super) fn log(&self) -> Vec<Transfer> {
        self.log.borrow().clone()
    }

    /// Whether the operation goes beyond all bounds. One that does not end for errors either could
    /// hang the test.
    fn is_over(&self, transfers: u32, us: u64) -> bool {
        self.count.set(self.count.get() + transfers);
        self.waited_us.set(self.waited_us.get() + us);
        let (count, waited_us) = (self.count.get(), self.waited_us.get());
        if count > 2 * TRANSFERS_MAX || waited_us > 2 * WAITS_MAX_US {
            let last = self.log.borrow().last().map_or(0, |last| last.register);
            let text = format!("hangs on register 0x{last:02X}, whatever error the bus gives");
            panic!("an operation that never ends: {text}");
        }
        count > TRANSFERS_MAX || waited_us > WAITS_MAX_US
    }

    fn transfer(&self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let number = self.count.get() as usize;
        if self.is_over(1, 0) {
            return Err(BusError(ErrorKind::Other));
        }
        self.happen(Some(number));
        let (mut written, mut read) = (Vec::new(), 0);
        for operation in operations.iter() {
            match operation {
                Operation::Write(bytes) => written.extend_from_slice(bytes),
                Operation::Read(room) => read += room.len(),
            }
        }
        let register = written
            .get(self.pointer_bytes - 1)
            .copied()
            .unwrap_or_default();
        let mut log = self.log.borrow_mut();
        if log.len() < LOG_MAX {
            log.push(Transfer {
                register,
                written: written.len(),
                read,
                at_ns: self.fixture.now_ns(),
            });
        }
        drop(log);
        let plan = self.plan.get();
        let spoil = plan.filter(|(from, until, _)| (*from..*until).contains(&number));
        let Some((_, until, spoil)) = spoil else {
            return self.fixture.transfer(address, operations);
        };
        if number + 1 >= until {
            self.plan.set(None);
        }
        let refused = Err(BusError(ErrorKind::NoAcknowledge(
            NoAcknowledgeSource::Data,
        )));
        match spoil {
            Spoil::Cut(usize::MAX) => self.fixture.transfer(address, operations).and(refused),
            // What comes before a refused byte of a read is its pointer.
            Spoil::Cut(bytes) => {
                let begun = &written[..bytes.min(written.len())];
                if !begun.is_empty() {
                    self.fixture
                        .transfer(address, &mut [Operation::Write(begun)])?;
                }
                refused
            }
            Spoil::Lost => Ok(()),
            Spoil::Stuck { byte, sealed } => {
                each_read(operations, |room| {
                    room.fill(byte);
                    seal(room, sealed, (address, &written));
                });
                Ok(())
            }
            Spoil::Flipped { byte, bit, sealed } => {
                self.fixture.transfer(address, operations)?;
                each_read(operations, |room| {
                    if let Some(place) = room.get_mut(byte) {
                        *place ^= 1 << bit;
                    }
                    seal(room, sealed, (address, &written));
                });
                Ok(())
            }
            Spoil::Dropped { arrived } => {
                if arrived {
                    self.fixture.transfer(address, operations)?;
                }
                self.dropped.set(true);
                refused
            }
        }
    }

    fn happen(&self, number: Option<usize>) {
        if let Some(act) = &mut *self.between.borrow_mut() {
            act(number);
        }
    }

    fn wait(&self, ns: u64) {
        if self.is_over(0, ns.div_ceil(1_000)) {
            return;
        }
        for part in 0..8 {
            self.fixture.run_for_ns((ns + part) / 8);
            self.happen(None);
        }
    }
}

fn seal(room: &mut [u8], sealed: bool, (address, written): (u8, &[u8])) {
    if let ([data @ .., check], true) = (room, sealed) {
        *check = pec(address, written, data);
    }
}

fn each_read(operations: &mut [Operation<'_>], mut act: impl FnMut(&mut [u8])) {
    for operation in operations {
        if let Operation::Read(room) = operation {
            act(room);
        }
    }
}

/// The check byte of a read as SMBus has it: CRC-8 over the address with its write bit, what was
/// written, the address with its read bit, and the data.
pub(super) fn pec(address: u8, written: &[u8], data: &[u8]) -> u8 {
    let write = address << 1;
    let head = core::iter::once(write).chain(written.iter().copied());
    crc8(head.chain([write | 1]).chain(data.iter().copied()))
}

/// CRC-8, polynomial x^8 + x^2 + x + 1, bit by bit.
pub(super) fn crc8(bytes: impl IntoIterator<Item = u8>) -> u8 {
    bytes.into_iter().fold(0, |crc, byte| {
        (0..8).fold(crc ^ byte, |crc, _| {
            let next = crc << 1;
            if crc & 0x80 == 0 { next } else { next ^ 0x07 }
        })
    })
}

/// The tap as the driver's bus, delay and clock, blocking and async.
#[derive(Clone)]
pub(super) struct Probe(pub(super) Rc<Tap>);

impl ErrorType for Probe {
    type Error = BusError;
}

impl I2c for Probe {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        self.0.transfer(address, operations)
    }
}

impl embedded_hal_async::i2c::I2c for Probe {
    async fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        pending().await;
        let result = self.0.transfer(address, operations);
        // Where the future is to be dropped, it is so now.
        pending().await;
        result
    }
}

impl DelayNs for Probe {
    fn delay_ns(&mut self, ns: u32) {
        self.0.wait(ns.into());
    }

    fn delay_us(&mut self, us: u32) {
        self.0.wait(u64::from(us) * 1_000);
    }
}

impl embedded_hal_async::delay::DelayNs for Probe {
    async fn delay_ns(&mut self, ns: u32) {
        pending().await;
        self.0.wait(ns.into());
        pending().await;
    }
}

impl Clock for Probe {
    fn now_us(&mut self) -> u64 {
        self.0.fixture.now_ns() / 1_000
    }
}

/// Waits once, so that every transfer really lets go of the processor.
async fn pending() {
    let mut waited = false;
    poll_fn(|_| match core::mem::replace(&mut waited, true) {
        true => Poll::Ready(()),
        false => Poll::Pending,
    })
    .await;
}

/// Runs a future to its end, or up to where it is to be dropped.
pub(super) fn block_on<F: Future>(tap: &Tap, future: F) -> Result<F::Output, Dropped> {
    let mut future = core::pin::pin!(future);
    let mut context = core::task::Context::from_waker(core::task::Waker::noop());
    loop {
        if let Poll::Ready(output) = future.as_mut().poll(&mut context) {
            return Ok(output);
        }
        if tap.dropped.replace(false) {
            return Err(Dropped);
        }
    }
}

/// A future was dropped on purpose.
#[derive(Clone, Copy, Debug)]
pub(super) struct Dropped;

#[cfg(test)]
mod tests {
    use super::pec;

    /// Rows of the worked examples in docs/corncrake-datasheet.md, section 10: reads of IDENTITY
    /// and RAIL_0.
    #[test]
    fn check_bytes_of_the_datasheet() {
        assert_eq!(pec(0x32, &[0x00], &[0x9E, 0x37, 0xC4, 0x02]), 0x02);
        assert_eq!(pec(0x32, &[0x64], &[0x80, 0xE8]), 0x0B);
    }
}
