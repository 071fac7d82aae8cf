use crake::alert::{Kind, Outputs};
use crake::part::moorhen;

use super::corncrake::stretched;
use super::{BenchDesk, OnDesk, Stated, StatedRange, Subject};
use crate::bus::Speed;
use crate::part::moorhen::{CHANNELS, Individual, Model, Moorhen as Order, Output};

/// The driver's map of Moorhen, and what it makes up for it, against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Moorhen;

impl Subject<CHANNELS> for Moorhen {
    type Part = moorhen::Moorhen;
    type Desk = BenchDesk<Model>;

    /// Sections of docs/moorhen-datasheet.md beside each figure.
    fn stated(&self) -> Stated {
        Stated {
            channels: 2, // 1
            sense: &SENSE,
            bus: &BUS,
            // The part has no paces: these are promises of the firmware.
            periods_us: &[2_000, 5_000, 10_000, 25_000, 100_000, 1_000_000, 10_000_000],
            averaging_max: 0, // 1
            // No sums (1): the driver's own.
            energy_bits: 63,
            charge_bits: 63,
            rounds_bits: 32,
            kinds: &[Kind::OverVoltage, Kind::OverCurrent], // 3.6
            outputs: Outputs::A,
            debounce_max: 1,
            oscillator_ppm: 30_000, // 5
            check_byte: false,      // 1
            block_check: false,
            identity: true,            // 3
            serial: true,              // 3.2, MARK
            free_running: false,       // 1
            remembers_clipping: false, // 3.4
            rollover_ahead_eighths: 0,
            polls: false,
            burst: 0,
            format_ppm: 0,
        }
    }

    fn address(&self) -> u8 {
        ADDRESS
    }

    fn map(&self) -> Self::Part {
        moorhen::Moorhen::new()
    }

    fn desk(&self, oscillator_ppm: i32) -> BenchDesk<Model> {
        let ideal = Individual::ideal();
        let individual = Individual {
            conversion_ns: stretched(ideal.conversion_ns, oscillator_ppm),
            ..ideal
        };
        let order = Order::individual(ADDRESS, individual);
        BenchDesk::new(order, Speed::Fast).expect("the address of strap 0")
    }
}

const ADDRESS: u8 = 0x17;

/// Section 3.3: full scales, and section 4: 12 bits signed, 12 bits.
const SENSE: [StatedRange; 2] = [sense(73_728_000), sense(18_432_000)];
const BUS: [StatedRange; 2] = [bus(28_672_000_000), bus(7_168_000_000)];

const fn sense(full_scale_nv: u64) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes: 1 << 11,
        code_max: (1 << 11) - 1,
    }
}

const fn bus(full_scale_nv: u64) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes: 1 << 12,
        code_max: (1 << 12) - 1,
    }
}

impl OnDesk for Model {
    fn output(output: Outputs) -> Option<Output> {
        (output == Outputs::A).then_some(Output::Alert)
    }
}
