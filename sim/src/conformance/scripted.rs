//! A fixture for a porter without a model: a register file, and a function from inputs to bytes.

use alloc::{collections::BTreeMap, rc::Rc, vec::Vec};
use core::cell::RefCell;

use crake::config::Outputs;
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource, Operation};

use super::Fixture;
use super::probe::{crc8, pec};
use crate::bus::BusError;

/// What is applied to one channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Applied {
    /// Across the sense input, in nanovolts.
    pub sense_nv: i64,
    /// On the rail input, in nanovolts.
    pub rail_nv: i64,
}

/// How a scripted part's registers travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wire {
    /// The 7-bit address.
    pub address: u8,
    /// Bytes of a pointer, 1 or 2; the higher one comes first.
    pub pointer_bytes: u8,
    /// Registers travel least significant byte first.
    pub low_first: bool,
    /// Reads of a register end with a check byte, and writes that carry one have it judged. In a
    /// read that goes on each register has one of its own: over both addresses, the pointer as it
    /// was sent, and the bytes of that register alone.
    pub check_byte: bool,
    /// What is read or written past the end of a register goes on in the next one.
    pub increments: bool,
    /// How long the part does not answer after a reset.
    pub reset_us: u32,
}

/// The registers of a scripted part: pointer to bytes, in the order in which they are on the wire.
#[derive(Clone, Debug)]
pub struct Registers {
    bytes: BTreeMap<u16, Vec<u8>>,
    low_first: bool,
}

impl Registers {
    /// Puts a value into a register of so many bytes, eight at the most, which is made where there
    /// is none.
    pub fn set(&mut self, pointer: u16, bytes: usize, value: i64) {
        let mut wire = value.to_le_bytes()[..bytes].to_vec();
        if !self.low_first {
            wire.reverse();
        }
        self.bytes.insert(pointer, wire);
    }

    /// The value of a register, without sign; 0 where there is no such register.
    #[must_use]
    pub fn get(&self, pointer: u16) -> u64 {
        let add = |value: u64, byte: &u8| value << 8 | u64::from(*byte);
        match (self.bytes.get(&pointer), self.low_first) {
            (Some(bytes), true) => bytes.iter().rev().fold(0, add),
            (Some(bytes), false) => bytes.iter().fold(0, add),
            (None, _) => 0,
        }
    }

    fn width(&self, pointer: u16) -> usize {
        self.bytes.get(&pointer).map_or(0, Vec::len)
    }

    fn value(&self, wire: &[u8]) -> u64 {
        let mut one = Self {
            bytes: BTreeMap::new(),
            low_first: self.low_first,
        };
        one.bytes.insert(0, wire.to_vec());
        one.get(0)
    }
}

/// What a scripted part does. Times are in nanoseconds of the fixture's clock.
pub trait Script<const N: usize>: 'static {
    /// Puts the registers as they are after a reset; everything else is forgotten as well.
    fn reset(&mut self, registers: &mut Registers, now_ns: u64);

    /// What has happened until now under inputs that have been the same since this was called last:
    /// conversions, flags, outputs. Called before whatever may change something or look, between
    /// the registers of one transfer, too.
    fn live(&mut self, registers: &mut Registers, inputs: &[Applied; N], now_ns: u64);

    /// The host wrote a register: changes registers accordingly. `false` refuses the last byte, and
    /// nothing may have changed.
    fn written(&mut self, registers: &mut Registers, pointer: u16, value: u64, now_ns: u64)
    -> bool;

    /// The host has read a register to its last byte: for what reading clears.
    fn read(&mut self, registers: &mut Registers, pointer: u16, now_ns: u64) {
        let _ = (registers, pointer, now_ns);
    }

    /// What [`Fixture::preload`] sets; `false` where that cannot be done.
    fn preload(
        &mut self,
        registers: &mut Registers,
        channel: usize,
        charge: i64,
        energy: i64,
    ) -> bool {
        let _ = (registers, channel, charge, energy);
        false
    }

    /// What [`Fixture::preload_scans`] sets; `false` where that cannot be done.
    fn preload_scans(&mut self, registers: &mut Registers, scans: u32) -> bool {
        let _ = (registers, scans);
        false
    }

    /// Outputs that are pulled low; `None` where the part has none, or they are not looked at.
    fn low(&self, registers: &Registers) -> Option<Outputs> {
        let _ = registers;
        None
    }
}

/// A register file on a bus of 1 MHz of its own, with a clock of its own: a byte takes 9 µs.
///
/// A read past the last register, or past the check byte, gives 0xFF; so does one that names no
/// register.
pub struct Scripted<P, const N: usize>(RefCell<World<P, N>>);

struct World<P, const N: usize> {
    script: P,
    registers: Registers,
    inputs: [Applied; N],
    wire: Wire,
    now_ns: u64,
    answers_at_ns: u64,
}

/// Nine clocks of 1 MHz.
const BYTE_NS: u64 = 9_000;
const REFUSED: Result<(), BusError> = Err(BusError(ErrorKind::NoAcknowledge(
    NoAcknowledgeSource::Unknown,
)));

impl<P: Script<N>, const N: usize> Scripted<P, N> {
    /// A part fresh from reset, which answers.
    #[must_use]
    pub fn fixture(wire: Wire, mut script: P) -> Rc<dyn Fixture> {
        let mut registers = Registers {
            bytes: BTreeMap::new(),
            low_first: wire.low_first,
        };
        script.reset(&mut registers, 0);
        Rc::new(Self(RefCell::new(World {
            script,
            registers,
            inputs: [Applied::default(); N],
            wire,
            now_ns: 0,
            answers_at_ns: 0,
        })))
    }
}

impl<P: Script<N>, const N: usize> World<P, N> {
    fn pass(&mut self, ns: u64) {
        self.now_ns += ns;
        self.script
            .live(&mut self.registers, &self.inputs, self.now_ns);
    }

    fn read(&mut self, written: &[u8], mut pointer: u16, room: &mut [u8]) {
        let mut at = 0;
        loop {
            let data = self
                .registers
                .bytes
                .get(&pointer)
                .cloned()
                .unwrap_or_default();
            let len = data.len().min(room.len() - at);
            room[at..at + len].copy_from_slice(&data[..len]);
            self.pass(BYTE_NS * len as u64);
            at += len;
            if len > 0 && len == data.len() {
                self.script.read(&mut self.registers, pointer, self.now_ns);
            }
            if at < room.len() && len > 0 && self.wire.check_byte {
                room[at] = pec(self.wire.address, written, &data);
                at += 1;
            }
            if at == room.len() || len == 0 || !self.wire.increments {
                room[at..].fill(0xFF);
                return self.pass(BYTE_NS * (room.len() - at) as u64);
            }
            pointer = pointer.wrapping_add(1);
        }
    }

    /// What is shorter than the register is ignored.
    fn write(&mut self, written: &[u8], mut pointer: u16) -> Result<(), BusError> {
        let mut data = &written[usize::from(self.wire.pointer_bytes)..];
        loop {
            let width = self.registers.width(pointer);
            let Some((value, rest)) = data.split_at_checked(width) else {
                return Ok(());
            };
            let is_checked = self.wire.check_byte && rest.len() == 1;
            if is_checked {
                let covered = written[..written.len() - 1].iter().copied();
                if crc8([self.wire.address << 1].into_iter().chain(covered)) != rest[0] {
                    return REFUSED;
                }
            }
            let is_over = rest.is_empty() || is_checked;
            let value = self.registers.value(value);
            if width == 0
                || !is_over && !self.wire.increments
                || !self
                    .script
                    .written(&mut self.registers, pointer, value, self.now_ns)
            {
                return REFUSED;
            }
            if is_over {
                return Ok(());
            }
            (data, pointer) = (rest, pointer.wrapping_add(1));
        }
    }
}

impl<P: Script<N>, const N: usize> Fixture for Scripted<P, N> {
    fn transfer(&self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let world = &mut *self.0.borrow_mut();
        let (mut written, mut room): (Vec<u8>, &mut [u8]) = (Vec::new(), &mut []);
        for operation in operations {
            match operation {
                Operation::Write(bytes) => written.extend_from_slice(bytes),
                Operation::Read(bytes) => room = bytes,
            }
        }
        world.pass(BYTE_NS * (1 + written.len() as u64 + u64::from(!room.is_empty())));
        if address != world.wire.address || world.now_ns < world.answers_at_ns {
            return REFUSED;
        }
        let Some(pointer) = written.get(..usize::from(world.wire.pointer_bytes)) else {
            return Ok(());
        };
        let pointer = pointer
            .iter()
            .fold(0, |all, byte| all << 8 | u16::from(*byte));
        if !room.is_empty() {
            world.read(&written, pointer, room);
            return Ok(());
        }
        match written.len() > usize::from(world.wire.pointer_bytes) {
            true => world.write(&written, pointer),
            false => Ok(()),
        }
    }

    fn bus_hz(&self) -> u32 {
        1_000_000
    }

    fn now_ns(&self) -> u64 {
        self.0.borrow().now_ns
    }

    fn run_for_ns(&self, ns: u64) {
        self.0.borrow_mut().pass(ns);
    }

    fn apply(&self, channel: u8, sense_nv: i64, rail_nv: i64) {
        let world = &mut *self.0.borrow_mut();
        world.pass(0);
        if let Some(input) = world.inputs.get_mut(usize::from(channel)) {
            *input = Applied { sense_nv, rail_nv };
        }
    }

    fn reset(&self) {
        let world = &mut *self.0.borrow_mut();
        world.script.reset(&mut world.registers, world.now_ns);
        world.answers_at_ns = world.now_ns + u64::from(world.wire.reset_us) * 1_000;
    }

    fn preload(&self, channel: u8, charge: i64, energy: i64) -> bool {
        let world = &mut *self.0.borrow_mut();
        world.pass(0);
        let registers = &mut world.registers;
        world
            .script
            .preload(registers, channel.into(), charge, energy)
    }

    fn preload_scans(&self, scans: u32) -> bool {
        let world = &mut *self.0.borrow_mut();
        world.pass(0);
        world.script.preload_scans(&mut world.registers, scans)
    }

    fn is_low(&self, output: Outputs) -> Option<bool> {
        let world = self.0.borrow();
        Some(world.script.low(&world.registers)?.intersects(output))
    }
}
