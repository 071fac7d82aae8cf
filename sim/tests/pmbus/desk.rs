//! A bench with one device on it, and transfers in the document's terms.

use core::time::Duration;

use crake_sim::{
    bench::{Bench, Line, Part, Wire},
    bus::Speed,
    part::pmbus::{Description, Device, Model, SmbAlert},
};

use crate::pmbus::common::plants::{Steady, ohm};

pub(crate) const ADDRESS: u8 = 0x58;
pub(crate) const SAMPLE_NS: u64 = 5_000_000;

/// PEC bit by bit, written apart from the model's.
pub(crate) fn pec(bytes: &[u8]) -> u8 {
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
    pub(crate) part: Part<Model>,
    pub(crate) wire: Wire,
    pub(crate) alert: Line,
}

impl Desk {
    /// A Gallinule without errors.
    pub(crate) fn ideal() -> Self {
        Self::of(Description::gallinule())
    }

    /// A device without errors.
    pub(crate) fn of(description: Description) -> Self {
        Self::with(Device::ideal(description, ADDRESS).expect("a sound description"))
    }

    pub(crate) fn with(order: Device) -> Self {
        let bench = Bench::new(0);
        bench.set_bus_speed(Speed::FastPlus);
        let part = bench.part(order).expect("a free address");
        let alert = bench.alert(&part, SmbAlert);
        let wire = bench.wire();
        Self {
            bench,
            part,
            wire,
            alert,
        }
    }

    pub(crate) fn rail(&self, page: usize, volts: f64, amperes: f64) {
        let plant = Steady {
            current_na: amperes * 1e9,
            voltage_nv: volts * 1e9,
        };
        self.part.rail(page, plant, ohm()).expect("page");
    }

    /// Lets every page be sampled, from wherever in the period.
    pub(crate) fn sample(&self) {
        self.bench.run_for(Duration::from_nanos(SAMPLE_NS));
    }

    /// Lets time pass until the middle of page 0's aperture after at least `samples` periods, so
    /// that nothing is updated for half a millisecond.
    pub(crate) fn settle(&self, samples: u64) {
        let period = self.bench.now_ns() / SAMPLE_NS + samples;
        self.bench.run_until(period * SAMPLE_NS + 600_000);
    }

    /// Bytes after the address + write; acknowledges, the address' among them; STOP.
    pub(crate) fn raw_write(&self, bytes: &[u8]) -> Vec<bool> {
        self.wire.start();
        let mut acknowledged = vec![self.wire.send(ADDRESS << 1)];
        acknowledged.extend(bytes.iter().map(|&byte| self.wire.send(byte)));
        self.wire.stop();
        acknowledged
    }

    /// A write with its PEC, every byte acknowledged.
    pub(crate) fn write(&self, command: u8, data: &[u8]) {
        let mut bytes = vec![ADDRESS << 1, command];
        bytes.extend(data);
        bytes.push(pec(&bytes));
        let acknowledged = self.raw_write(&bytes[1..]);
        assert!(
            acknowledged.iter().all(|&yes| yes),
            "write {data:02X?} to {command:02X}: {acknowledged:?}"
        );
    }

    pub(crate) fn write_word(&self, command: u8, word: u16) {
        self.write(command, &word.to_le_bytes());
    }

    pub(crate) fn select(&self, page: u8) {
        self.write(0x00, &[page]);
    }

    /// Command, bytes out, repeated START, bytes in, not judged.
    pub(crate) fn raw_read(&self, command: u8, out: &[u8], count: usize) -> Vec<u8> {
        self.wire.start();
        assert!(self.wire.send(ADDRESS << 1));
        self.wire.send(command);
        out.iter().for_each(|&byte| {
            self.wire.send(byte);
        });
        self.read_on(count)
    }

    /// START, address + read, bytes in, STOP.
    pub(crate) fn read_on(&self, count: usize) -> Vec<u8> {
        self.wire.start();
        assert!(self.wire.send(ADDRESS << 1 | 1));
        let bytes = (1..=count).map(|i| self.wire.receive(i < count)).collect();
        self.wire.stop();
        bytes
    }

    /// A reading whose PEC must be right.
    pub(crate) fn read(&self, command: u8, count: usize) -> Vec<u8> {
        self.call(command, &[], count)
    }

    /// A process call whose PEC must be right.
    pub(crate) fn call(&self, command: u8, out: &[u8], count: usize) -> Vec<u8> {
        let mut bytes = self.raw_read(command, out, count + 1);
        let check = bytes.pop();
        let covered = [&[ADDRESS << 1, command], out, &[ADDRESS << 1 | 1], &bytes].concat();
        assert_eq!(
            check,
            Some(pec(&covered)),
            "PEC of {command:02X}: {bytes:02X?}"
        );
        bytes
    }

    /// A command that is answered as one that is not there: 0xFF and no PEC.
    pub(crate) fn read_nothing(&self, command: u8, out: &[u8]) {
        assert_eq!(
            self.raw_read(command, out, 9),
            [0xFF; 9],
            "{command:02X} {out:02X?}"
        );
    }

    pub(crate) fn byte(&self, command: u8) -> u8 {
        self.read(command, 1)[0]
    }

    pub(crate) fn word(&self, command: u8) -> u16 {
        let bytes = self.read(command, 2);
        u16::from_le_bytes([bytes[0], bytes[1]])
    }

    /// STATUS_CML, which is then cleared.
    pub(crate) fn take_cml(&self) -> u8 {
        let bits = self.byte(0x7E);
        self.write(0x7E, &[bits]);
        bits
    }

    pub(crate) fn mask(&self, register: u8, mask: u8) {
        self.write(0x1B, &[register, mask]);
    }

    pub(crate) fn is_low(&self) -> bool {
        self.part.is_low(SmbAlert)
    }

    pub(crate) fn disturbances(&self) -> Vec<(u8, u64)> {
        self.part
            .with(|model| model.disturbances().clone())
            .into_iter()
            .collect()
    }
}
