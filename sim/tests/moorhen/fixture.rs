//! A bench with one part on it, and transfers in the datasheet's terms.

use core::time::Duration;

use crake_sim::{
    bench::{Bench, Part, Wire},
    bus::Speed,
    part::{
        Target,
        moorhen::{Model, Moorhen},
    },
};

use crate::moorhen::{
    common::plants::{Steady, ohm},
    datasheet::{Input, both, command, pointer, timing_ns},
};

pub(crate) const ADDRESS: u8 = 0x17;

pub(crate) struct Fixture {
    pub(crate) bench: Bench,
    pub(crate) part: Part<Model>,
    pub(crate) wire: Wire,
}

impl Fixture {
    /// An ideal part as a reset leaves it.
    pub(crate) fn ideal() -> Self {
        Self::with(&Bench::new(0), Moorhen::ideal(ADDRESS))
    }

    /// An ideal part with both channels enabled.
    pub(crate) fn enabled() -> Self {
        let fixture = Self::ideal();
        fixture.set("CONFIGURATION", both());
        fixture
    }

    /// A part at [`ADDRESS`] on the fastest bus that the datasheet allows.
    pub(crate) fn with(bench: &Bench, order: Moorhen) -> Self {
        bench.set_bus_speed(Speed::Fast);
        Self {
            bench: bench.clone(),
            part: bench.part(order).expect("a free address"),
            wire: bench.wire(),
        }
    }

    /// Voltages at the inputs of a channel, in nanovolts.
    pub(crate) fn steady(&self, channel: usize, sense_nv: f64, rail_nv: f64) {
        let plant = Steady {
            current_na: sense_nv,
            voltage_nv: rail_nv,
        };
        self.part.rail(channel, plant, ohm()).expect("channel");
    }

    /// A voltage at one input that makes this code of an ideal part, nothing at the channel's
    /// other.
    pub(crate) fn show(&self, input: Input, range: usize, code: i64) {
        let nv = code as f64 * input.lsb_nv(range);
        if input.is_sense {
            self.steady(input.channel, nv, 0.0);
        } else {
            self.steady(input.channel, 0.0, nv);
        }
    }

    /// Bytes after the address; acknowledges, the address' among them.
    pub(crate) fn raw_write(&self, bytes: &[u8]) -> Vec<bool> {
        self.wire.start();
        let mut acknowledged = vec![self.wire.send(ADDRESS << 1)];
        acknowledged.extend(bytes.iter().map(|&byte| self.wire.send(byte)));
        self.wire.stop();
        acknowledged
    }

    pub(crate) fn write(&self, pointer: u8, word: u16) {
        let [low, high] = word.to_le_bytes();
        assert_eq!(self.raw_write(&[pointer, low, high]), [true; 4]);
    }

    /// Selects a register and reads bytes.
    pub(crate) fn raw_read(&self, pointer: u8, count: usize) -> Vec<u8> {
        self.wire.start();
        assert!(self.wire.send(ADDRESS << 1));
        assert!(self.wire.send(pointer));
        self.read_on(count)
    }

    /// Reads without a pointer.
    pub(crate) fn read_on(&self, count: usize) -> Vec<u8> {
        self.wire.start();
        assert!(self.wire.send(ADDRESS << 1 | 1));
        let bytes = (1..=count).map(|i| self.wire.receive(i < count)).collect();
        self.wire.stop();
        bytes
    }

    pub(crate) fn read(&self, pointer: u8) -> u16 {
        let bytes = self.raw_read(pointer, 2);
        u16::from(bytes[1]) << 8 | u16::from(bytes[0])
    }

    pub(crate) fn named(&self, name: &str) -> u16 {
        self.read(pointer(name))
    }

    pub(crate) fn set(&self, name: &str, word: u16) {
        self.write(pointer(name), word);
    }

    /// Asks for a single-shot; gives the moment of the STOP.
    pub(crate) fn trigger(&self) -> u64 {
        self.set("TRIGGER", command("TRIGGER"));
        self.bench.now_ns()
    }

    /// The word that a read would bring whose address byte ends at this very moment, past the wire
    /// and without taking time. None if the address is not acknowledged.
    pub(crate) fn peek(&self, pointer: u8) -> Option<u16> {
        self.part.with(|model| {
            model.start();
            if !Target::address(model, ADDRESS << 1) {
                return None;
            }
            model.write(pointer);
            model.start();
            assert!(Target::address(model, ADDRESS << 1 | 1));
            let bytes = [(); 2].map(|()| {
                let byte = model.offer();
                model.settle(byte);
                byte
            });
            model.stop();
            Some(u16::from(bytes[1]) << 8 | u16::from(bytes[0]))
        })
    }

    /// A write whose STOP falls on this very moment, past the wire and without taking time.
    pub(crate) fn poke(&self, name: &str, word: u16) {
        self.part.with(|model| {
            model.start();
            assert!(Target::address(model, ADDRESS << 1));
            for byte in [pointer(name), word as u8, (word >> 8) as u8] {
                assert!(model.write(byte));
            }
            model.stop();
        });
    }

    /// A whole single-shot of two channels of a part with the nominal oscillator.
    pub(crate) fn shoot(&self) {
        let began_ns = self.trigger();
        let length_ns = timing_ns("single-shot of two channels");
        self.bench.run_until(began_ns + length_ns);
    }

    /// The code of an input's result: right-justified, the bits above it as section 3.4 says.
    pub(crate) fn code(&self, input: Input) -> i64 {
        let word = i64::from(self.read(input.result()));
        let (least, greatest) = input.ends();
        // Two's complement in 16 bits where codes have a sign.
        let code = if least < 0 && word >= 32_768 {
            word - 65_536
        } else {
            word
        };
        assert!((least..=greatest).contains(&code), "{word:#06x} {input:?}");
        code
    }

    pub(crate) fn codes(&self) -> [i64; 4] {
        let codes: Vec<_> = Input::all().iter().map(|&i| self.code(i)).collect();
        codes.try_into().expect("four inputs")
    }

    pub(crate) fn run_us(&self, us: u64) {
        self.bench.run_for(Duration::from_micros(us));
    }
}

/// A code in a word of 16 bits, two's complement.
pub(crate) fn word(code: i64) -> u16 {
    code.rem_euclid(65_536) as u16
}
