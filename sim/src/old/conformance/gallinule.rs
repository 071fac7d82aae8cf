use crake::old::alert::{Kind, Outputs};
use crake::old::part::pmbus::gallinule;
use crake::old::units::Resistance;
use crake::old::{Channel, Ranges};

use super::{BenchDesk, Coarseness, OnDesk, Stated, StatedRange, Subject};
use crate::bus::Speed;
use crate::part::pmbus::{Description, Device, Individual, Model, SmbAlert};

/// The driver's map of Gallinule, a PMBus device, against the bench's model of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Gallinule;

impl Subject<4> for Gallinule {
    type Part = gallinule::Gallinule;
    type Desk = BenchDesk<Model>;

    /// Sections of docs/pmbus-device.md beside each figure.
    fn stated(&self) -> Stated {
        const STATED: Stated = Stated {
            channels: 4, // B1
            // B4; nanoamperes through 1 Ω, codes of 500 µA and 1 mA.
            sense: &[
                range(25_000_000_000, 50_000),
                range(15_000_000_000, 30_000),
                range(40_000_000_000, 80_000),
                range(50_000_000_000, 50_000),
            ],
            bus: &[
                range(16_000_000_000, 32_000),
                range(6_000_000_000, 60_000),
                range(60_000_000_000, 60_000),
                range(60_000_000_000, 60_000),
            ],
            // Under-current has a limit that may switch off (B3): not for a monitor.
            kinds: &[
                Kind::OverVoltage,
                Kind::UnderVoltage,
                Kind::OverCurrent,
                Kind::OverPower,
            ],
            outputs: Outputs::A,
            check_byte: true,   // B2.2
            identity: false,    // compared by nobody: what it can do is asked of it
            free_running: true, // B4
            // LINEAR11: half a step of 1023 (A2.1).
            format_ppm: 1_000,
            ..Stated::PLAIN
        };
        STATED
    }

    fn address(&self) -> u8 {
        ADDRESS
    }

    fn map(&self) -> Self::Part {
        gallinule::Gallinule::new()
    }

    /// Each page has its own (B4).
    fn ranges(&self, channel: Channel) -> Ranges {
        gallinule::ranges(channel.number())
    }

    fn shunt(&self) -> Resistance {
        Resistance::from_ohms(1)
    }

    /// Two samples of the slowest oscillator (B4).
    fn settling_us(&self) -> u32 {
        10_205
    }

    /// Half a step of the formats of B1, and of the energy counts.
    fn coarseness(&self, channel: Channel) -> Coarseness {
        match channel.number() {
            // 1/256 A and 1/512 V in 500 µA and 500 µV; 0.1 W in 250 nW.
            0 => Coarseness {
                sense: 4,
                bus: 2,
                power: 200_000,
            },
            // 1/64 A and 1/4096 V in 500 µA and 100 µV.
            1 => Coarseness {
                sense: 16,
                bus: 2,
                power: 0,
            },
            // 1.25 mA and 2 mV in 500 µA and 1 mV; 1 W in 500 nW.
            2 => Coarseness {
                sense: 2,
                bus: 1,
                power: 1_000_000,
            },
            // 1/256 A and 1/256 V in 1 mA and 1 mV; 1 W in 1 µW.
            _ => Coarseness {
                sense: 2,
                bus: 2,
                power: 500_000,
            },
        }
    }

    fn desk(&self, oscillator_ppm: i32) -> BenchDesk<Model> {
        let description = Description::gallinule();
        let mut individual = Individual::ideal(&description);
        individual.sample_period_ns =
            super::corncrake::stretched(individual.sample_period_ns, oscillator_ppm);
        let order = Device::individual(description, ADDRESS, individual);
        BenchDesk::new(order.expect("a sound description"), Speed::Fast)
            .expect("the address of strap 0")
    }
}

const ADDRESS: u8 = 0x58;

const fn range(full_scale_nv: u64, code_max: u32) -> StatedRange {
    StatedRange {
        full_scale_nv,
        full_scale_codes: code_max,
        code_max,
    }
}

impl OnDesk for Model {
    fn output(output: Outputs) -> Option<SmbAlert> {
        (output == Outputs::A).then_some(SmbAlert)
    }
}
