use crake::old::alert::{Kind, Outputs};
use crake::old::part::corncrake;

use super::{BenchDesk, OnDesk, Stated, StatedRange, Subject};
use crate::bus::Speed;
use crate::old::corncrake::{CHANNELS, Corncrake as Order, Individual, Model, Output};

/// The driver's map of Corncrake against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Corncrake;

impl Subject<CHANNELS> for Corncrake {
    type Part = corncrake::Corncrake;
    type Desk = BenchDesk<Model>;

    /// Sections of docs/old/corncrake-datasheet.md beside each figure.
    fn stated(&self) -> Stated {
        const STATED: Stated = Stated {
            channels: 4, // 1
            sense: &[
                StatedRange::signed(65_536_000, 18), // 3.4, 4
                StatedRange::signed(26_214_400, 18),
            ],
            bus: &[
                StatedRange::unsigned(6_553_600_000, 16),
                StatedRange::unsigned(16_384_000_000, 16),
                StatedRange::unsigned(65_536_000_000, 16),
            ],
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
            free_running: true,
            remembers_clipping: true,  // 3.2
            rollover_ahead_eighths: 6, // 3.6
            polls: false,
            burst: 1_024, // 3.3
            format_ppm: 0,
        };
        STATED
    }

    fn address(&self) -> u8 {
        ADDRESS
    }

    fn map(&self) -> Self::Part {
        corncrake::Corncrake::new()
    }

    fn desk(&self, oscillator_ppm: i32) -> BenchDesk<Model> {
        let ideal = Individual::ideal();
        let individual = Individual {
            conversion_ns: stretched(ideal.conversion_ns, oscillator_ppm),
            ..ideal
        };
        let order = Order::individual(ADDRESS, individual);
        BenchDesk::new(order, Speed::FastPlus).expect("the address of strap 0")
    }
}

/// A nominal time with an oscillator that is fast by so much: nominal over frequency, rounded down.
pub(super) const fn stretched(nominal_ns: u64, oscillator_ppm: i32) -> u64 {
    (nominal_ns as i64 * 1_000_000 / (1_000_000 + oscillator_ppm as i64)) as u64
}

const ADDRESS: u8 = 0x32;

impl OnDesk for Model {
    fn output(output: Outputs) -> Option<Output> {
        match output {
            Outputs::A => Some(Output::A),
            Outputs::B => Some(Output::B),
            _ => None,
        }
    }

    fn set_sums(&mut self, channel: usize, charge: i64, energy: i64) -> bool {
        self.preload(channel, charge, energy)
    }

    fn set_rounds(&mut self, rounds: u32) -> bool {
        self.preload_rounds(rounds);
        true
    }
}
