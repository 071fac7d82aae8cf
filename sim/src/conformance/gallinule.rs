use alloc::rc::Rc;

use crake::config::{Kind, Outputs};
use crake::part::pmbus::gallinule;
use crake::units::Resistance;

use super::{BenchFixture, Fixture, OnBench, Stated, StatedRange, Subject};
use crate::part::pmbus::{Description, Device, Individual, Model, SmbAlert};

/// The driver's map of Gallinule, a PMBus device, against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Gallinule;

const KINDS: [Kind; 4] = [
    Kind::OverVoltage,
    Kind::UnderVoltage,
    Kind::OverCurrent,
    Kind::OverPower,
];

impl Gallinule {
    /// What docs/pmbus-device.md says; its sections beside the figures.
    pub const STATED: Stated = Stated {
        channels: 4, // B1
        // B4; nanoamperes through 1 Ω, codes of 500 µA and 1 mA; half a step of the format besides.
        sense: &[
            range(25_000_000_000, -50_000, 50_000).errors(10_000, 74_500_000, 0),
            range(15_000_000_000, -30_000, 30_000).errors(10_000, 37_820_000, 0),
            range(40_000_000_000, -80_000, 80_000).errors(5_000, 51_910_000, 0),
            range(50_000_000_000, -50_000, 50_000).errors(10_000, 148_900_000, 0),
        ],
        rail: &[
            range(16_000_000_000, 0, 32_000).errors(5_000, 10_980_000, 0),
            range(6_000_000_000, 0, 60_000).errors(5_000, 3_130_000, 0),
            range(60_000_000_000, 0, 60_000).errors(3_000, 31_000_000, 0),
            range(60_000_000_000, 0, 60_000).errors(5_000, 81_250_000, 0),
        ],
        periods_us: &[5_000],
        conversion_ns: 1_250_000,
        oscillator_ppm: 20_000,
        reset_us: 2_000,
        skew_us: 30_000,
        power: true,
        // Under-current has a limit that may switch off (B3): not for a monitor.
        kinds: &[
            &KINDS,
            &[Kind::OverVoltage, Kind::UnderVoltage, Kind::OverCurrent],
            &KINDS,
            &KINDS,
        ],
        outputs: Outputs::A,
        check_byte: true, // B2.2
        // No identity: what it can do is asked of it.
        tells_reset: true,
        tells_lost_trigger: true,
        tells_change_while_read: true,
        ..Stated::PLAIN
    };
}

impl Subject<4> for Gallinule {
    type Part = gallinule::Gallinule;

    fn stated(&self) -> Stated {
        Self::STATED
    }

    fn map(&self) -> Self::Part {
        gallinule::Gallinule::new(0x58)
    }

    /// Each page has its own (B4).
    fn ranges(&self, channel: u8) -> (usize, usize) {
        (channel.into(), channel.into())
    }

    fn resistor(&self) -> Resistance {
        Resistance::from_ohms(1)
    }

    /// LINEAR11, half a step of 1023 (A2.1), and half a step of the formats of B1: 1/256 A and
    /// 1/512 V in 500 µA and 500 µV; 1/64 A and 1/4096 V in 500 µA and 100 µV; 1.25 mA and 2 mV in
    /// 500 µA and 1 mV; 1/256 A and 1/256 V in 1 mA and 1 mV.
    fn tolerance(&self, channel: u8, sense: i64, rail: i64) -> (i64, i64) {
        let (half, rail_half) = [(4, 2), (16, 2), (2, 1), (2, 2)][usize::from(channel)];
        (
            1 + half + sense.abs() / 1_000,
            1 + rail_half + rail.abs() / 1_000,
        )
    }

    /// The same of power: 0.1 W in 250 nW, 1 W in 500 nW, 1 W in 1 µW.
    fn power_tolerance(&self, channel: u8, power: i64) -> i64 {
        power.abs() / 1_000 + [200_000, 0, 1_000_000, 500_000][usize::from(channel)]
    }

    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture> {
        let description = Description::gallinule();
        let mut individual = Individual::ideal(&description);
        let ns = individual.sample_period_ns as i64;
        let ns = ns * 1_000_000 / (1_000_000 + i64::from(oscillator_ppm));
        individual.sample_period_ns = ns as u64;
        let order = Device::individual(description, 0x58, individual).expect("sound");
        BenchFixture::of(order).expect("the address of strap 0")
    }
}

const fn range(full_scale_nv: u64, code_min: i32, code_max: i32) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes: code_max.unsigned_abs(),
        code_min,
        code_max,
        gain_ppm: 0,
        offset_nv: 0,
        noise_nv: 0,
    }
}

impl OnBench for Model {
    fn output(output: Outputs) -> Option<SmbAlert> {
        (output == Outputs::A).then_some(SmbAlert)
    }
}
