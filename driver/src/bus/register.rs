use super::{Fault, Target, Wire};
use crate::crc::Pec;

/// A register: its pointer, and how many bytes it has, up to seven.
///
/// One word, so that a call that names one passes it as such.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Register(u32);

/// What is done with a register, in one word with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Access(u32);

/// Bits of an access above its register: tried once; written; read, and compared, with the fault
/// that a difference is.
const ONCE: u32 = 1 << 16;
const WRITE: u32 = 1 << 17;
const READ: u32 = 1 << 18;
const COMPARE: u32 = 1 << 19;
const FAULT: u32 = 20;

impl Register {
    /// The register at this pointer, of so many bytes; of seven, if it is said to have more.
    #[must_use]
    pub const fn new(pointer: u8, bytes: u8) -> Self {
        let bytes = if bytes > 7 { 7 } else { bytes };
        Self((bytes as u32) << 8 | pointer as u32)
    }

    /// The register of the same kind so many pointers further.
    #[must_use]
    pub const fn plus(self, number: u8) -> Self {
        let pointer = self.pointer().wrapping_add(number);
        Self(self.0 & !0xFF | pointer as u32)
    }

    /// The same, accessed once however it ends: what a repeat would change.
    #[must_use]
    pub const fn once(self) -> Self {
        Self(self.0 | ONCE)
    }

    /// The pointer.
    #[must_use]
    pub const fn pointer(self) -> u8 {
        self.0 as u8
    }

    /// As much of a number in two's complement as the register has.
    #[must_use]
    pub const fn low_bytes(self, number: i64) -> u64 {
        let unused = self.unused_bits();
        (number as u64).unbounded_shl(unused).unbounded_shr(unused)
    }

    const fn len(self) -> usize {
        (self.0 >> 8 & 7) as usize
    }

    /// Bits of a number of eight bytes that the value does not take.
    const fn unused_bits(self) -> u32 {
        64_u32.wrapping_sub((self.0 >> 5) & 0x38)
    }
}

impl Access {
    /// Writes it.
    pub(super) const fn write(register: Register) -> Self {
        Self(register.0 | WRITE)
    }

    /// Reads it.
    pub(super) const fn read(register: Register) -> Self {
        Self(register.0 | READ)
    }

    /// Reads it; another value than the one given is this fault.
    pub(super) const fn compare(register: Register, fault: Fault) -> Self {
        Self(register.0 | READ | COMPARE | fault.number() << FAULT)
    }

    /// Writes it and reads it back.
    pub(super) const fn verify(register: Register) -> Self {
        Self(Self::compare(register, Fault::ReadBack).0 | WRITE)
    }

    pub(super) const fn register(self) -> Register {
        Register(self.0)
    }

    pub(super) const fn is_once(self) -> bool {
        self.0 & ONCE != 0
    }

    pub(super) const fn writes(self) -> bool {
        self.0 & WRITE != 0
    }

    pub(super) const fn reads(self) -> bool {
        self.0 & READ != 0
    }

    pub(super) const fn compares(self) -> bool {
        self.0 & COMPARE != 0
    }

    pub(super) fn fault(self) -> Fault {
        Fault::of(self.0 >> FAULT)
    }
}

/// Bytes of a transfer that the check byte covers, behind as many zeros as fill whole words, and
/// the check byte: zeros in front change nothing.
#[repr(align(4))]
pub(super) struct Frame([u8; END + 1]);

/// Where the check byte is.
const END: usize = 12;

impl Frame {
    /// A value where it belongs.
    #[inline(always)]
    pub(super) const fn of(value: u64) -> Self {
        let [a, b, c, d, e, f, g, h] = value.to_be_bytes();
        Self([0, 0, 0, 0, a, b, c, d, e, f, g, h, 0])
    }

    /// Puts in front of the value what is sent, and behind it the check byte; gives what is sent
    /// behind the address.
    #[inline(always)]
    pub(super) fn for_write<W: Wire>(&mut self, address: u8, register: Register) -> &[u8] {
        self.put_before(register, [0, address << 1, register.pointer()]);
        if W::LOW_BYTE_FIRST {
            self.turn(register);
        }
        if W::CHECK_BYTE {
            let check = self.check();
            let [.., place] = &mut self.0;
            *place = check;
        }
        let first = (END - 1).wrapping_sub(register.len());
        self.0.get(first..end::<W>()).unwrap_or_default()
    }

    /// Puts in front of where the value will be what is sent; gives room for value and check byte.
    #[inline(always)]
    pub(super) fn for_read<W: Wire>(&mut self, address: u8, register: Register) -> &mut [u8] {
        let write = address << 1;
        self.put_before(register, [write, register.pointer(), write | 1]);
        let first = END.wrapping_sub(register.len());
        self.0.get_mut(first..end::<W>()).unwrap_or_default()
    }

    /// Notes the value that was read.
    #[inline(always)]
    pub(super) fn note<W: Wire, E>(
        &mut self,
        target: &mut Target<E>,
        register: Register,
    ) -> Result<(), Fault> {
        let expected = if W::CHECK_BYTE { self.check() } else { 0 };
        self.put_before(register, [0; 3]);
        if W::LOW_BYTE_FIRST {
            self.turn(register);
        }
        let [_, _, _, _, a, b, c, d, e, f, g, h, got] = self.0;
        if W::CHECK_BYTE && expected != got {
            return Err(target.differ(Fault::CheckByte, u32::from(expected), u32::from(got)));
        }
        target.got = [
            u32::from_be_bytes([a, b, c, d]),
            u32::from_be_bytes([e, f, g, h]),
        ];
        Ok(())
    }

    #[inline(always)]
    fn put_before(&mut self, register: Register, bytes: [u8; 3]) {
        let first = (END - 3).wrapping_sub(register.len());
        if let Some(place) = self
            .0
            .get_mut(first..)
            .and_then(|rest| rest.first_chunk_mut())
        {
            *place = bytes;
        }
    }

    /// Turns the order of the value's bytes.
    #[inline(never)]
    fn turn(&mut self, register: Register) {
        let first = END.wrapping_sub(register.len());
        if let Some(value) = self.0.get_mut(first..END) {
            value.reverse();
        }
    }

    /// The check byte of all before it.
    #[inline(always)]
    fn check(&self) -> u8 {
        let [covered @ .., _] = &self.0;
        Pec::new().over(covered).value()
    }
}

/// Where what is sent or read ends.
const fn end<W: Wire>() -> usize {
    if W::CHECK_BYTE { END + 1 } else { END }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Checked;
    impl Wire for Checked {
        const CHECK_BYTE: bool = true;
        const LOW_BYTE_FIRST: bool = false;
    }

    struct LowFirst;
    impl Wire for LowFirst {
        const CHECK_BYTE: bool = false;
        const LOW_BYTE_FIRST: bool = true;
    }

    #[test]
    fn numbers_of_either_sign_are_cut_to_their_bytes() {
        let low_bytes = |number, bytes| Register::new(0, bytes).low_bytes(number);
        assert_eq!(low_bytes(-131_072, 3), 0xFE_0000);
        assert_eq!(low_bytes(131_071, 3), 0x01_FFFF);
        assert_eq!(low_bytes(-1, 5), 0xFF_FFFF_FFFF);
        assert_eq!(low_bytes(0xFFFF, 2), 0xFFFF);
    }

    /// Address 0x34: one byte and five bytes written. Check bytes from another package, crcmod of
    /// PyPI, polynomial 0x107, over address, pointer and value.
    #[test]
    fn a_write_is_pointer_value_and_check_byte() {
        let mut frame = Frame::of(0x01);
        let sent = frame.for_write::<Checked>(0x34, Register::new(0x00, 1));
        assert_eq!(sent, [0x00, 0x01, 0x93]);
        let mut frame = Frame::of(0x12_3456_789A);
        let sent = frame.for_write::<Checked>(0x34, Register::new(0x14, 5));
        assert_eq!(sent, [0x14, 0x12, 0x34, 0x56, 0x78, 0x9A, 0xAF]);
    }

    /// Likewise, over the address twice.
    #[test]
    fn a_read_takes_a_value_whose_check_byte_fits() {
        let register = Register::new(0x37, 3);
        let mut target: Target<()> = Target::new(0x34, 3);
        let mut frame = Frame::of(0);
        frame
            .for_read::<Checked>(0x34, register)
            .copy_from_slice(&[0x01, 0x02, 0x03, 0xC6]);
        assert_eq!(frame.note::<Checked, _>(&mut target, register), Ok(()));
        assert_eq!(target.got, [0, 0x01_0203]);
        let mut frame = Frame::of(0);
        frame
            .for_read::<Checked>(0x34, register)
            .copy_from_slice(&[0x01, 0x02, 0x03, 0xC7]);
        assert_eq!(
            frame.note::<Checked, _>(&mut target, register),
            Err(Fault::CheckByte)
        );
        assert_eq!((target.expected, target.got), (0xC6, [0, 0xC7]));
    }

    /// Three bytes, least significant first, and nothing behind them.
    #[test]
    fn low_byte_first_and_unchecked() {
        let register = Register::new(0x39, 3);
        let mut frame = Frame::of(0x12_3456);
        let sent = frame.for_write::<LowFirst>(0x17, register);
        assert_eq!(sent, [0x39, 0x56, 0x34, 0x12]);
        let mut target: Target<()> = Target::new(0x17, 3);
        let mut frame = Frame::of(0);
        frame
            .for_read::<LowFirst>(0x17, register)
            .copy_from_slice(&[0x56, 0x34, 0x12]);
        assert_eq!(frame.note::<LowFirst, _>(&mut target, register), Ok(()));
        assert_eq!(target.got, [0, 0x12_3456]);
    }

    #[test]
    fn an_access_carries_register_and_fault() {
        let register = Register::new(0xFE, 3).plus(3).once();
        let access = Access::compare(register, Fault::Stale);
        assert_eq!((register.pointer(), register.len()), (0x01, 3));
        assert_eq!(access.register().pointer(), 0x01);
        assert_eq!(access.fault(), Fault::Stale);
        assert!(access.is_once() && access.reads() && access.compares() && !access.writes());
    }
}
