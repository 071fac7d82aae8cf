//! A Corncrake without physics: registers and frame block by the datasheet, running sums and time set by the test.

use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{
    Clock, Mode, Monitor, Ranges, Setup,
    board::{Board, Load, Rail, Shunt},
    part::corncrake::{self, Corncrake},
    part::{BusRange, SenseRange},
};
use embedded_hal::{
    delay::DelayNs,
    i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation},
};
use std::{cell::RefCell, collections::BTreeMap, rc::Rc};

pub const ADDRESS: u8 = 0x32;

const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);

/// What the part holds and where the host's clock stands. Section numbers are those of the datasheet.
#[derive(Debug)]
pub struct World {
    pub now_us: u64,
    /// How long a write takes on the host's clock: the bracket of a latch.
    pub write_us: u64,
    pub serial: u16,
    pub rounds: u64,
    /// When the block was copied last.
    pub latched_us: u64,
    /// Sums since the reset, unwrapped; the block shows them modulo their widths (section 4).
    pub charge: [i128; 4],
    pub energy: [i128; 4],
    pub sense: [i32; 4],
    pub bus: [u16; 4],
    /// Flags of section 5; bit 14 (complete) is raised by the test.
    pub flags: u16,
    pub identity: [u8; 4],
    /// Writes to this register are not acknowledged.
    pub refuse: Option<u8>,
    /// Set-up in force: mode, channels and averaging, ranges.
    pub active: (u8, u8, u16),
    registers: BTreeMap<u8, Vec<u8>>,
    block: Vec<u8>,
}

/// The world as bus, delay and clock see it.
#[derive(Clone, Debug)]
pub struct Handle(pub Rc<RefCell<World>>);

pub type TestMonitor<'b, const N: usize> = Monitor<'b, Handle, Handle, Handle, Corncrake, N>;

impl Handle {
    pub fn new() -> Self {
        let mut world = World {
            now_us: 1_000_000,
            write_us: 100,
            serial: 0,
            rounds: 0,
            latched_us: 0,
            charge: [0; 4],
            energy: [0; 4],
            sense: [0; 4],
            bus: [0; 4],
            flags: 0,
            identity: [0x9E, 0x37, 0xC4, 0x01],
            refuse: None,
            active: (0, 0, 0),
            registers: BTreeMap::new(),
            block: Vec::new(),
        };
        world.reset();
        Self(Rc::new(RefCell::new(world)))
    }

    pub fn monitor<'b, const N: usize>(&self, board: &'b Board<N>) -> TestMonitor<'b, N> {
        let part = Corncrake::new();
        Monitor::new(
            self.clone(),
            self.clone(),
            self.clone(),
            part,
            ADDRESS,
            board,
        )
    }

    pub fn change<R>(&self, change: impl FnOnce(&mut World) -> R) -> R {
        change(&mut self.0.borrow_mut())
    }

    /// `rounds` rounds of these codes on every enabled channel, while `us` pass on the host's clock.
    pub fn run(&self, rounds: u64, us: u64, sense: [i32; 4], bus: [u16; 4]) {
        self.change(|world| {
            world.now_us += us;
            world.rounds += rounds;
            for channel in 0..4 {
                if world.active.1 >> channel & 1 == 0 {
                    continue;
                }
                let (s, b) = (i128::from(sense[channel]), i128::from(bus[channel]));
                world.charge[channel] += s * i128::from(rounds);
                world.energy[channel] += s * b * i128::from(rounds);
            }
            (world.sense, world.bus) = (sense, bus);
        });
    }
}

impl World {
    /// Section 3, column "reset", and the block of section 10.2.
    pub fn reset(&mut self) {
        self.serial = 0;
        self.rounds = 0;
        (self.charge, self.energy) = ([0; 4], [0; 4]);
        (self.sense, self.bus) = ([0; 4], [0; 4]);
        self.flags = 0x8000;
        self.active = (0, 0x0F, 0x2222);
        self.registers = BTreeMap::from([
            (0x05, vec![0x0F]),
            (0x06, vec![0x22, 0x22]),
            (0x07, vec![0]),
            (0x08, vec![0]),
        ]);
        self.copy(0);
    }

    /// Section 5.
    fn copy(&mut self, tag: u8) {
        let mut block = vec![tag];
        block.extend(self.serial.to_be_bytes());
        let (mode, setup, ranges) = self.active;
        block.extend([mode, setup]);
        block.extend(ranges.to_be_bytes());
        block.extend(self.flags.to_be_bytes());
        block.extend(((self.rounds & 0x0FFF_FFFF) as u32).to_be_bytes());
        for channel in 0..4 {
            let (sense, bus) = (self.sense[channel], self.bus[channel]);
            block.extend(&sense.to_be_bytes()[1..]);
            block.extend(bus.to_be_bytes());
            block.extend(&(i64::from(sense) * i64::from(bus)).to_be_bytes()[3..]);
            block.extend(&wrapped(self.charge[channel], 44).to_be_bytes()[2..]);
            block.extend(wrapped(self.energy[channel], 60).to_be_bytes());
        }
        block.extend(GENIBUS.checksum(&block).to_be_bytes());
        assert_eq!(block.len(), 111);
        self.block = block;
        self.latched_us = self.now_us;
        self.flags &= 0xFF00;
    }

    /// A write by somebody else.
    pub fn write(&mut self, pointer: u8, data: &[u8]) {
        self.written(pointer, data).expect("not refused");
    }

    fn written(&mut self, pointer: u8, data: &[u8]) -> Result<(), ErrorKind> {
        if self.refuse == Some(pointer) {
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data));
        }
        match pointer {
            0x03 if data[0] != self.block[0] => self.copy(data[0]),
            0x04 if data[1] != self.block[0] => {
                self.serial = self.serial.wrapping_add(1);
                self.copy(data[1]);
                let [channels, averaging] = [self.registers[&5][0], self.registers[&7][0]];
                let ranges = u16::from_be_bytes([self.registers[&6][0], self.registers[&6][1]]);
                self.active = (data[0], channels | averaging << 4, ranges);
                // Complete at once: the tests that care lower the flag themselves.
                self.flags |= 0x4000;
            }
            0x03 | 0x04 => {}
            0x05..=0x08 => {
                self.serial = self.serial.wrapping_add(1);
                self.registers.insert(pointer, data.to_vec());
            }
            0x09 => self.reset(),
            0x0A => self.flags &= 0x7FFF,
            _ => panic!("write to 0x{pointer:02X}"),
        }
        Ok(())
    }
}

/// Two's complement of so many bits, sign-extended.
fn wrapped(sum: i128, bits: u32) -> i64 {
    let span = 1_i128 << bits;
    let folded = sum.rem_euclid(span);
    i64::try_from(if folded >= span / 2 {
        folded - span
    } else {
        folded
    })
    .expect("at most 60 bits")
}

impl ErrorType for Handle {
    type Error = ErrorKind;
}

impl I2c for Handle {
    fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        assert_eq!(address, ADDRESS);
        let (check, body) = bytes.split_last().expect("a pointer");
        assert_eq!(PEC.checksum(&[&[address << 1], body].concat()), *check);
        let mut world = self.0.borrow_mut();
        world.now_us += world.write_us;
        world.written(body[0], &body[1..])
    }

    fn write_read(&mut self, address: u8, bytes: &[u8], room: &mut [u8]) -> Result<(), ErrorKind> {
        assert_eq!(address, ADDRESS);
        let world = self.0.borrow();
        let pointer = bytes[0];
        let mut data = match pointer {
            0x00 => world.identity.to_vec(),
            0x01 => world.serial.to_be_bytes().to_vec(),
            0x80..=0xEE => world.block[usize::from(pointer - 0x80)..].to_vec(),
            _ => world.registers[&pointer].clone(),
        };
        let head = [address << 1, pointer, address << 1 | 1];
        data.push(PEC.checksum(&[&head[..], &data].concat()));
        room.copy_from_slice(&data[..room.len()]);
        Ok(())
    }

    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        panic!("the driver does with write and write_read")
    }
}

impl DelayNs for Handle {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().now_us += u64::from(ns.div_ceil(1000));
    }
}

impl Clock for Handle {
    fn now_us(&mut self) -> u64 {
        self.0.borrow().now_us
    }
}

/// A rail of which nothing is declared but its resistor and its greatest current.
pub fn rail(nanoohms: u64, greatest: Current) -> Rail {
    let shunt = Shunt::new(Resistance::from_nanoohms(nanoohms), Tolerance::ZERO);
    Rail::new(shunt, Load::smooth(greatest))
}

pub fn board<const N: usize>(rails: [Rail; N]) -> Board<N> {
    Board::new(&corncrake::SPEC, rails).expect("resistances within limits")
}

pub const fn ranges(sense: SenseRange, bus: BusRange) -> Ranges {
    Ranges { sense, bus }
}

/// All channels in the coarsest ranges at the fastest pace.
pub const fn coarse<const N: usize>() -> Setup<N> {
    let ranges = ranges(corncrake::SENSE_65_MV, corncrake::BUS_65_V);
    Setup::all(ranges, Mode::Paced(corncrake::PACE_2000))
}
