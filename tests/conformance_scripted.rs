//! The kit on a scripted register file: Flufftail, the part of docs/porting.md, written down a second time as what its registers do, with no model and no bench.

use crake::alert::{Kind, Outputs};
use crake_sim::conformance::{
    Applied, Outcome, Registers, Script, Scripted, Stated, StatedRange, Subject, check,
};

#[path = "../examples/porting/flufftail.rs"]
mod flufftail;

#[test]
fn flufftail_conforms_on_a_register_file() {
    let report = check(&Flufftail::whole());
    report.assert();
    let left_out: Vec<_> = report
        .results
        .iter()
        .filter(|result| matches!(result.outcome, Outcome::NotApplicable(_)))
        .map(|result| result.name)
        .collect();
    assert_eq!(
        left_out,
        [
            "averaging",
            "burst",
            "rollover-charge",
            "rollover-energy",
            "rollover-rounds",
            "rollover-ahead",
            "block-check"
        ]
    );
}

/// The register file is itself worth something: a part that compares with `>=` is not taken for the one of the guide.
#[test]
fn a_part_that_is_not_the_datasheets_is_found_out() {
    let wrong = Flufftail {
        trips_at_limit: true,
    };
    let report = check(&wrong);
    let failed: Vec<_> = report.failed().map(|(name, _)| name).collect();
    assert_eq!(failed, ["limit-at-code-boundary"], "{report}");
}

/// The part of the guide, or one with another comparison.
struct Flufftail {
    trips_at_limit: bool,
}

impl Flufftail {
    const fn whole() -> Self {
        Self {
            trips_at_limit: false,
        }
    }
}

const ADDRESS: u8 = 0x3B;

impl Subject<3> for Flufftail {
    type Part = flufftail::Flufftail;
    type Desk = Scripted<File, 3>;

    fn stated(&self) -> Stated {
        Stated {
            channels: 3,
            sense: &[
                range(81_920_000, 1 << 15, (1 << 15) - 1),
                range(16_384_000, 1 << 15, (1 << 15) - 1),
            ],
            bus: &[range(32_768_000_000, 1 << 14, (1 << 14) - 1)],
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
        ADDRESS
    }

    fn map(&self) -> flufftail::Flufftail {
        flufftail::Flufftail::new()
    }

    fn desk(&self, oscillator_ppm: i32) -> Scripted<File, 3> {
        let file = File {
            conversion_ns: (100_000_000_000 / (1_000_000 + i64::from(oscillator_ppm))) as u64,
            trips_at_limit: self.trips_at_limit,
            begun_ns: None,
            done: 0,
            results: [(0, 0); 3],
        };
        Scripted::new(ADDRESS, true, 400, file)
    }
}

const fn range(full_scale_nv: u64, full_scale_codes: u32, code_max: u32) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes,
        code_max,
    }
}

/// What the registers of Flufftail do.
struct File {
    conversion_ns: u64,
    trips_at_limit: bool,
    /// When BEGIN was written, while it converts.
    begun_ns: Option<u64>,
    /// Conversions of the six that have ended, sense and bus of each channel in turn.
    done: u64,
    /// SENSE and BUS of each channel, not shown yet.
    results: [(u16, u16); 3],
}

impl Script<3> for File {
    fn reset(&mut self, registers: &mut Registers, _now_ns: u64) {
        (self.begun_ns, self.done) = (None, 0);
        let words = [
            (0x00, 0x6D3B_u16),
            (0x04, 0),
            (0x05, 0),
            (0x06, 0),
            (0x08, 0),
            (0x0C, 0),
        ];
        let words = words.into_iter().chain([(0x24, 0), (0x25, 0)]);
        let of_channels = (0..3).flat_map(|k| [(0x10 + k, 0), (0x18 + k, 0), (0x20 + k, 0x7FFF)]);
        for (pointer, word) in words.chain(of_channels) {
            registers.set(pointer, &word.to_be_bytes());
        }
    }

    fn live(&mut self, registers: &mut Registers, inputs: &[Applied; 3], now_ns: u64) {
        let Some(begun_ns) = self.begun_ns else {
            return;
        };
        while self.done < 6 && begun_ns + 50_000 + (self.done + 1) * self.conversion_ns <= now_ns {
            let channel = (self.done / 2) as usize;
            if self.done.is_multiple_of(2) {
                self.sense(registers, channel, inputs[channel].sense_nv);
            } else {
                self.bus(channel, inputs[channel].bus_nv);
            }
            self.done += 1;
        }
        if self.done == 6 {
            self.begun_ns = None;
            for (channel, (sense, bus)) in (0..).zip(self.results) {
                registers.set(0x10 + channel, &sense.to_be_bytes());
                registers.set(0x18 + channel, &bus.to_be_bytes());
            }
            let count = registers.get(0x06)[0].wrapping_add(1);
            registers.set(0x06, &[count, 0]);
        }
    }

    fn written(
        &mut self,
        registers: &mut Registers,
        pointer: u8,
        bytes: &[u8],
        now_ns: u64,
    ) -> bool {
        let word = u16::from_be_bytes([bytes[0], bytes[1]]);
        match pointer {
            0x05 if word == 1 && self.begun_ns.is_none() => {
                (self.begun_ns, self.done) = (Some(now_ns), 0);
                let count = registers.get(0x06)[0];
                registers.set(0x06, &[count, 1]);
            }
            0x0C if word == 0xB0A7 => self.reset(registers, now_ns),
            0x24 => {
                let causes = number(registers, 0x24) & !word;
                registers.set(0x24, &causes.to_be_bytes());
            }
            0x04 | 0x08 | 0x20..=0x22 | 0x25 => registers.set(pointer, bytes),
            _ => {}
        }
        true
    }

    fn low(&self, registers: &Registers) -> Option<Outputs> {
        let low = number(registers, 0x24) & number(registers, 0x25) != 0;
        Some(if low { Outputs::A } else { Outputs::empty() })
    }
}

impl File {
    fn sense(&mut self, registers: &mut Registers, channel: usize, nanovolts: i64) {
        let fine = number(registers, 0x08) >> channel & 1 == 1;
        let lsb = if fine { 500 } else { 2_500 };
        let code = nearest(nanovolts, lsb);
        let kept = code.clamp(-32_768, 32_767) as i16;
        self.results[channel] = (kept as u16, u16::from(code != i64::from(kept)));
        let limit = number(registers, 0x20 + channel as u8) as i16;
        if kept > limit || self.trips_at_limit && kept == limit {
            let causes = number(registers, 0x24) | 1 << channel;
            registers.set(0x24, &causes.to_be_bytes());
        }
    }

    fn bus(&mut self, channel: usize, nanovolts: i64) {
        let code = nearest(nanovolts, 2_000_000);
        let kept = code.clamp(0, 16_383);
        let sense_clipped = self.results[channel].1;
        self.results[channel].1 = (kept as u16) << 2 | u16::from(code > kept) << 1 | sense_clipped;
    }
}

fn number(registers: &Registers, pointer: u8) -> u16 {
    let bytes = registers.get(pointer);
    u16::from_be_bytes([bytes[0], bytes[1]])
}

/// Halves away from zero.
const fn nearest(nanovolts: i64, lsb: i64) -> i64 {
    (2 * nanovolts + if nanovolts < 0 { -lsb } else { lsb }) / (2 * lsb)
}
