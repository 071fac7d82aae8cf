//! Whinchat as a register file, from the tables above.

use crake::config::Outputs;
use crake_sim::conformance::{Applied, Registers, Wire};

use super::Habit::{self, *};

pub(super) fn wire(habit: Habit) -> Wire {
    Wire {
        address: 0x2C,
        pointer_bytes: if habit == AutoIncrement { 2 } else { 1 },
        low_first: habit == LowByteFirst,
        check_byte: habit == CheckByte,
        increments: habit == AutoIncrement,
        reset_us: 300,
    }
}

pub(super) struct Script<const N: usize> {
    habit: Habit,
    conversion_ns: u64,
    period_ns: u64,
    /// When conversions began, and how many are done.
    begun: Option<(u64, u64)>,
    setup: u64,
    sums: [(i64, i64); N],
    over: u64,
}

impl<const N: usize> Script<N> {
    pub(super) fn new(habit: Habit, oscillator_ppm: i32) -> Self {
        let of = |ns: i64| (ns * 1_000_000 / (1_000_000 + i64::from(oscillator_ppm))) as u64;
        Self {
            habit,
            conversion_ns: of(100_000),
            period_ns: of(2_000_000),
            begun: None,
            setup: 0,
            sums: [(0, 0); N],
            over: 0,
        }
    }

    /// Whether it converts by itself.
    fn runs(&self) -> bool {
        matches!(self.habit, FreeRunning | OverRangeRead) || self.setup & 0x1000 != 0
    }

    fn begin(&mut self, registers: &mut Registers, now_ns: u64) {
        self.setup = registers.get(0x01) & 0x7FFF;
        if self.channels().is_empty() {
            return;
        }
        self.begun = Some((now_ns, 0));
        (self.sums, self.over) = ([(0, 0); N], 0);
        registers.set(0x03, 2, registers.get(0x03) as i64 & !2 | 1);
    }

    fn channels(&self) -> Vec<usize> {
        (0..N)
            .filter(|channel| self.setup >> channel & 1 == 1)
            .collect()
    }

    /// When the conversion of this number ends.
    fn end_ns(&self, began_ns: u64, number: u64) -> u64 {
        let scan = 2 * self.channels().len() as u64;
        let conversions = match self.runs() {
            true => (number % scan + 1) * self.conversion_ns + number / scan * self.period_ns,
            false => (number + 1) * self.conversion_ns,
        };
        began_ns + 50_000 + conversions
    }

    fn convert(&mut self, registers: &mut Registers, inputs: &[Applied; N], number: u64) {
        let channels = self.channels();
        let (k, scan) = (self.setup >> 8 & 0xF, 2 * channels.len() as u64);
        let channel = channels[(number % scan / 2) as usize];
        let is_rail = number % 2 == 1;
        let [sense_lsb, rail_lsb, sense_max, rail_max] = match self.habit {
            JustifiedLeft => [12_000, 4_400_000, 2_047, 4_095],
            _ => [3_000, 1_100_000, 32_767, 32_767],
        };
        let (nv, lsb, least, most) = match is_rail {
            true => (inputs[channel].rail_nv, rail_lsb, 0, rail_max),
            false if self.habit == SignAndMagnitude => {
                (inputs[channel].sense_nv, sense_lsb, -sense_max, sense_max)
            }
            false => (
                inputs[channel].sense_nv,
                sense_lsb,
                -sense_max - 1,
                sense_max,
            ),
        };
        let exact = (2 * nv + lsb).div_euclid(2 * lsb);
        let code = exact.clamp(least, most);
        let bit = 2 + 2 * channel + usize::from(is_rail);
        if code != exact && !(is_rail && exact < 0) {
            self.over |= 1 << bit;
        } else if (number < scan || self.runs()) && self.habit != OverRangeRead {
            self.over &= !(1 << bit);
        }
        match is_rail {
            true => self.sums[channel].1 += code,
            false => self.sums[channel].0 += code,
        }
        let limit = decoded(self.habit, registers.get(0x30 + channel as u16));
        let compared = match self.habit {
            NoComparator => false,
            ClearedByReading => is_rail,
            _ => !is_rail,
        };
        if compared && code > limit {
            registers.set(0x08, 2, registers.get(0x08) as i64 | 1 << channel);
        }
        if self.runs() && (number + 1).is_multiple_of(scan) || number + 1 == scan << k {
            for (channel, (sense, rail)) in (0..).zip(self.sums) {
                let mean = |sum: i64| (sum + (1 << k >> 1)) >> k;
                registers.set(0x10 + 2 * channel, 2, encoded(self.habit, mean(sense)));
                let rail = if self.habit == JustifiedLeft {
                    mean(rail) << 4
                } else {
                    mean(rail)
                };
                registers.set(0x11 + 2 * channel, 2, rail);
            }
            let over = if self.habit == EndCode { 0 } else { self.over };
            registers.set(0x03, 2, over as i64 | 2);
            registers.set(0x01, 2, self.setup as i64);
            self.sums = [(0, 0); N];
            if !self.runs() {
                self.begun = None;
            }
        }
    }
}

/// A sense code as a register has it.
fn encoded(habit: Habit, code: i64) -> i64 {
    match habit {
        SignAndMagnitude if code < 0 => 0x8000 | -code,
        JustifiedLeft => code << 4,
        _ => code,
    }
}

fn decoded(habit: Habit, word: u64) -> i64 {
    match habit {
        SignAndMagnitude if word & 0x8000 != 0 => -((word & 0x7FFF) as i64),
        JustifiedLeft => i64::from(word as i16 >> 4),
        _ => i64::from(word as i16),
    }
}

impl<const N: usize> crake_sim::conformance::Script<N> for Script<N> {
    fn reset(&mut self, registers: &mut Registers, _: u64) {
        (self.begun, self.setup) = (None, 0);
        let setup = if self.habit == ResetIsWanted {
            (1 << N) - 1
        } else {
            0
        };
        for (pointer, value) in [
            (0x00, 0x51A7),
            (0x01, setup),
            (0x02, 0),
            (0x03, 0),
            (0x08, 0),
            (0x09, 0),
        ] {
            registers.set(pointer, 2, value);
        }
        for channel in 0..N as u16 {
            registers.set(0x10 + 2 * channel, 2, 0);
            registers.set(0x11 + 2 * channel, 2, 0);
            registers.set(0x30 + channel, 2, 0x7FFF);
        }
    }

    fn live(&mut self, registers: &mut Registers, inputs: &[Applied; N], now_ns: u64) {
        while let Some((began_ns, number)) = self.begun {
            if self.end_ns(began_ns, number) > now_ns {
                break;
            }
            self.begun = Some((began_ns, number + 1));
            self.convert(registers, inputs, number);
        }
    }

    fn written(
        &mut self,
        registers: &mut Registers,
        pointer: u16,
        value: u64,
        now_ns: u64,
    ) -> bool {
        match pointer {
            0x01 if self.begun.is_some() && !self.runs() => return true,
            0x01 => {
                let setup = value & 0x9FFF;
                registers.set(0x01, 2, setup as i64);
                if self.habit == BothModes {
                    (self.begun, self.setup) = (None, setup);
                }
                let starts = match self.habit {
                    OneRegister => setup & 0x8000 != 0,
                    FreeRunning | OverRangeRead => setup != 0,
                    BothModes => setup & 0x1000 != 0,
                    _ => false,
                };
                if starts {
                    self.begin(registers, now_ns);
                }
            }
            0x02 if self.habit != OneRegister && value == 1 && !self.runs() => {
                self.begin(registers, now_ns);
            }
            0x08 => {
                let cleared = registers.get(0x08) & !value;
                registers.set(0x08, 2, cleared as i64);
            }
            0x09 | 0x30.. => registers.set(pointer, 2, value as i64),
            _ => return false,
        }
        true
    }

    fn read(&mut self, registers: &mut Registers, pointer: u16, _: u64) {
        match (pointer, self.habit) {
            (0x08, ClearedByReading) => registers.set(0x08, 2, 0),
            // With those that its next scan was to tell.
            (0x03, OverRangeRead) => {
                registers.set(0x03, 2, registers.get(0x03) as i64 & 3);
                self.over = 0;
            }
            _ => {}
        }
    }

    fn low(&self, registers: &Registers) -> Option<Outputs> {
        match registers.get(0x08) & registers.get(0x09) {
            0 => Some(Outputs::empty()),
            _ => Some(Outputs::A),
        }
    }
}
