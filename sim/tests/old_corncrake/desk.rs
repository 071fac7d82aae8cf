//! A bench with one part on it, and transfers in the datasheet's terms.

use core::time::Duration;

use crake_sim::{
    bench::{Bench, Wire},
    bus::Speed,
    old::corncrake::{Corncrake, Part},
    plant::{Means, Plant, Truth},
};

pub(crate) use crate::old_corncrake::common::plants::{Steady, ohm};

pub(crate) const ADDRESS: u8 = 0x32;
pub(crate) const CONVERSION_NS: u64 = 62_500;

/// Codes that follow each other conversion by conversion: the n-th window that is asked for shows
/// entry n of its list, the last one for ever. With a resistor of 1 Ω, the coarse sense range and
/// bus range 0.
pub(crate) struct Listed {
    codes: Vec<i64>,
    asked: usize,
}

impl Listed {
    /// Entries alternate between sense and bus, as the conversions of a channel do.
    pub(crate) fn new(codes: &[i64]) -> Self {
        Self {
            codes: codes.to_vec(),
            asked: 0,
        }
    }
}

impl Plant for Listed {
    fn window(&mut self, _: u64, _: u64) -> Means {
        let code = self.codes[self.asked.min(self.codes.len() - 1)] as f64;
        self.asked += 1;
        Means {
            current_na: code * 500.0,
            voltage_nv: code * 100_000.0,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

/// Check byte of SMBus, bit by bit, written apart from the model's.
pub(crate) fn check(bytes: &[u8]) -> u8 {
    let mut crc = 0_u8;
    for byte in bytes {
        for bit in (0..8).rev() {
            let feedback = (crc >> 7) ^ (byte >> bit & 1);
            crc = crc << 1 ^ if feedback == 1 { 0x07 } else { 0 };
        }
    }
    crc
}

pub(crate) struct Desk {
    pub(crate) bench: Bench,
    pub(crate) part: Part,
    pub(crate) wire: Wire,
    address: u8,
}

impl Desk {
    /// An ideal part on the fastest bus.
    pub(crate) fn ideal() -> Self {
        Self::with(&Bench::new(0), Corncrake::ideal(ADDRESS))
    }

    pub(crate) fn with(bench: &Bench, order: Corncrake) -> Self {
        bench.set_bus_speed(Speed::FastPlus);
        let address = order.address();
        let part = bench.part(order).expect("a free address");
        Self {
            bench: bench.clone(),
            part,
            wire: bench.wire(),
            address,
        }
    }

    pub(crate) fn steady(&self, channel: usize, sense_nv: f64, bus_nv: f64) {
        let plant = Steady {
            current_na: sense_nv,
            voltage_nv: bus_nv,
        };
        self.part.rail(channel, plant, ohm()).expect("channel");
    }

    pub(crate) fn listed(&self, channel: usize, codes: &[i64]) {
        self.part
            .rail(channel, Listed::new(codes), ohm())
            .expect("channel");
    }

    pub(crate) fn run_conversions(&self, conversions: u64) {
        self.bench
            .run_for(Duration::from_nanos(conversions * CONVERSION_NS));
    }

    /// Bytes after the address; acknowledges, the address' among them.
    pub(crate) fn raw_write(&self, bytes: &[u8]) -> Vec<bool> {
        self.wire.start();
        let mut acknowledged = vec![self.wire.send(self.address << 1)];
        acknowledged.extend(bytes.iter().map(|&byte| self.wire.send(byte)));
        self.wire.stop();
        acknowledged
    }

    /// A write with its check byte, every byte acknowledged.
    pub(crate) fn write(&self, pointer: u8, data: &[u8]) {
        let acknowledged = self.raw_write(&self.with_check(pointer, data));
        assert!(
            acknowledged.iter().all(|&yes| yes),
            "write {data:02X?} to {pointer:#04x}: {acknowledged:?}"
        );
    }

    /// A write whose last data byte must be refused; the check byte is not sent.
    pub(crate) fn refuse(&self, pointer: u8, data: &[u8]) {
        let mut bytes = vec![pointer];
        bytes.extend(data);
        let acknowledged = self.raw_write(&bytes);
        let (last, before) = acknowledged.split_last().expect("bytes");
        assert!(
            before.iter().all(|&yes| yes) && !last,
            "write {data:02X?} to {pointer:#04x}: {acknowledged:?}"
        );
    }

    /// Pointer and data, with the check byte that belongs to them behind.
    pub(crate) fn with_check(&self, pointer: u8, data: &[u8]) -> Vec<u8> {
        let mut bytes = vec![self.address << 1, pointer];
        bytes.extend(data);
        bytes.push(check(&bytes));
        bytes.remove(0);
        bytes
    }

    /// Selects a register and reads bytes without judging them.
    pub(crate) fn raw_read(&self, pointer: u8, count: usize) -> Vec<u8> {
        self.wire.start();
        assert!(self.wire.send(self.address << 1));
        assert!(self.wire.send(pointer));
        self.read_on(count)
    }

    /// Reads without a pointer.
    pub(crate) fn read_on(&self, count: usize) -> Vec<u8> {
        self.wire.start();
        assert!(self.wire.send(self.address << 1 | 1));
        let bytes = (1..=count).map(|i| self.wire.receive(i < count)).collect();
        self.wire.stop();
        bytes
    }

    /// A register's data; the check byte must be right.
    pub(crate) fn read(&self, pointer: u8, width: usize) -> Vec<u8> {
        let mut bytes = self.raw_read(pointer, width + 1);
        let check_byte = bytes.pop();
        let mut covered = vec![self.address << 1, pointer, self.address << 1 | 1];
        covered.extend(&bytes);
        assert_eq!(
            check_byte,
            Some(check(&covered)),
            "check byte of {pointer:#04x}"
        );
        bytes
    }

    /// A register as an unsigned number.
    pub(crate) fn unsigned(&self, pointer: u8, width: usize) -> u64 {
        self.read(pointer, width)
            .iter()
            .fold(0, |value, &byte| value << 8 | u64::from(byte))
    }

    /// A register as a signed number, sign-extended from its whole bytes.
    pub(crate) fn signed(&self, pointer: u8, width: usize) -> i64 {
        let spare = 64 - 8 * width as u32;
        (self.unsigned(pointer, width) << spare) as i64 >> spare
    }

    pub(crate) fn latch(&self, tag: u8, seen: u8) {
        self.write(0x03, &[tag, seen]);
    }

    pub(crate) fn run(&self, mode: u8, tag: u8, seen: u8) {
        self.write(0x04, &[mode, tag, seen]);
    }

    pub(crate) fn frame(&self) -> Frame {
        Frame(self.read(0x80, 111))
    }

    pub(crate) fn state(&self) -> u8 {
        self.read(0x02, 1)[0]
    }
}

/// The latched block as it was read.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Frame(pub Vec<u8>);

impl Frame {
    pub(crate) fn tag(&self) -> u8 {
        self.0[0]
    }

    pub(crate) fn serial(&self) -> u64 {
        self.field(1, 2)
    }

    pub(crate) fn mode(&self) -> u8 {
        self.0[3]
    }

    pub(crate) fn set_up(&self) -> u8 {
        self.0[4]
    }

    pub(crate) fn flags(&self) -> u64 {
        self.field(7, 2)
    }

    pub(crate) fn rounds(&self) -> u64 {
        self.field(9, 4)
    }

    fn field(&self, offset: usize, width: usize) -> u64 {
        self.0[offset..offset + width]
            .iter()
            .fold(0, |value, &byte| value << 8 | u64::from(byte))
    }
}
