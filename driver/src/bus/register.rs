use core::ops::Range;

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

/// Bytes of a transfer that the check byte covers, in front of them zeros, which change nothing:
/// values that travel highest byte first end where whole words end, others begin there.
#[repr(align(4))]
pub(super) struct Frame([u8; END + 1]);

/// Room for what is in front of a value, and where the longest value ends.
const HEAD: usize = 4;
const END: usize = HEAD + 8;

impl Frame {
    /// A value where it belongs.
    #[inline(always)]
    pub(super) const fn of<W: Wire>(value: u64) -> Self {
        let [a, b, c, d, e, f, g, h] = match W::LOW_BYTE_FIRST {
            true => value.to_le_bytes(),
            false => value.to_be_bytes(),
        };
        Self([0, 0, 0, 0, a, b, c, d, e, f, g, h, 0])
    }

    /// Puts in front of the value what is sent, and behind it the check byte; gives what is sent
    /// behind the address.
    #[inline(always)]
    pub(super) fn for_write<W: Wire>(&mut self, address: u8, register: Register) -> &[u8] {
        let Range { start, end } = place::<W>(register);
        // Covered by the check byte alone.
        let write = if W::CHECK_BYTE { address << 1 } else { 0 };
        self.put_before(start, [0, write, register.pointer()]);
        if W::CHECK_BYTE {
            let check = self.check(end);
            if let Some(byte) = self.0.get_mut(end) {
                *byte = check;
            }
        }
        let bytes = start.wrapping_sub(1)..end.wrapping_add(W::CHECK_BYTE.into());
        self.0.get(bytes).unwrap_or_default()
    }

    /// Puts in front of where the value will be what is sent; gives room for value and check byte.
    #[inline(always)]
    pub(super) fn for_read<W: Wire>(&mut self, address: u8, register: Register) -> &mut [u8] {
        let Range { start, end } = place::<W>(register);
        let write = address << 1;
        self.put_before(start, [write, register.pointer(), write | 1]);
        let bytes = start..end.wrapping_add(W::CHECK_BYTE.into());
        self.0.get_mut(bytes).unwrap_or_default()
    }

    /// Notes the value that was read.
    #[inline(always)]
    pub(super) fn note<W: Wire, E>(
        &mut self,
        target: &mut Target<E>,
        register: Register,
    ) -> Result<(), Fault> {
        let Range { start, end } = place::<W>(register);
        if W::CHECK_BYTE {
            let expected = self.check(end);
            let got = self.0.get_mut(end).map(core::mem::take).unwrap_or_default();
            if expected != got {
                return Err(target.differ(Fault::CheckByte, u32::from(expected), u32::from(got)));
            }
        }
        if !W::LOW_BYTE_FIRST {
            self.put_before(start, [0; 3]);
        }
        let [_, _, _, _, a, b, c, d, e, f, g, h, _] = self.0;
        let bytes = [a, b, c, d, e, f, g, h];
        let value = match W::LOW_BYTE_FIRST {
            true => u64::from_le_bytes(bytes),
            false => u64::from_be_bytes(bytes),
        };
        target.got = [(value >> 32) as u32, value as u32];
        Ok(())
    }

    #[inline(always)]
    fn put_before(&mut self, start: usize, bytes: [u8; 3]) {
        let rest = self.0.get_mut(start.wrapping_sub(3)..);
        if let Some(place) = rest.and_then(|rest| rest.first_chunk_mut()) {
            *place = bytes;
        }
    }

    /// The check byte of all before it.
    #[inline(always)]
    fn check(&self, end: usize) -> u8 {
        let covered = self.0.get(..end).unwrap_or_default();
        Pec::new().over(covered).value()
    }
}

/// Where the bytes of a value are.
#[inline(always)]
const fn place<W: Wire>(register: Register) -> Range<usize> {
    match W::LOW_BYTE_FIRST {
        true => HEAD..HEAD.wrapping_add(register.len()),
        false => END.wrapping_sub(register.len())..END,
    }
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
        let mut frame = Frame::of::<Checked>(0x01);
        let sent = frame.for_write::<Checked>(0x34, Register::new(0x00, 1));
        assert_eq!(sent, [0x00, 0x01, 0x93]);
        let mut frame = Frame::of::<Checked>(0x12_3456_789A);
        let sent = frame.for_write::<Checked>(0x34, Register::new(0x14, 5));
        assert_eq!(sent, [0x14, 0x12, 0x34, 0x56, 0x78, 0x9A, 0xAF]);
    }

    /// Likewise, over the address twice.
    #[test]
    fn a_read_takes_a_value_whose_check_byte_fits() {
        let register = Register::new(0x37, 3);
        let mut target: Target<()> = Target::new(0x34, 3);
        let mut frame = Frame::of::<Checked>(0);
        frame
            .for_read::<Checked>(0x34, register)
            .copy_from_slice(&[0x01, 0x02, 0x03, 0xC6]);
        assert_eq!(frame.note::<Checked, _>(&mut target, register), Ok(()));
        assert_eq!(target.got, [0, 0x01_0203]);
        let mut frame = Frame::of::<Checked>(0);
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
        let mut frame = Frame::of::<LowFirst>(0x12_3456);
        let sent = frame.for_write::<LowFirst>(0x17, register);
        assert_eq!(sent, [0x39, 0x56, 0x34, 0x12]);
        let mut target: Target<()> = Target::new(0x17, 3);
        let mut frame = Frame::of::<LowFirst>(0);
        frame
            .for_read::<LowFirst>(0x17, register)
            .copy_from_slice(&[0x56, 0x34, 0x12]);
        assert_eq!(frame.note::<LowFirst, _>(&mut target, register), Ok(()));
        assert_eq!(target.got, [0, 0x12_3456]);
    }

    /// Low byte first with a check byte, as PMBus has it; check bytes from crcmod, as above.
    #[test]
    fn low_byte_first_and_checked() {
        struct Both;
        impl Wire for Both {
            const CHECK_BYTE: bool = true;
            const LOW_BYTE_FIRST: bool = true;
        }
        let register = Register::new(0x21, 2);
        let mut frame = Frame::of::<Both>(0x1234);
        assert_eq!(
            frame.for_write::<Both>(0x40, register),
            [0x21, 0x34, 0x12, 0xCA]
        );
        for (check, result) in [(0xFC, Ok(())), (0xFD, Err(Fault::CheckByte))] {
            let mut target: Target<()> = Target::new(0x40, 3);
            let mut frame = Frame::of::<Both>(0);
            frame
                .for_read::<Both>(0x40, register)
                .copy_from_slice(&[0x34, 0x12, check]);
            assert_eq!(frame.note::<Both, _>(&mut target, register), result);
            let got = if result.is_ok() {
                0x1234
            } else {
                u32::from(check)
            };
            assert_eq!(target.got, [0, got]);
        }
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
