use crate::config::{AlertFlags, Kind, Outputs};
use crate::info::{
    AlertInfo, Oscillator, PartInfo, RangeErrors, RangeInfo, Source, SumBits, Supply, Undetectable,
};
use crate::units::{Current, Voltage};

/// What Moorhen can do (sections 3 to 7 of its datasheet). Places in the tables are the part's
/// range codes.
pub const INFO: PartInfo = PartInfo {
    name: "Moorhen",
    channels: 2,
    sense_unit: Voltage::from_nanovolts(250),
    rail_unit: Voltage::from_microvolts(50),
    sense_ranges: &SENSE_RANGES,
    rail_ranges: &RAIL_RANGES,
    sense_errors: &[
        errors(6_000, Voltage::from_microvolts(45), 20_000),
        errors(6_000, Voltage::from_microvolts(45), 7_000),
    ],
    rail_errors: &[
        errors(5_000, Voltage::from_millivolts(14), 4_000_000),
        errors(5_000, Voltage::from_millivolts(5), 1_200_000),
    ],
    bias: Current::from_nanoamps(150),
    offset_stability: Voltage::from_microvolts(2),
    scan_periods_us: &[],
    conversion_ns: 170_000,
    averaging_log2_max: 0,
    capture_max: 0,
    // 340 µs of a slow oscillator.
    skew_us: 351,
    power: Source::Driver,
    charge_sum: Source::Driver,
    energy_sum: Source::Driver,
    sum_bits: SumBits::by_driver(&SENSE_RANGES, &RAIL_RANGES),
    alerts: AlertInfo {
        outputs: Outputs::A,
        kinds: &[&[Kind::OverVoltage, Kind::OverCurrent]],
        own: AlertFlags::empty(),
        single_masks: true,
        debounce_max: 1,
        following: false,
        cleared_by_reading: false,
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
    undetectable: Undetectable::WRITES,
};

const SENSE_RANGES: [RangeInfo; 2] = [
    range(36 * 4, 36 * 2_047, -2_048, 2_047),
    range(9 * 4, 9 * 2_047, -2_048, 2_047),
];
const RAIL_RANGES: [RangeInfo; 2] = [
    range(140, 7_000 * 4_095, 0, 4_095),
    range(35, 1_750 * 4_095, 0, 4_095),
];

const fn range(lsb_units: u8, full_scale_uv: u32, code_min: i32, code_max: i32) -> RangeInfo {
    RangeInfo {
        lsb_units,
        full_scale_uv,
        code_min,
        code_max,
    }
}

const fn errors(gain_ppm: u32, offset: Voltage, noise_nv: i64) -> RangeErrors {
    RangeErrors {
        gain_ppm,
        offset,
        noise: Voltage::from_nanovolts(noise_nv),
    }
}
