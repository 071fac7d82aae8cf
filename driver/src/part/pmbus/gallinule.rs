//! Gallinule, the fictional power supply manager of this project (docs/pmbus-device.md, part B), as
//! a declared device.

use super::{Declaration, Device, EnergyCount, Format, Page, Pmbus, Side};
use crate::config::{Kind, Outputs};
use crate::info::{
    AlertInfo, Oscillator, PartInfo, RangeErrors, RangeInfo, Source, SumBits, Supply,
};
use crate::units::{Current, Voltage};

/// The 7-bit addresses by strap (B2.1).
pub const ADDRESSES: [u8; 4] = [0x58, 0x59, 0x5A, 0x5B];

/// One Gallinule: channels 0 to 2 are outputs, channel 3 is the input.
pub type Gallinule = Pmbus<Declared, 4>;

/// Its declaration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Declared;

impl Device for Declared {
    const INFO: &'static PartInfo = &INFO;
    const DECLARATION: &'static Declaration = &DECLARATION;
}

/// How it speaks (B1 and B2).
pub const DECLARATION: Declaration = Declaration {
    pages: &[
        Page {
            number: 0,
            side: Side::Output,
            voltage: Format::Linear16(-9),
            current: Format::Linear11,
            power: Some(Format::Linear11),
            energy: count((1, 0, 1), 32_768),
        },
        Page {
            number: 1,
            side: Side::Output,
            voltage: Format::Linear16(-12),
            current: Format::Linear11,
            power: None,
            energy: None,
        },
        Page {
            number: 2,
            side: Side::Output,
            voltage: direct(5_000, -1_200, -1),
            current: direct(800, 475, 0),
            power: Some(direct(13, -3, 0)),
            energy: count((1, 0, 0), 32_767),
        },
        Page {
            number: 3,
            side: Side::Input,
            voltage: Format::Linear11,
            current: Format::Linear11,
            power: Some(Format::Linear11),
            energy: count((1, 0, 0), 32_768),
        },
    ],
    paged: true,
    check_byte: true,
    query: true,
    mark: Some(0),
    // B4: a sample period and the aperture before it, 6 250 µs, of the slowest oscillator.
    sample_us: 6_380,
};

/// What it can do (B1 and B4).
///
/// Offsets hold, beside the document's, half a step of the coarsest number that the page shows. For
/// currents that is the current's own, or that of the power: in LINEAR11 it is at most 2^-10 of the
/// power, so of the greatest current; or half a unit of the energy count, which is rounded at each
/// sample, at the least voltage that the page is meant for: 3 V on page 0, 42 V on pages 2 and 3.
pub const INFO: PartInfo = PartInfo {
    name: "Gallinule",
    channels: 4,
    sense_unit: UNIT,
    rail_unit: UNIT,
    sense_ranges: &SENSE_RANGES,
    rail_ranges: &RAIL_RANGES,
    sense_errors: &[
        errors(10_000, 74_500),  // 50 mA, 25 A / 1024
        errors(10_000, 37_820),  // 30 mA, 1/128 A
        errors(5_000, 51_910),   // 40 mA, 0.5 W / 42 V
        errors(10_000, 148_900), // 100 mA, 50 A / 1024
    ],
    rail_errors: &[
        errors(5_000, 10_980), // 10 mV, 1/1024 V
        errors(5_000, 3_130),  // 3 mV, 1/8192 V
        errors(3_000, 31_000), // 30 mV, 1 mV
        errors(5_000, 81_250), // 50 mV, 1/32 V
    ],
    scan_periods_us: &[5_000],
    conversion_ns: 1_250_000,
    // A sample period of the slowest oscillator, and reading four pages at 100 kHz.
    skew_us: 30_000,
    power: Source::Part,
    sum_bits: SumBits::by_driver(&SENSE_RANGES, &RAIL_RANGES),
    alerts: AlertInfo {
        outputs: Outputs::A,
        kinds: &[&KINDS, &WITHOUT_POWER, &KINDS, &KINDS],
        single_masks: true,
        ..AlertInfo::NONE
    },
    oscillator: Oscillator {
        error_ppm: 20_000,
        wander_ppm: 0,
    },
    reset_us: 2_000,
    supply: SUPPLY,
    ..PartInfo::PLAIN
};

const WITHOUT_POWER: [Kind; 3] = [Kind::OverVoltage, Kind::UnderVoltage, Kind::OverCurrent];
const KINDS: [Kind; 4] = [
    Kind::OverVoltage,
    Kind::UnderVoltage,
    Kind::OverCurrent,
    Kind::OverPower,
];
/// B7: whatever it does, and nothing else is said.
const SUPPLY: Supply = Supply {
    idle: Current::from_milliamps(12),
    resting: Current::from_milliamps(12),
    converting: Current::from_milliamps(12),
};

/// 100 µA, through 1 Ω, and 100 µV.
const UNIT: Voltage = Voltage::from_microvolts(100);
/// ±25 A, ±15 A, ±40 A, ±50 A.
const SENSE_RANGES: [RangeInfo; 4] = [
    RangeInfo::new(UNIT, 5, -50_000, 50_000),
    RangeInfo::new(UNIT, 5, -30_000, 30_000),
    RangeInfo::new(UNIT, 5, -80_000, 80_000),
    RangeInfo::new(UNIT, 10, -50_000, 50_000),
];
/// 16 V, 6 V, 60 V, 60 V.
const RAIL_RANGES: [RangeInfo; 4] = [
    RangeInfo::new(UNIT, 5, 0, 32_000),
    RangeInfo::new(UNIT, 1, 0, 60_000),
    RangeInfo::new(UNIT, 10, 0, 60_000),
    RangeInfo::new(UNIT, 10, 0, 60_000),
];

/// A microvolt of a sense range stands for a microampere.
const fn errors(gain_ppm: u32, offset_uv: i64) -> RangeErrors {
    RangeErrors::new(gain_ppm, Voltage::from_microvolts(offset_uv), Voltage::ZERO)
}

const fn direct(m: i16, b: i16, r: i8) -> Format {
    Format::Direct { m, b, r }
}

const fn count(coefficients: (i16, i16, i8), period: u16) -> Option<EnergyCount> {
    Some(EnergyCount {
        coefficients,
        period,
    })
}
