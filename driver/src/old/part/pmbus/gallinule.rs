//! Gallinule, the fictional power supply manager of this project (docs/pmbus-device.md, part B): what has to be declared of it.

pub use super::registers::DESCRIPTION;

use super::{Declaration, Device, EnergySpec, Expect, PageSpec, Period, Pmbus, Side, UserData};
use crate::old::alert::{Kind, Outputs};
use crate::old::part::make_up::PLAIN;
use crate::old::part::{AlertSpec, BusRange, RangeSpec, SenseRange, Source, Spec};
use crate::old::sampling::Ranges;
use crate::units::Voltage;

/// The 7-bit addresses by strap (B2.1).
pub const ADDRESSES: [u8; 4] = [0x58, 0x59, 0x5A, 0x5B];

/// The driver's side of one Gallinule: channels 0 to 2 are outputs, channel 3 is the input.
pub type Gallinule = Pmbus<Map, 4>;

/// Its declaration.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Map;

impl Device for Map {
    const DECLARATION: &'static Declaration = &Declaration {
        spec: SPEC,
        checked: true,
        paged: true,
        mark: Some(UserData::new(0)),
        pages: &[
            page(0, Side::Output, Some(Period::Counts32768)),
            page(1, Side::Output, None),
            page(2, Side::Output, Some(Period::Counts32767)),
            page(3, Side::Input, Some(Period::Counts32768)),
        ],
    };
}

/// What Gallinule can do (B1 and B4).
///
/// A page is a range of its own. Offsets hold, beside the document's, half a step of the coarsest number that the page shows and of our code; for currents they also hold half a unit of the energy
/// count, which is rounded at every sample, at the least voltage that the page is meant for: 3 V on page 0, 42 V on pages 2 and 3.
/// On page 0 half a step of READ_POUT is more: 0.25 W from 256 W on, which at 25 A takes 10.24 V, so 24.5 mA.
pub const SPEC: Spec = Spec {
    name: "Gallinule",
    channels: 4,
    sense_unit_nv: 100_000, // 100 µA
    bus_unit_nv: 100_000,
    sense: &[
        sense(5, 50_000, 10_000, 75_000), // ±25 A; 50 mA, READ_POUT in steps of 0.5 W
        sense(5, 30_000, 10_000, 38_100), // ±15 A; 30 mA, 1/128 A
        sense(5, 80_000, 5_000, 53_000),  // ±40 A; 40 mA, 1/1600 A, 0.5 W
        sense(10, 50_000, 10_000, 132_000), // ±50 A; 100 mA, 1/32 A, 0.5 W
    ],
    bus: &[
        bus(5, 32_000, 5_000, 11_300),  // 16 V; 10 mV, 1/1024 V
        bus(1, 60_000, 5_000, 3_200),   // 6 V; 3 mV, 1/8192 V
        bus(10, 60_000, 3_000, 31_500), // 60 V; 30 mV, 1 mV
        bus(10, 60_000, 5_000, 81_800), // 60 V; 50 mV, 1/32 V
    ],
    conversion_ns: 1_250_000,
    // One sample period of the slowest oscillator, and the reading of four pages at 100 kHz.
    skew_us: 30_000,
    power: Source::Part,
    alerts: AlertSpec {
        outputs: Outputs::A,
        kinds: &[
            Kind::OverVoltage,
            Kind::UnderVoltage,
            Kind::OverCurrent,
            Kind::OverPower,
        ],
        debounce_max: 1,
        following: false,
    },
    reset_us: 2_000,
    ..PLAIN
};

/// The ranges of a page, given its number.
#[must_use]
pub const fn ranges(page: u8) -> Ranges {
    Ranges {
        sense: SenseRange(page),
        bus: BusRange(page),
    }
}

const fn page(page: u8, side: Side, period: Option<Period>) -> PageSpec {
    let energy = match period {
        Some(period) => Some(EnergySpec {
            period,
            coefficients: None,
        }),
        None => None,
    };
    PageSpec {
        page,
        side,
        ranges: ranges(page),
        voltage: Expect::Ask,
        current: Expect::Ask,
        power: Expect::Ask,
        energy,
    }
}

const fn sense(lsb_units: u32, code_max: u32, gain_ppm: u32, offset_ua: i64) -> RangeSpec {
    RangeSpec {
        lsb_units,
        code_max,
        gain_ppm,
        offset: Voltage::from_microvolts(offset_ua),
        noise: Voltage::ZERO,
    }
}

const fn bus(lsb_units: u32, code_max: u32, gain_ppm: u32, offset_uv: i64) -> RangeSpec {
    RangeSpec {
        lsb_units,
        code_max,
        gain_ppm,
        offset: Voltage::from_microvolts(offset_uv),
        noise: Voltage::ZERO,
    }
}
