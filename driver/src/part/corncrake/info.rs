use crate::config::{AlertFlags, Kind, Outputs};
use crate::info::{
    AlertInfo, Oscillator, PartInfo, RangeErrors, RangeInfo, Source, SumBits, Supply, Undetectable,
};
use crate::units::{Current, Voltage};

/// What Corncrake can do (sections 3 to 8 of its datasheet). Places in the tables are the part's
/// range codes and the lower half of its mode bytes.
pub const INFO: PartInfo = PartInfo {
    name: "Corncrake",
    channels: 4,
    sense_unit: Voltage::from_nanovolts(100),
    rail_unit: Voltage::from_microvolts(50),
    sense_ranges: &SENSE_RANGES,
    rail_ranges: &RAIL_RANGES,
    sense_errors: &[sense_errors(2_500), sense_errors(1_200)],
    rail_errors: &[
        rail_errors(1_000, 150),
        rail_errors(2_500, 400),
        rail_errors(10_000, 1_500),
    ],
    bias: Current::from_nanoamps(20),
    offset_stability: Voltage::from_nanovolts(50),
    scan_periods_us: &[500, 2_000, 10_000, 100_000, 1_000_000],
    conversion_ns: 62_500,
    averaging_log2_max: 10,
    capture_max: 1_024,
    skew_us: 0,
    power: Source::Part,
    charge_sum: Source::Part,
    energy_sum: Source::Part,
    sum_bits: SumBits::new(60, 44, 28, &SENSE_RANGES, &RAIL_RANGES),
    alerts: AlertInfo {
        outputs: Outputs::A.union(Outputs::B),
        kinds: &[&Kind::ALL],
        own: AlertFlags::OWN,
        single_masks: true,
        debounce_max: 15,
        following: true,
        cleared_by_reading: false,
    },
    oscillator: Oscillator {
        error_ppm: 15_000,
        wander_ppm: 100,
    },
    wake_us: 150,
    reset_us: 1_000,
    supply: Supply {
        idle: Current::from_nanoamps(4_000),
        resting: Current::from_nanoamps(15_000),
        converting: Current::from_nanoamps(420_000),
    },
    undetectable: Undetectable::empty(),
};

const SENSE_RANGES: [RangeInfo; 2] = [sense(5), sense(2)];
const RAIL_RANGES: [RangeInfo; 3] = [rail(2), rail(5), rail(20)];

const fn sense(lsb_units: u8) -> RangeInfo {
    RangeInfo {
        lsb_units,
        full_scale_uv: (lsb_units as u32).wrapping_mul(131_071) / 10,
        code_min: -131_072,
        code_max: 131_071,
    }
}

const fn rail(lsb_units: u8) -> RangeInfo {
    RangeInfo {
        lsb_units,
        full_scale_uv: (lsb_units as u32).wrapping_mul(50 * 65_535),
        code_min: 0,
        code_max: 65_535,
    }
}

const fn sense_errors(noise_nv: i64) -> RangeErrors {
    RangeErrors {
        gain_ppm: 2_000,
        offset: Voltage::from_nanovolts(10_000),
        noise: Voltage::from_nanovolts(noise_nv),
    }
}

const fn rail_errors(offset_uv: i64, noise_uv: i64) -> RangeErrors {
    RangeErrors {
        gain_ppm: 1_500,
        offset: Voltage::from_microvolts(offset_uv),
        noise: Voltage::from_microvolts(noise_uv),
    }
}

/// What a typical one draws, by the same section.
pub(super) const SUPPLY_TYPICAL: Supply = Supply {
    idle: Current::from_nanoamps(2_200),
    resting: Current::from_nanoamps(9_000),
    converting: Current::from_nanoamps(310_000),
};
