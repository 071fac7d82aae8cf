use alloc::rc::Rc;

use crake::config::{Kind, Outputs};
use crake::part::moorhen::{self, Address};
use crake::units::Resistance;

use super::{BenchFixture, Fixture, OnBench, OverRange, Stated, StatedRange, Subject};
use crate::part::moorhen::{CHANNELS, Individual, Model, Moorhen as Order, Output};

/// The driver's map of Moorhen against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Moorhen;

impl Moorhen {
    /// What docs/moorhen-datasheet.md says; its sections beside the figures.
    pub const STATED: Stated = Stated {
        channels: 2,
        sense: &[
            StatedRange::signed(73_728_000, 12).errors(6_000, 45_000, 20_000), // 3.2, 4, 6
            StatedRange::signed(18_432_000, 12).errors(6_000, 45_000, 7_000),
        ],
        rail: &[
            StatedRange::unsigned(28_672_000_000, 12).errors(5_000, 14_000_000, 4_000_000),
            StatedRange::unsigned(7_168_000_000, 12).errors(5_000, 5_000_000, 1_200_000),
        ],
        bias_na: 150, // 6
        offset_stability_nv: 2_000,
        periods_us: &[],
        single_shot: true,
        conversion_ns: 170_000, // 5
        oscillator_ppm: 30_000,
        wake_us: 90,
        reset_us: 2_200,
        skew_us: 351,                                      // 340 ÷ 0.97
        kinds: &[&[Kind::OverVoltage, Kind::OverCurrent]], // 3.5
        outputs: Outputs::A,
        over_range: OverRange::WhileItLasts, // 3.4
        identity: true,                      // 3
        tells_reset: true,                   // 3.2
        tells_lost_trigger: true,            // 3.4
        tells_change_while_read: true,
        ..Stated::PLAIN
    };
}

impl Subject<CHANNELS> for Moorhen {
    type Part = moorhen::Moorhen;

    fn stated(&self) -> Stated {
        Self::STATED
    }

    fn map(&self) -> Self::Part {
        moorhen::Moorhen::new(Address::Strap0)
    }

    fn resistor(&self) -> Resistance {
        Resistance::from_ohms(1)
    }

    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture> {
        let ideal = Individual::ideal();
        let ns = ideal.conversion_ns as i64 * 1_000_000 / (1_000_000 + i64::from(oscillator_ppm));
        let conversion_ns = ns as u64;
        let individual = Individual {
            conversion_ns,
            ..ideal
        };
        BenchFixture::of(Order::individual(0x17, individual)).expect("the address of strap 0")
    }
}

impl OnBench for Model {
    fn output(output: Outputs) -> Option<Output> {
        (output == Outputs::A).then_some(Output::Alert)
    }
}
