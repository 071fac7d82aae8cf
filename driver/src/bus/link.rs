use core::future::Future;

use super::{Access, Fault, Port, Register, Target};
use crate::crc::Pec;

/// A part on a bus: its registers read and written, so often as it takes.
///
/// Registers travel as the part's [`Wire`](super::Wire) says.
#[derive(Debug)]
pub struct Link<B: Port> {
    pub(super) port: B,
    pub(super) target: Target<B::Error>,
}

impl<B: Port> Link<B> {
    /// How often a transfer is tried unless set otherwise.
    pub const ATTEMPTS: u8 = 3;

    pub(crate) const fn new(port: B, address: u8) -> Self {
        let target = Target::new(address, Self::ATTEMPTS);
        Self { port, target }
    }

    pub(crate) fn into_port(self) -> B {
        self.port
    }

    pub(crate) const fn port_mut(&mut self) -> &mut B {
        &mut self.port
    }

    pub(crate) const fn set_attempts(&mut self, attempts: u8) {
        self.target.attempts = if attempts == 0 { 1 } else { attempts };
    }

    pub(crate) const fn set_read_max(&mut self, bytes: u8) {
        self.target.read_max = if bytes < 2 { 2 } else { bytes };
    }

    /// The part's 7-bit address.
    #[must_use]
    pub const fn address(&self) -> u8 {
        self.target.address()
    }

    /// How often a transfer is tried.
    #[must_use]
    pub const fn attempts(&self) -> u8 {
        self.target.attempts
    }

    /// The most bytes that are read in one transfer.
    #[must_use]
    pub const fn read_max(&self) -> u8 {
        self.target.read_max
    }

    pub(crate) const fn target(&self) -> &Target<B::Error> {
        &self.target
    }

    pub(crate) const fn target_mut(&mut self) -> &mut Target<B::Error> {
        &mut self.target
    }

    /// `Ok` if both are the same, else the fault, with the values noted.
    ///
    /// # Errors
    /// `fault`.
    pub const fn expect(&mut self, fault: Fault, expected: u32, got: u32) -> Result<(), Fault> {
        if B::DRY || expected == got {
            Ok(())
        } else {
            Err(self.target.differ(fault, expected, got))
        }
    }

    /// Whether a loop of tries ends: one came through, or none is left.
    #[must_use]
    pub const fn ends(came_through: bool, left: u8) -> bool {
        left == 0 || came_through && !B::DRY
    }

    /// From now on an error names this register, until the next transfer: for a transfer that asks
    /// about a register.
    pub const fn name(&mut self, register: u8) {
        self.target.register = register;
    }

    /// Lets at least this much time go by.
    pub fn delay_us(&mut self, us: u32) -> impl Future<Output = ()> {
        self.port.delay_us(us)
    }

    /// Reads a register. Tried again after any failure, unless the register says once.
    ///
    /// # Errors
    /// [`Fault::Bus`] or [`Fault::CheckByte`] of the last try.
    pub async fn get(&mut self, register: Register) -> Result<u64, Fault> {
        B::access(self, Access::read(register), 0).await?;
        let [high, low] = self.target.got;
        Ok((high as u64) << 32 | low as u64)
    }

    /// Writes the lowest bytes of a value to a register. Tried again after any failure, unless the
    /// register says once. What the register has no room for has to be zero.
    ///
    /// # Errors
    /// [`Fault::Bus`] of the last try; the register may have been written all the same.
    #[inline(always)]
    pub fn put(
        &mut self,
        register: Register,
        value: u64,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::access(self, Access::write(register), value)
    }

    /// Reads a register of up to four bytes that must have this value.
    ///
    /// # Errors
    /// As [`get`](Self::get), and `fault`, with the values noted.
    #[inline(always)]
    pub fn require(
        &mut self,
        register: Register,
        value: u32,
        fault: Fault,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::access(self, Access::compare(register, fault), value as u64)
    }

    /// Writes a register and reads it back.
    ///
    /// # Errors
    /// Those of [`put`](Self::put) and [`get`](Self::get), and [`Fault::ReadBack`].
    #[inline(always)]
    pub fn put_verified(
        &mut self,
        register: Register,
        value: u64,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::access(self, Access::verify(register), value)
    }

    /// Reads bytes from a pointer on, once, none of them taken for a check byte: for blocks with a
    /// check value of their own.
    ///
    /// # Errors
    /// [`Fault::Bus`].
    pub fn read(
        &mut self,
        pointer: u8,
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        B::read_bytes(self, pointer, into)
    }

    /// Sends bytes, pointer first, and reads as many as there is room for behind a repeated START;
    /// only sends where there is none. Once: whether it may be tried again is the part's to know.
    ///
    /// # Errors
    /// [`Fault::Bus`]; what was sent may have arrived all the same.
    pub fn transfer_once(
        &mut self,
        sent: &[u8],
        into: &mut [u8],
    ) -> impl Future<Output = Result<(), Fault>> {
        B::transfer(self, sent, into)
    }

    /// The same, tried again after any failure.
    ///
    /// # Errors
    /// [`Fault::Bus`] of the last try; what was sent may have arrived all the same.
    pub async fn transfer(&mut self, sent: &[u8], into: &mut [u8]) -> Result<(), Fault> {
        let mut tries = self.attempts();
        loop {
            let result = self.transfer_once(sent, into).await;
            tries = tries.wrapping_sub(1);
            if Self::ends(result.is_ok(), tries) {
                return result;
            }
        }
    }

    /// Reads bytes that may change while they are read, until two readings are the same: those of
    /// one moment then. `again` has as much room as `into`.
    ///
    /// They are read as often again as a transfer is tried, and three times at the least: a change
    /// between two readings is no fault. Check bytes among them are not looked at.
    ///
    /// # Errors
    /// Those of [`transfer`](Self::transfer), and [`Fault::Torn`]: no two readings in a row were
    /// the same.
    pub async fn read_settled(
        &mut self,
        sent: &[u8],
        into: &mut [u8],
        again: &mut [u8],
    ) -> Result<(), Fault> {
        let mut tries = self.attempts().max(3);
        self.transfer(sent, into).await?;
        loop {
            self.transfer(sent, again).await?;
            let same = into == again;
            tries = tries.wrapping_sub(1);
            if Self::ends(same, tries) {
                return if same || B::DRY {
                    Ok(())
                } else {
                    Err(Fault::Torn)
                };
            }
            for (byte, newer) in into.iter_mut().zip(&*again) {
                *byte = *newer;
            }
        }
    }

    /// Reads bytes from a register on and their check byte, which is left behind them. Tried again
    /// after any failure.
    ///
    /// # Errors
    /// [`Fault::Bus`] or [`Fault::CheckByte`] of the last try; `into` then means nothing.
    pub async fn read_checked(&mut self, pointer: u8, into: &mut [u8]) -> Result<(), Fault> {
        let mut tries = self.attempts();
        loop {
            let mut result = self.read(pointer, into).await;
            if result.is_ok() {
                result = self.checked(pointer, into);
            }
            tries = tries.wrapping_sub(1);
            if Self::ends(result.is_ok(), tries) {
                return result;
            }
        }
    }

    /// Whether the last byte of what was read from a pointer on is the check byte of those before
    /// it.
    ///
    /// # Errors
    /// [`Fault::CheckByte`], with the values noted.
    pub fn checked(&mut self, pointer: u8, bytes: &[u8]) -> Result<(), Fault> {
        let Some((&check, data)) = bytes.split_last() else {
            return Err(Fault::NotSupported);
        };
        let write = self.address() << 1;
        // A byte of zero in front changes nothing, and makes a whole word.
        let pec = Pec::new().over(&[0, write, pointer, write | 1]).over(data);
        self.expect(Fault::CheckByte, u32::from(pec.value()), u32::from(check))
    }

    /// One piece of code for every access, however many operations wait for one.
    pub(super) async fn access(&mut self, access: Access, value: u64) -> Result<(), Fault> {
        let (register, mut writing) = (access.register(), access.writes());
        loop {
            let mut tries = if access.is_once() { 1 } else { self.attempts() };
            loop {
                let result = match writing {
                    true => B::write_register(self, register, value).await,
                    false => B::read_register(self, register).await,
                };
                tries = tries.wrapping_sub(1);
                if Self::ends(result.is_ok(), tries) {
                    result?;
                    break;
                }
            }
            if !writing || !access.reads() {
                break;
            }
            writing = false;
        }
        let [high, low] = self.target.got;
        if B::DRY || !access.compares() || (high, low) == ((value >> 32) as u32, value as u32) {
            return Ok(());
        }
        Err(self.target.differ(access.fault(), value as u32, low))
    }
}

#[cfg(test)]
mod tests {
    use embedded_hal::delay::DelayNs;
    use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

    use super::{Fault, Link};
    use crate::bus::wire::Plain;
    use crate::bus::{Blocking, at_once};

    struct Nothing;
    impl DelayNs for Nothing {
        fn delay_ns(&mut self, _: u32) {}
    }

    /// Reads another value each time, so often; then it stays.
    struct Changing {
        reads: u8,
        changes: u8,
    }
    impl ErrorType for &mut Changing {
        type Error = ErrorKind;
    }
    impl I2c for &mut Changing {
        fn transaction(&mut self, _: u8, of: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
            for operation in of {
                if let Operation::Read(room) = operation {
                    room.fill(self.reads.min(self.changes));
                    self.reads += 1;
                }
            }
            Ok(())
        }
    }

    /// Read once and three times again at the least, or as often as transfers are tried: the last
    /// two readings are the same, or they are told as torn.
    #[test]
    fn what_changes_is_read_until_two_readings_agree() {
        for (attempts, again) in [(1, 3), (3, 3), (5, 5)] {
            for changes in 0..8 {
                let mut part = Changing { reads: 0, changes };
                let port = Blocking::<_, _, Plain>::new(&mut part, Nothing);
                let mut link = Link::new(port, 0x2E);
                link.set_attempts(attempts);
                let (mut bytes, mut room) = ([0; 3], [0; 3]);
                let result = at_once(link.read_settled(&[0x10], &mut bytes, &mut room));
                let settles = changes < again;
                let expected = if settles { Ok(()) } else { Err(Fault::Torn) };
                assert_eq!(result, expected, "{attempts} attempts, {changes} changes");
                let reads = if settles { changes + 2 } else { again + 1 };
                assert_eq!(part.reads, reads);
                if settles {
                    assert_eq!(bytes, [changes; 3]);
                }
            }
        }
    }
}
