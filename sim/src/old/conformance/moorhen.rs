use crake::old::alert::{Kind, Outputs};
use crake::old::part::moorhen;

use super::corncrake::stretched;
use super::{BenchDesk, OnDesk, Stated, StatedRange, Subject};
use crate::bus::Speed;
use crate::old::moorhen::{CHANNELS, Individual, Model, Moorhen as Order, Output};

/// The driver's map of Moorhen, and what it makes up for it, against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Moorhen;

impl Subject<CHANNELS> for Moorhen {
    type Part = moorhen::Moorhen;
    type Desk = BenchDesk<Model>;

    /// Sections of docs/old/moorhen-datasheet.md beside each figure.
    fn stated(&self) -> Stated {
        const STATED: Stated = Stated {
            channels: 2, // 1
            sense: &[
                StatedRange::signed(73_728_000, 12), // 3.3, 4
                StatedRange::signed(18_432_000, 12),
            ],
            bus: &[
                StatedRange::unsigned(28_672_000_000, 12),
                StatedRange::unsigned(7_168_000_000, 12),
            ],
            kinds: &[Kind::OverVoltage, Kind::OverCurrent], // 3.6
            outputs: Outputs::A,
            oscillator_ppm: 30_000, // 5
            check_byte: false,      // 1
            ..Stated::PLAIN
        };
        STATED
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

impl OnDesk for Model {
    fn output(output: Outputs) -> Option<Output> {
        (output == Outputs::A).then_some(Output::Alert)
    }
}
