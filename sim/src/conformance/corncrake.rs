use alloc::rc::Rc;

use crake::config::{Kind, Outputs};
use crake::part::corncrake::{self, Address};

use super::{BenchFixture, Fixture, OnBench, OverRange, Stated, StatedRange, Subject};
use crate::part::corncrake::{CHANNELS, Corncrake as Order, Individual, Model, Output};

/// The driver's map of Corncrake against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Corncrake;

impl Corncrake {
    /// What docs/corncrake-datasheet.md says; its sections beside the figures.
    pub const STATED: Stated = Stated {
        channels: 4, // 1
        sense: &[
            StatedRange::signed(65_536_000, 18).errors(2_000, 10_000, 2_500), // 3.4, 4, 7
            StatedRange::signed(26_214_400, 18).errors(2_000, 10_000, 1_200),
        ],
        rail: &[
            StatedRange::unsigned(6_553_600_000, 16).errors(1_500, 1_000_000, 150_000),
            StatedRange::unsigned(16_384_000_000, 16).errors(1_500, 2_500_000, 400_000),
            StatedRange::unsigned(65_536_000_000, 16).errors(1_500, 10_000_000, 1_500_000),
        ],
        bias_na: 20, // 7
        offset_stability_nv: 50,
        periods_us: &[500, 2_000, 10_000, 100_000, 1_000_000], // 6
        single_shot: true,                                     // 3.3
        conversion_ns: 62_500,
        averaging_log2_max: 10, // 3.4
        oscillator_ppm: 15_000, // 6
        wander_ppm: 100,
        wake_us: 150,
        reset_us: 1_000,
        skew_us: 0,      // 3.2
        energy_bits: 60, // 4
        charge_bits: 44,
        scans_bits: 28,
        power: true,
        kinds: &[&Kind::ALL], // 3.6
        outputs: Outputs::A.union(Outputs::B),
        debounce_max: 15,
        following: true,
        rollover_ahead_eighths: 6,
        over_range: OverRange::Remembered, // 3.2
        check_byte: true,                  // 2.3
        block_check: true,                 // 5
        identity: true,                    // 3
        cleared_by_reading: false,
        tells_reset: true,
        tells_writes: true,
        reads_back: true,
        tells_lost_trigger: true,
        tells_change_while_read: true,
        capture: 1_024, // 3.7
    };

    /// The model on a bench, with its oscillator off by so much.
    #[must_use]
    pub fn bench(oscillator_ppm: i32) -> Rc<dyn Fixture> {
        let ideal = Individual::ideal();
        let ns = ideal.conversion_ns as i64 * 1_000_000 / (1_000_000 + i64::from(oscillator_ppm));
        let conversion_ns = ns as u64;
        let individual = Individual {
            conversion_ns,
            ..ideal
        };
        BenchFixture::of(Order::individual(0x32, individual)).expect("the address of strap 0")
    }
}

impl Subject<CHANNELS> for Corncrake {
    type Part = corncrake::Corncrake;

    fn stated(&self) -> Stated {
        Self::STATED
    }

    fn map(&self) -> Self::Part {
        corncrake::Corncrake::new(Address::Strap0)
    }

    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture> {
        Self::bench(oscillator_ppm)
    }
}

impl OnBench for Model {
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

    fn set_scans(&mut self, scans: u32) -> bool {
        self.preload_scans(scans);
        true
    }
}
