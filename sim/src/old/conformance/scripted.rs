//! A fixture for a porter without a model: a register file, and a function from inputs to bytes.

use alloc::{collections::BTreeMap, rc::Rc, vec::Vec};
use core::cell::RefCell;

use crake::old::alert::Outputs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use super::Desk;
use super::probe::{ProbeError, crc8, pec};

/// What is applied to one channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Applied {
    /// Across the sense input, in nanovolts.
    pub sense_nv: i64,
    /// On the bus input, in nanovolts.
    pub bus_nv: i64,
}

/// The registers of a scripted part: pointer (command code) to bytes, in the order in which they are on the wire.
#[derive(Clone, Debug, Default)]
pub struct Registers {
    bytes: BTreeMap<u8, Vec<u8>>,
}

impl Registers {
    /// Bytes of a register; none where there is no such register.
    #[must_use]
    pub fn get(&self, pointer: u8) -> &[u8] {
        self.bytes.get(&pointer).map_or(&[], Vec::as_slice)
    }

    /// Puts bytes into a register, which is made where there is none.
    pub fn set(&mut self, pointer: u8, bytes: &[u8]) {
        self.bytes.insert(pointer, bytes.to_vec());
    }
}

/// What a scripted part does. Times are in nanoseconds of the fixture's clock.
pub trait Script<const N: usize>: 'static {
    /// Puts the registers as they are after a reset; everything else is forgotten as well.
    fn reset(&mut self, registers: &mut Registers, now_ns: u64);

    /// What has happened until now under inputs that have been the same since this was called last: conversions, sums, flags, outputs.
    ///
    /// Called before whatever may change something or look: transfers, changes of input, the end of a stretch of time.
    fn live(&mut self, registers: &mut Registers, inputs: &[Applied; N], now_ns: u64);

    /// The host wrote: changes registers accordingly. `false` refuses the last byte, and nothing may have changed.
    fn written(
        &mut self,
        registers: &mut Registers,
        pointer: u8,
        bytes: &[u8],
        now_ns: u64,
    ) -> bool;

    /// Outputs that are pulled low; `None` where the part has none, or they are not looked at.
    fn low(&self, registers: &Registers) -> Option<Outputs> {
        let _ = registers;
        None
    }
}

/// A register file on a bus of its own, with a clock of its own. Clones are the same fixture.
///
/// A byte takes nine clocks of a 400 kHz bus. A read of a register goes on with 0xFF past its end, or past its check byte; so does one that names no register.
pub struct Scripted<P, const N: usize> {
    world: Rc<RefCell<World<P, N>>>,
}

struct World<P, const N: usize> {
    script: P,
    registers: Registers,
    inputs: [Applied; N],
    address: u8,
    checked: bool,
    now_ns: u64,
    answers_at_ns: u64,
    reset_ns: u64,
}

impl<P: Script<N>, const N: usize> Scripted<P, N> {
    /// A part at this 7-bit address, fresh from reset. `checked`: reads end with a check byte, and writes that carry one have it judged.
    ///
    /// `reset_us` is how long it does not answer after a reset.
    #[must_use]
    pub fn new(address: u8, checked: bool, reset_us: u32, mut script: P) -> Self {
        let mut registers = Registers::default();
        script.reset(&mut registers, 0);
        let world = World {
            script,
            registers,
            inputs: [Applied::default(); N],
            address,
            checked,
            now_ns: 0,
            answers_at_ns: 0,
            reset_ns: u64::from(reset_us) * 1_000,
        };
        Self {
            world: Rc::new(RefCell::new(world)),
        }
    }
}

impl<P: Script<N>, const N: usize> World<P, N> {
    fn pass(&mut self, ns: u64) {
        self.now_ns += ns;
        self.script
            .live(&mut self.registers, &self.inputs, self.now_ns);
    }

    fn transfer(&mut self, written: &[u8], room: &mut [u8]) -> Result<(), ProbeError> {
        let bytes = 1 + written.len() + room.len() + usize::from(!room.is_empty());
        self.pass(bytes as u64 * 9 * BIT_NS);
        if self.now_ns < self.answers_at_ns {
            return Err(refused(NoAcknowledgeSource::Address));
        }
        let Some((pointer, data)) = written.split_first() else {
            return Ok(());
        };
        if !room.is_empty() {
            self.read(*pointer, room);
            return Ok(());
        }
        self.write(*pointer, data)
    }

    fn read(&self, pointer: u8, room: &mut [u8]) {
        let data = self.registers.get(pointer);
        let check = (self.checked && !data.is_empty()).then(|| pec(self.address, &[pointer], data));
        let rest = check.into_iter().chain(core::iter::repeat(0xFF));
        for (place, byte) in room.iter_mut().zip(data.iter().copied().chain(rest)) {
            *place = byte;
        }
    }

    /// A write is complete with the register's width, or one byte more that is the check byte. Shorter ones are ignored.
    fn write(&mut self, pointer: u8, data: &[u8]) -> Result<(), ProbeError> {
        if data.is_empty() {
            return Ok(());
        }
        let width = self.registers.get(pointer).len();
        let data = match data.split_at_checked(width) {
            Some((value, [])) => value,
            Some((value, [check])) if self.checked => {
                let covered = [self.address << 1, pointer]
                    .into_iter()
                    .chain(value.iter().copied());
                if crc8(covered) != *check {
                    return Err(refused(NoAcknowledgeSource::Data));
                }
                value
            }
            Some(_) => return Err(refused(NoAcknowledgeSource::Data)),
            None => return Ok(()),
        };
        let data = data.to_vec();
        if data.is_empty()
            || !self
                .script
                .written(&mut self.registers, pointer, &data, self.now_ns)
        {
            return Err(refused(NoAcknowledgeSource::Data));
        }
        Ok(())
    }
}

impl<P: Script<N>, const N: usize> Desk for Scripted<P, N> {
    type I2c = Self;

    fn i2c(&self) -> Self {
        self.clone()
    }

    fn bus_hz(&self) -> u32 {
        (1_000_000_000 / BIT_NS) as u32
    }

    fn now_ns(&self) -> u64 {
        self.world.borrow().now_ns
    }

    fn run_for_ns(&self, ns: u64) {
        self.world.borrow_mut().pass(ns);
    }

    fn apply(&self, channel: u8, sense_nv: i64, bus_nv: i64) {
        let mut world = self.world.borrow_mut();
        world.pass(0);
        if let Some(input) = world.inputs.get_mut(usize::from(channel)) {
            *input = Applied { sense_nv, bus_nv };
        }
    }

    fn reset(&self) {
        let world = &mut *self.world.borrow_mut();
        world.script.reset(&mut world.registers, world.now_ns);
        world.answers_at_ns = world.now_ns + world.reset_ns;
    }

    fn is_low(&self, output: Outputs) -> Option<bool> {
        let world = self.world.borrow();
        let low = world.script.low(&world.registers)?;
        Some(low.intersects(output))
    }
}

impl<P, const N: usize> Clone for Scripted<P, N> {
    fn clone(&self) -> Self {
        Self {
            world: self.world.clone(),
        }
    }
}

impl<P, const N: usize> ErrorType for Scripted<P, N> {
    type Error = ProbeError;
}

impl<P: Script<N>, const N: usize> I2c for Scripted<P, N> {
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
        let mut world = self.world.borrow_mut();
        if address != world.address {
            return Err(refused(NoAcknowledgeSource::Address));
        }
        world.transfer(&written, room)
    }
}

const fn refused(source: NoAcknowledgeSource) -> ProbeError {
    ProbeError(ErrorKind::NoAcknowledge(source))
}

/// One clock of 400 kHz.
const BIT_NS: u64 = 2_500;
