use crate::config::{Kind, Outputs};
use crate::info::{AlertInfo, Oscillator, PartInfo, RangeErrors, RangeInfo, SumBits, Supply};
use crate::units::{Current, Voltage};

const SENSE_UNIT: Voltage = Voltage::from_nanovolts(250);
const RAIL_UNIT: Voltage = Voltage::from_microvolts(50);

/// What Moorhen can do (sections 3 to 7 of its datasheet). Places in the tables are the part's
/// range codes.
pub const INFO: PartInfo = PartInfo {
    name: "Moorhen",
    channels: 2,
    sense_unit: SENSE_UNIT,
    rail_unit: RAIL_UNIT,
    sense_ranges: &SENSE_RANGES,
    rail_ranges: &RAIL_RANGES,
    sense_errors: &[errors(6_000, 45_000, 20_000), errors(6_000, 45_000, 7_000)],
    rail_errors: &[
        errors(5_000, 14_000_000, 4_000_000),
        errors(5_000, 5_000_000, 1_200_000),
    ],
    bias: Current::from_nanoamps(150),
    offset_stability: Voltage::from_microvolts(2),
    conversion_ns: 170_000,
    // 340 µs of a slow oscillator.
    skew_us: 351,
    sum_bits: SumBits::by_driver(&SENSE_RANGES, &RAIL_RANGES),
    alerts: AlertInfo {
        outputs: Outputs::A,
        kinds: &[&[Kind::OverVoltage, Kind::OverCurrent]],
        single_masks: true,
        ..AlertInfo::NONE
    },
    oscillator: Oscillator {
        error_ppm: 30_000,
        wander_ppm: 0,
    },
    wake_us: 90,
    reset_us: 2_200,
    supply: Supply {
        idle: Current::from_nanoamps(1_900),
        resting: Current::from_nanoamps(1_900),
        converting: Current::from_nanoamps(330_000),
    },
    ..PartInfo::PLAIN
};

/// 36 µV and 9 µV.
const SENSE_RANGES: [RangeInfo; 2] = [
    RangeInfo::new(SENSE_UNIT, 144, -2_048, 2_047),
    RangeInfo::new(SENSE_UNIT, 36, -2_048, 2_047),
];
/// 7 mV and 1.75 mV.
const RAIL_RANGES: [RangeInfo; 2] = [
    RangeInfo::new(RAIL_UNIT, 140, 0, 4_095),
    RangeInfo::new(RAIL_UNIT, 35, 0, 4_095),
];

const fn errors(gain_ppm: u32, offset_nv: i64, noise_nv: i64) -> RangeErrors {
    RangeErrors::new(
        gain_ppm,
        Voltage::from_nanovolts(offset_nv),
        Voltage::from_nanovolts(noise_nv),
    )
}

/// What a typical one draws, by the same section.
pub(super) const SUPPLY_TYPICAL: Supply = Supply {
    idle: Current::from_nanoamps(800),
    resting: Current::from_nanoamps(800),
    converting: Current::from_nanoamps(240_000),
};
