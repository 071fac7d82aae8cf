//! A Dotterel as a register file, from the tables above.

use std::rc::Rc;

use crake::config::Outputs;
use crake_sim::conformance::{Applied, Fixture, Registers, Script, Scripted, Wire};

pub struct Part {
    conversion_ns: u64,
    period_ns: u64,
    /// When the scan in progress began, conversions of it that are done.
    scan: Option<(u64, usize)>,
    pending: bool,
    count: u64,
    charges: [i64; 3],
    /// Of the mean in progress.
    sums: [(i64, i64); 3],
    scans: u64,
    finished: bool,
    means: [(i64, i64); 3],
}

impl Part {
    fn channels(registers: &Registers) -> Vec<usize> {
        (0..3)
            .filter(|c| registers.get(0x05) >> c & 1 == 1)
            .collect()
    }

    fn begin(&mut self, registers: &mut Registers, now_ns: u64) {
        let on = !Self::channels(registers).is_empty();
        self.scan = on.then_some((now_ns + 200_000, 0));
        (self.sums, self.scans, self.finished) = ([(0, 0); 3], 0, false);
        if !on && self.pending {
            self.copy(registers);
        }
    }

    fn copy(&mut self, registers: &mut Registers) {
        self.pending = false;
        registers.set(0x05, 2, (registers.get(0x05) & 0x7FFF) as i64);
        registers.set(0x20, 3, self.count as i64);
        registers.set(0x21, 1, i64::from(self.finished));
        for c in 0..3 {
            registers.set(0x30 + c as u16, 2, self.means[c].0);
            registers.set(0x38 + c as u16, 2, self.means[c].1);
            registers.set(0x40 + c as u16, 5, self.charges[c]);
        }
    }

    fn end_scan(&mut self, registers: &mut Registers) {
        self.count = (self.count + 1) & 0xFF_FFFF;
        self.scans += 1;
        let k = registers.get(0x05) >> 4 & 7;
        if self.scans == 1 << k {
            let mean = |sum: i64| (sum + (1 << k >> 1)) >> k;
            self.means = self.sums.map(|(s, r)| (mean(s), mean(r)));
            (self.sums, self.scans, self.finished) = ([(0, 0); 3], 0, true);
        }
        if self.pending {
            self.copy(registers);
        }
    }
}

impl Script<3> for Part {
    fn reset(&mut self, registers: &mut Registers, now_ns: u64) {
        for (pointer, bytes, value) in [
            (0x02, 2, 0xD07E),
            (0x05, 2, 0x0007),
            (0x09, 1, 0),
            (0x20, 3, 0),
            (0x21, 1, 0),
        ] {
            registers.set(pointer, bytes, value);
        }
        for c in 0..3 {
            registers.set(0x0C + c, 2, 0x1FFF);
            registers.set(0x30 + c, 2, 0);
            registers.set(0x38 + c, 2, 0);
            registers.set(0x40 + c, 5, 0);
        }
        (self.count, self.charges, self.pending) = (0, [0; 3], false);
        self.means = [(0, 0); 3];
        self.begin(registers, now_ns);
    }

    fn live(&mut self, registers: &mut Registers, inputs: &[Applied; 3], now_ns: u64) {
        while let Some((began_ns, done)) = self.scan {
            if began_ns + (done as u64 + 1) * self.conversion_ns > now_ns {
                break;
            }
            let channels = Self::channels(registers);
            let c = channels[done / 2];
            if done % 2 == 0 {
                let code = rounded(inputs[c].sense_nv, 7_000).clamp(-8_192, 8_191);
                self.sums[c].0 += code;
                self.charges[c] += code;
                let limit = (registers.get(0x0C + c as u16) as i64) << 50 >> 50;
                if code > limit {
                    registers.set(0x09, 1, registers.get(0x09) as i64 | 1 << c);
                }
            } else {
                self.sums[c].1 += rounded(inputs[c].rail_nv, 9_000_000).clamp(0, 4_095);
            }
            self.scan = Some((began_ns, done + 1));
            if done + 1 == 2 * channels.len() {
                self.scan = Some((began_ns + self.period_ns, 0));
                self.end_scan(registers);
            }
        }
    }

    fn written(&mut self, registers: &mut Registers, pointer: u16, value: u64, now: u64) -> bool {
        match pointer {
            0x05 => {
                let before = registers.get(0x05);
                self.pending |= value & 0x8000 != 0;
                let latch = if self.pending { 0x8000 } else { 0 };
                registers.set(0x05, 2, (value & 0x0177) as i64 | latch);
                if (before ^ value) & 0x77 != 0 || value & 7 == 0 {
                    self.begin(registers, now);
                }
            }
            0x0C..=0x0E => registers.set(pointer, 2, (value & 0x3FFF) as i64),
            _ => {}
        }
        true
    }

    fn read(&mut self, registers: &mut Registers, pointer: u16, _: u64) {
        if pointer == 0x09 {
            registers.set(0x09, 1, 0);
        }
    }

    fn preload(&mut self, _: &mut Registers, channel: usize, charge: i64, _: i64) -> bool {
        self.charges[channel] = charge;
        true
    }

    fn preload_scans(&mut self, registers: &mut Registers, scans: u32) -> bool {
        self.count = scans.into();
        registers.set(0x20, 3, scans.into());
        true
    }

    fn low(&self, registers: &Registers) -> Option<Outputs> {
        let low = registers.get(0x05) & 0x100 != 0 && registers.get(0x09) != 0;
        Some(if low { Outputs::A } else { Outputs::empty() })
    }
}

fn rounded(nanovolts: i64, lsb_nv: i64) -> i64 {
    (2 * nanovolts + lsb_nv).div_euclid(2 * lsb_nv)
}

pub fn fixture(oscillator_ppm: i32) -> Rc<dyn Fixture> {
    let wire = Wire {
        address: 0x26,
        pointer_bytes: 1,
        low_first: true,
        check_byte: true,
        increments: false,
        reset_us: 600,
    };
    let of = |ns: i64| (ns * 1_000_000 / (1_000_000 + i64::from(oscillator_ppm))) as u64;
    Scripted::fixture(
        wire,
        Part {
            conversion_ns: of(600_000),
            period_ns: of(4_000_000),
            scan: None,
            pending: false,
            count: 0,
            charges: [0; 3],
            sums: [(0, 0); 3],
            scans: 0,
            finished: false,
            means: [(0, 0); 3],
        },
    )
}
