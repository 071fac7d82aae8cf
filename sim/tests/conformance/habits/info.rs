//! What Whinchat can do, by kind.

use crake::config::{AlertFlags, Kind, Outputs};
use crake::info::{
    AlertInfo, Oscillator, PartInfo, RangeErrors, RangeInfo, Source, SumBits, Supply, Undetectable,
};
use crake::units::{Current, Voltage};

use super::Habit::{self, *};
use super::map::Map;

const fn range(lsb_units: u8, full_scale_uv: u32, code_min: i32, code_max: i32) -> RangeInfo {
    RangeInfo {
        lsb_units,
        full_scale_uv,
        code_min,
        code_max,
    }
}

const WIDE: [[RangeInfo; 1]; 2] = [
    [range(1, 98_301, -32_768, 32_767)],
    [range(1, 36_043_700, 0, 32_767)],
];
const SIGNED: [RangeInfo; 1] = [range(1, 98_301, -32_767, 32_767)];
const SHORT: [[RangeInfo; 1]; 2] = [
    [range(4, 24_564, -2_048, 2_047)],
    [range(4, 18_018_000, 0, 4_095)],
];

impl<const H: u8, const N: usize> Map<H, N> {
    pub(super) const HABIT: Habit = Habit::ALL[H as usize];
    pub(super) const FREE: bool = matches!(Self::HABIT, FreeRunning);
    pub(super) const COMPARES: bool = !matches!(Self::HABIT, NoComparator);
    pub(super) const VALUES: PartInfo = PartInfo {
        name: "Whinchat",
        channels: N as u8,
        sense_unit: Voltage::from_microvolts(3),
        rail_unit: Voltage::from_microvolts(1_100),
        sense_ranges: match Self::HABIT {
            JustifiedLeft => &SHORT[0],
            SignAndMagnitude => &SIGNED,
            _ => &WIDE[0],
        },
        rail_ranges: match Self::HABIT {
            JustifiedLeft => &SHORT[1],
            _ => &WIDE[1],
        },
        sense_errors: &[RangeErrors {
            gain_ppm: 4_000,
            offset: Voltage::from_microvolts(25),
            noise: Voltage::from_microvolts(4),
        }],
        rail_errors: &[RangeErrors {
            gain_ppm: 5_000,
            offset: Voltage::from_millivolts(4),
            noise: Voltage::from_microvolts(700),
        }],
        bias: Current::from_nanoamps(50),
        offset_stability: Voltage::from_nanovolts(500),
        scan_periods_us: if Self::FREE { &[2_000] } else { &[] },
        conversion_ns: 100_000,
        averaging_log2_max: if matches!(Self::HABIT, Averages) {
            4
        } else {
            0
        },
        capture_max: 0,
        skew_us: 205 * (N as u32 - 1),
        power: Source::Driver,
        charge_sum: Source::Driver,
        energy_sum: Source::Driver,
        sum_bits: SumBits::by_driver(&WIDE[0], &WIDE[1]),
        alerts: AlertInfo {
            outputs: if Self::COMPARES {
                Outputs::A
            } else {
                Outputs::empty()
            },
            kinds: if Self::COMPARES {
                &[&[Kind::OverCurrent]]
            } else {
                &[&[]]
            },
            debounce_max: 1,
            own: AlertFlags::empty(),
            single_masks: true,
            following: false,
            cleared_by_reading: matches!(Self::HABIT, ClearedByReading),
        },
        oscillator: Oscillator {
            error_ppm: 20_000,
            wander_ppm: 0,
        },
        wake_us: 50,
        reset_us: 300,
        supply: Supply {
            idle: Current::from_nanoamps(900),
            resting: Current::from_nanoamps(900),
            converting: Current::from_microamps(300),
        },
        undetectable: match Self::HABIT {
            FreeRunning => Undetectable::WRITES,
            OneRegister => Undetectable::WRITES
                .union(Undetectable::LOST_TRIGGER)
                .union(Undetectable::RESET),
            _ => Undetectable::WRITES.union(Undetectable::LOST_TRIGGER),
        },
    };
}
