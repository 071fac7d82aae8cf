use alloc::rc::Rc;
use core::{cell::Cell, time::Duration};

use crake::alert::{Kind, Outputs};
use crake::part::corncrake;

use super::{Desk, Stated, StatedRange, Subject};
use crate::bench::{Bench, I2c, Part};
use crate::board::SenseResistor;
use crate::bus::Speed;
use crate::part::corncrake::{CHANNELS, Corncrake as Order, Individual, Output};
use crate::plant::{Means, Plant, Truth};

/// The driver's map of Corncrake against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Corncrake;

impl Subject<CHANNELS> for Corncrake {
    type Part = corncrake::Corncrake;
    type Desk = CorncrakeDesk;

    /// Sections of docs/corncrake-datasheet.md beside each figure.
    fn stated(&self) -> Stated {
        Stated {
            channels: 4, // 1
            sense: &SENSE,
            bus: &BUS,
            periods_us: &[500, 2_000, 10_000, 100_000, 1_000_000], // 6
            averaging_max: 10,                                     // 3.4
            energy_bits: 60,                                       // 4
            charge_bits: 44,
            rounds_bits: 28,
            kinds: &Kind::ALL, // 3.6
            outputs: Outputs::A.union(Outputs::B),
            debounce_max: 15,
            oscillator_ppm: 15_000, // 6
            check_byte: true,       // 2.3
            block_check: true,      // 5
            identity: true,         // 3
            serial: true,
            remembers_clipping: true,  // 3.2
            rollover_ahead_eighths: 6, // 3.6
            polls: false,
            burst: 1_024, // 3.3
            format_ppm: 0,
        }
    }

    fn address(&self) -> u8 {
        ADDRESS
    }

    fn map(&self) -> Self::Part {
        corncrake::Corncrake::new()
    }

    fn desk(&self, oscillator_ppm: i32) -> CorncrakeDesk {
        CorncrakeDesk::new(oscillator_ppm)
    }
}

const ADDRESS: u8 = 0x32;

/// Section 3.4: full scales, and 2^17 and 2^16 steps to them; section 4: 18 bits signed, 16 bits.
const SENSE: [StatedRange; 2] = [sense(65_536_000), sense(26_214_400)];
const BUS: [StatedRange; 3] = [bus(6_553_600_000), bus(16_384_000_000), bus(65_536_000_000)];

const fn sense(full_scale_nv: u64) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes: 1 << 17,
        code_max: (1 << 17) - 1,
    }
}

const fn bus(full_scale_nv: u64) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes: 1 << 16,
        code_max: (1 << 16) - 1,
    }
}

/// A bench with an ideal Corncrake whose inputs are set by hand.
#[derive(Clone)]
pub struct CorncrakeDesk {
    bench: Bench,
    part: Part,
    inputs: [Input; CHANNELS],
}

/// Voltages across the sense input and on the bus input, in nanovolts.
type Input = Rc<Cell<(f64, f64)>>;

impl CorncrakeDesk {
    fn new(oscillator_ppm: i32) -> Self {
        let bench = Bench::new(0);
        bench.set_bus_speed(Speed::FastPlus);
        let ideal = Individual::ideal();
        let individual = Individual {
            // Nominal over frequency, rounded towards nominal.
            conversion_ns: (ideal.conversion_ns as i64 * 1_000_000
                / (1_000_000 + i64::from(oscillator_ppm))) as u64,
            ..ideal
        };
        let part = bench
            .part(Order::individual(ADDRESS, individual))
            .expect("the address of strap 0, on a bus of its own");
        let inputs: [Input; CHANNELS] = Default::default();
        for (channel, input) in inputs.iter().enumerate() {
            // One Ω: nanoamperes are nanovolts.
            part.rail(
                channel,
                Held(input.clone()),
                SenseResistor::ideal(1_000_000_000),
            )
            .expect("a channel of the part");
        }
        Self {
            bench,
            part,
            inputs,
        }
    }
}

impl Desk for CorncrakeDesk {
    type I2c = I2c;

    fn i2c(&self) -> I2c {
        self.bench.i2c()
    }

    fn bus_hz(&self) -> u32 {
        1_000_000
    }

    fn now_ns(&self) -> u64 {
        self.bench.now_ns()
    }

    fn run_for_ns(&self, ns: u64) {
        self.bench.run_for(Duration::from_nanos(ns));
    }

    fn apply(&self, channel: u8, sense_nv: i64, bus_nv: i64) {
        // Below 2^53: exact.
        self.inputs[usize::from(channel)].set((sense_nv as f64, bus_nv as f64));
    }

    fn reset(&self) {
        self.part.brown_out();
    }

    fn preload(&self, channel: u8, charge: i64, energy: i64) -> bool {
        self.part.preload(channel.into(), charge, energy).is_ok()
    }

    fn preload_rounds(&self, rounds: u32) -> bool {
        self.part.preload_rounds(rounds);
        true
    }

    fn is_low(&self, output: Outputs) -> Option<bool> {
        let outputs = [(Outputs::A, Output::A), (Outputs::B, Output::B)];
        let wanted = outputs
            .into_iter()
            .filter(|(which, _)| output.contains(*which));
        Some(wanted.into_iter().any(|(_, which)| self.part.is_low(which)))
    }
}

/// Inputs that stay as they are put.
struct Held(Input);

impl Plant for Held {
    fn window(&mut self, _: u64, _: u64) -> Means {
        let (current_na, voltage_nv) = self.0.get();
        Means {
            current_na,
            voltage_nv,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}
