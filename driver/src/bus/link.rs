use core::future::Future;

use super::{Fault, Port};
use crate::crc::Pec;

/// A port, the part's address, how often a transfer is tried, and what the last failure was about.
///
/// All registers here have a pointer of one byte and travel most significant byte first. Check bytes
/// are the SMBus packet error code.
#[derive(Debug)]
pub struct Link<B: Port> {
    port: B,
    address: u8,
    attempts: u8,
    read_max: u8,
    register: u8,
    expected: u32,
    got: u32,
    bus_error: Option<B::Error>,
}

/// A write: address, pointer, value of up to eight bytes, check byte. Whole words, so that clearing it
/// takes no routine.
#[repr(align(4))]
struct Frame([u8; 12]);

impl<B: Port> Link<B> {
    /// How often a transfer is tried unless set otherwise.
    pub const ATTEMPTS: u8 = 3;

    pub(crate) const fn new(port: B, address: u8) -> Self {
        Self {
            port,
            address,
            attempts: Self::ATTEMPTS,
            read_max: u8::MAX,
            register: 0,
            expected: 0,
            got: 0,
            bus_error: None,
        }
    }

    pub(crate) fn into_port(self) -> B {
        self.port
    }

    pub(crate) const fn port_mut(&mut self) -> &mut B {
        &mut self.port
    }

    pub(crate) const fn set_attempts(&mut self, attempts: u8) {
        self.attempts = if attempts == 0 { 1 } else { attempts };
    }

    pub(crate) const fn set_read_max(&mut self, bytes: u8) {
        self.read_max = if bytes < 2 { 2 } else { bytes };
    }

    /// The part's 7-bit address.
    #[must_use]
    pub const fn address(&self) -> u8 {
        self.address
    }

    /// How often a transfer is tried.
    #[must_use]
    pub const fn attempts(&self) -> u8 {
        self.attempts
    }

    /// The most bytes that are read in one transfer.
    #[must_use]
    pub const fn read_max(&self) -> u8 {
        self.read_max
    }

    /// The register that was asked for last.
    pub(crate) const fn register(&self) -> u8 {
        self.register
    }

    /// What was expected and what came, where the last fault is about values.
    pub(crate) const fn values(&self) -> (u32, u32) {
        (self.expected, self.got)
    }

    pub(crate) const fn take_bus_error(&mut self) -> Option<B::Error> {
        self.bus_error.take()
    }

    /// Notes two values that should be the same, and gives the fault that says so.
    pub const fn differ(&mut self, fault: Fault, expected: u32, got: u32) -> Fault {
        (self.expected, self.got) = (expected, got);
        fault
    }

    /// `Ok` if both are the same, else the fault, with the values noted.
    ///
    /// # Errors
    /// `fault`.
    pub const fn expect(&mut self, fault: Fault, expected: u32, got: u32) -> Result<(), Fault> {
        if B::DRY || expected == got {
            Ok(())
        } else {
            Err(self.differ(fault, expected, got))
        }
    }

    /// Whether a loop of tries ends: one came through, or none is left.
    #[must_use]
    pub const fn ends(came_through: bool, left: u8) -> bool {
        left == 0 || came_through && !B::DRY
    }

    /// Lets at least this much time go by.
    pub async fn delay_us(&mut self, us: u32) {
        self.port.delay_us(us).await;
    }

    /// Reads a register of `into.len()` - 1 bytes and its check byte, which is left behind them.
    /// Tried again after any failure: for registers that reading does not change.
    ///
    /// # Errors
    /// [`Fault::Bus`] or [`Fault::CheckByte`] of the last try; `into` then means nothing.
    pub fn read(
        &mut self,
        register: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        let tries = self.attempts;
        self.read_in(tries, register, into)
    }

    /// The same, tried once: for registers that reading changes.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn read_once(
        &mut self,
        register: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        self.read_in(1, register, into)
    }

    fn read_in(
        &mut self,
        mut tries: u8,
        register: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            loop {
                let mut result = self.transfer(register, into).await;
                if result.is_ok() {
                    result = self.checked(register, into);
                }
                tries = tries.saturating_sub(1);
                if Self::ends(result.is_ok(), tries) {
                    return result;
                }
            }
        })
    }

    /// Reads bytes without a check byte, once: for blocks with a check value of their own.
    ///
    /// # Errors
    /// [`Fault::Bus`].
    pub async fn transfer(&mut self, register: u8, into: &mut [u8]) -> Result<(), Fault> {
        self.register = register;
        let result = self.port.write_read(self.address, &[register], into).await;
        self.told(result)
    }

    /// Whether the last byte is the check byte of those before it.
    fn checked(&mut self, register: u8, into: &[u8]) -> Result<(), Fault> {
        let Some((&check, data)) = into.split_last() else {
            return Err(Fault::NotSupported);
        };
        let write = self.address << 1;
        let mut pec = Pec::new();
        // A byte of zero in front changes nothing, and makes a whole word.
        pec.add_all(&[0, write, register, write | 1]);
        pec.add_all(data);
        self.expect(Fault::CheckByte, u32::from(pec.value()), u32::from(check))
    }

    /// Reads a register of up to seven bytes.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn get(&mut self, register: u8, width: u8) -> impl Future<Output = Result<u64, Fault>> {
        B::shared(move || async move {
            let mut bytes = [0; 8];
            let taken = bytes
                .get_mut(..=usize::from(width))
                .ok_or(Fault::NotSupported)?;
            self.read(register, taken).await?;
            let data = taken.split_last().map_or(&[][..], |(_, data)| data);
            Ok(data
                .iter()
                .fold(0, |value, byte| value << 8 | u64::from(*byte)))
        })
    }

    /// Writes the lowest `width` bytes of a value, up to eight, with a check byte. Tried again after any
    /// failure: for registers that may be written twice.
    ///
    /// # Errors
    /// [`Fault::Bus`] of the last try; the register may have been written all the same.
    pub fn put(
        &mut self,
        register: u8,
        value: u64,
        width: u8,
    ) -> impl Future<Output = Result<(), Fault>> {
        let tries = self.attempts;
        self.put_in(tries, register, value, width)
    }

    /// The same, tried once.
    ///
    /// # Errors
    /// As [`put`](Self::put).
    pub fn put_once(
        &mut self,
        register: u8,
        value: u64,
        width: u8,
    ) -> impl Future<Output = Result<(), Fault>> {
        self.put_in(1, register, value, width)
    }

    fn put_in(
        &mut self,
        mut tries: u8,
        register: u8,
        value: u64,
        width: u8,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            let mut frame = Frame([0; 12]);
            let bytes = frame
                .fill(self.address, register, value, width)
                .ok_or(Fault::NotSupported)?;
            self.register = register;
            loop {
                let result = self.port.write(self.address, bytes).await;
                tries = tries.saturating_sub(1);
                if Self::ends(result.is_ok(), tries) {
                    return self.told(result);
                }
            }
        })
    }

    /// Reads a register of up to seven bytes that must have this value.
    ///
    /// # Errors
    /// As [`read`](Self::read), and `fault`, with the values noted.
    pub fn require(
        &mut self,
        register: u8,
        value: u64,
        width: u8,
        fault: Fault,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            let got = self.get(register, width).await?;
            if B::DRY || got == value {
                return Ok(());
            }
            Err(self.differ(fault, value as u32, got as u32))
        })
    }

    /// Writes a value of up to seven bytes and reads it back.
    ///
    /// # Errors
    /// Those of [`put`](Self::put) and [`get`](Self::get), and [`Fault::ReadBack`].
    pub fn put_verified(
        &mut self,
        register: u8,
        value: u64,
        width: u8,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            self.put(register, value, width).await?;
            self.require(register, value, width, Fault::ReadBack).await
        })
    }

    fn told(&mut self, result: Result<(), B::Error>) -> Result<(), Fault> {
        result.map_err(|error| {
            self.bus_error = Some(error);
            Fault::Bus
        })
    }
}

impl Frame {
    /// Pointer, value and check byte, as they are to be written.
    fn fill(&mut self, address: u8, register: u8, value: u64, width: u8) -> Option<&[u8]> {
        let [a, r, data @ ..] = &mut self.0;
        (*a, *r) = (address << 1, register);
        let mut rest = value;
        for place in data.get_mut(..usize::from(width))?.iter_mut().rev() {
            *place = rest as u8;
            rest >>= 8;
        }
        let end = usize::from(width).wrapping_add(2);
        let mut pec = Pec::new();
        pec.add_all(self.0.get(..end)?);
        *self.0.get_mut(end)? = pec.value();
        self.0.get(1..=end)
    }
}
