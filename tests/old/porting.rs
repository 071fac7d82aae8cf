//! The part of docs/porting.md: its map against a register file that was written from the guide's
//! datasheet, by the conformance kit; and the guide against its files.

#[path = "../../examples/porting/flufftail.rs"]
mod flufftail;

use crake::old::alert::{Kind, Outputs};
use crake_sim::old::conformance::{
    Applied, Registers, Script, Scripted, Stated, StatedRange, Subject, check,
};
use flufftail::Flufftail;

/// What the kit is given: the map, a fixture, and what the datasheet says.
#[derive(Default)]
struct Subjected {
    /// Not as the datasheet has it: the comparators trip on the limit itself.
    trips_on_limit: bool,
}

impl Subject<3> for Subjected {
    type Part = Flufftail;
    type Desk = Scripted<Fixture, 3>;

    fn stated(&self) -> Stated {
        Stated {
            channels: 3,
            sense: &SENSES,
            bus: &BUSES,
            // Promises of the firmware, and the driver's own sums.
            periods_us: &[2_000, 5_000, 10_000, 25_000, 100_000, 1_000_000, 10_000_000],
            averaging_max: 0,
            energy_bits: 63,
            charge_bits: 63,
            rounds_bits: 32,
            kinds: &[Kind::OverCurrent],
            outputs: Outputs::A,
            debounce_max: 1,
            oscillator_ppm: 20_000,
            check_byte: true,
            block_check: false,
            identity: true,
            serial: true,
            free_running: false,
            remembers_clipping: false,
            rollover_ahead_eighths: 0,
            polls: false,
            burst: 0,
            format_ppm: 0,
        }
    }

    fn address(&self) -> u8 {
        0x3B
    }

    fn map(&self) -> Flufftail {
        Flufftail::new()
    }

    fn desk(&self, oscillator_ppm: i32) -> Self::Desk {
        let conversion_ns = 100_000 * 1_000_000 / (1_000_000 + i64::from(oscillator_ppm));
        let fixture = Fixture {
            conversion_ns: conversion_ns as u64,
            trips_on_limit: self.trips_on_limit,
            ..Fixture::default()
        };
        Scripted::new(0x3B, true, 400, fixture)
    }
}

const SENSES: [StatedRange; 2] = [sense(81_920_000), sense(16_384_000)];
const BUSES: [StatedRange; 1] = [StatedRange {
    full_scale_nv: 32_768_000_000,
    full_scale_codes: 1 << 14,
    code_max: (1 << 14) - 1,
}];

const fn sense(full_scale_nv: u64) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes: 1 << 15,
        code_max: (1 << 15) - 1,
    }
}

const STATE: u8 = 0x06;
const SPANS: u8 = 0x08;
const SENSE: u8 = 0x10;
const BUS: u8 = 0x18;
const LIMIT: u8 = 0x20;
const CAUSES: u8 = 0x24;
const MASK: u8 = 0x25;

/// Flufftail, as its datasheet has it.
#[derive(Default)]
struct Fixture {
    conversion_ns: u64,
    trips_on_limit: bool,
    /// When the conversion in progress of all channels was begun, with SPANS as they were.
    begun: Option<(u64, u16)>,
    /// Results of it so far: sense, bus, sense, bus, …
    results: Vec<u16>,
}

impl Script<3> for Fixture {
    fn reset(&mut self, registers: &mut Registers, _now_ns: u64) {
        (self.begun, self.results) = (None, Vec::new());
        let zeros = (0x10..=0x12).chain(0x18..=0x1A);
        let zeros = zeros.chain([0x04, 0x05, STATE, SPANS, 0x0C, CAUSES, MASK]);
        for pointer in zeros {
            put(registers, pointer, 0);
        }
        put(registers, 0x00, 0x6D3B);
        for channel in 0..3 {
            put(registers, LIMIT + channel, 0x7FFF);
        }
    }

    fn live(&mut self, registers: &mut Registers, inputs: &[Applied; 3], now_ns: u64) {
        let Some((begun_ns, spans)) = self.begun else {
            return;
        };
        for number in self.results.len() as u64..6 {
            let ends_ns = begun_ns + 50_000 + (number + 1) * self.conversion_ns;
            if now_ns < ends_ns {
                return;
            }
            let channel = (number / 2) as u8;
            let input = inputs[usize::from(channel)];
            if number % 2 == 1 {
                self.results.push(self.bus_word(input));
                continue;
            }
            let (code, _) = sense_code(input, spans, channel);
            let limit = i64::from(word(registers, LIMIT + channel) as i16);
            if code > limit || self.trips_on_limit && code == limit {
                let causes = word(registers, CAUSES) | 1 << channel;
                put(registers, CAUSES, causes);
            }
            self.results.push(code as u16);
        }
        let mut words = self.results.drain(..);
        for channel in 0..3 {
            let (sense, bus) = (words.next(), words.next());
            let (_, clipped) = sense_code(inputs[usize::from(channel)], spans, channel);
            put(registers, SENSE + channel, sense.unwrap_or_default());
            put(
                registers,
                BUS + channel,
                bus.unwrap_or_default() | u16::from(clipped),
            );
        }
        drop(words);
        let done = (word(registers, STATE) >> 8).wrapping_add(1) & 0xFF;
        put(registers, STATE, done << 8);
        self.begun = None;
    }

    fn written(
        &mut self,
        registers: &mut Registers,
        pointer: u8,
        bytes: &[u8],
        now_ns: u64,
    ) -> bool {
        let Ok(value) = bytes.try_into().map(u16::from_be_bytes) else {
            return false;
        };
        match pointer {
            0x05 if value == 1 => {
                if self.begun.is_none() {
                    self.begun = Some((now_ns, word(registers, SPANS)));
                    let state = word(registers, STATE) | 1;
                    put(registers, STATE, state);
                }
            }
            0x0C if value == 0xB0A7 => self.reset(registers, now_ns),
            0x04 | LIMIT..=0x22 => put(registers, pointer, value),
            SPANS | MASK => put(registers, pointer, value & 7),
            CAUSES => {
                let causes = word(registers, CAUSES) & !value;
                put(registers, CAUSES, causes);
            }
            _ => return false,
        }
        true
    }

    fn low(&self, registers: &Registers) -> Option<Outputs> {
        let pulled = word(registers, CAUSES) & word(registers, MASK) != 0;
        Some(if pulled { Outputs::A } else { Outputs::empty() })
    }
}

impl Fixture {
    /// Bus code, and whether the bus lay beyond its range.
    fn bus_word(&self, input: Applied) -> u16 {
        let code = rounded(input.bus_nv, 2_000_000);
        let clipped = code > 16_383;
        (code.clamp(0, 16_383) as u16) << 2 | u16::from(clipped) << 1
    }
}

/// Sense code, and whether the input lay beyond its range.
fn sense_code(input: Applied, spans: u16, channel: u8) -> (i64, bool) {
    let lsb_nv = if spans >> channel & 1 == 0 {
        2_500
    } else {
        500
    };
    let code = rounded(input.sense_nv, lsb_nv);
    let within = code.clamp(-32_768, 32_767);
    (within, within != code)
}

/// To nearest, halves up.
fn rounded(nanovolts: i64, lsb_nv: i64) -> i64 {
    (2 * nanovolts + lsb_nv).div_euclid(2 * lsb_nv)
}

fn word(registers: &Registers, pointer: u8) -> u16 {
    registers
        .get(pointer)
        .try_into()
        .map_or(0, u16::from_be_bytes)
}

fn put(registers: &mut Registers, pointer: u8, value: u16) {
    registers.set(pointer, &value.to_be_bytes());
}

#[test]
fn the_map_passes_the_kit() {
    check(&Subjected::default()).assert();
}

/// The fixture is itself worth something: with a part that is not the datasheet's, the kit says
/// where.
#[test]
fn a_part_that_compares_otherwise_is_found_out() {
    let report = check(&Subjected {
        trips_on_limit: true,
    });
    let failed: Vec<_> = report.failed().map(|(name, _)| name).collect();
    assert_eq!(failed, ["limit-at-code-boundary"], "{report}");
}

/// Every piece of Rust in the guide is a piece of one of its two files, line by line; and the map
/// is as short as the guide promises.
#[test]
fn the_guide_is_cut_out_of_its_files() {
    let read = |path: &str| {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
        std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
    };
    let guide = read("docs/porting.md");
    let map = read("examples/porting/flufftail.rs");
    let files = [map.clone(), read("tests/old/porting.rs")];
    let mut pieces = 0;
    for piece in guide.split("```rust\n").skip(1) {
        let piece = piece.split("```").next().expect("a piece that ends");
        assert!(
            files.iter().any(|file| file.contains(piece)),
            "not in the map nor in the test:\n{piece}"
        );
        pieces += 1;
    }
    assert!(pieces >= 10, "{pieces}");
    let code = map.lines().map(str::trim_start);
    let code = code.filter(|line| !line.is_empty() && !line.starts_with("//"));
    assert!(code.count() <= 150, "a map of at most 150 lines of code");
}
