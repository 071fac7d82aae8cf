//! What Whinchat can do, by kind.

use crake::config::{Kind, Outputs};
use crake::info::{
    AlertInfo, Oscillator, PartInfo, RangeErrors, RangeInfo, SumBits, Supply, Undetectable,
};
use crake::units::{Current, Voltage};

use super::Habit::{self, *};
use super::map::Map;

const SENSE_UNIT: Voltage = Voltage::from_microvolts(3);
const RAIL_UNIT: Voltage = Voltage::from_microvolts(1_100);
const WIDE: [[RangeInfo; 1]; 2] = [
    [RangeInfo::new(SENSE_UNIT, 1, -32_768, 32_767)],
    [RangeInfo::new(RAIL_UNIT, 1, 0, 32_767)],
];
const SIGNED: [RangeInfo; 1] = [RangeInfo::new(SENSE_UNIT, 1, -32_767, 32_767)];
const SHORT: [[RangeInfo; 1]; 2] = [
    [RangeInfo::new(SENSE_UNIT, 4, -2_048, 2_047)],
    [RangeInfo::new(RAIL_UNIT, 4, 0, 4_095)],
];

impl<const H: u8, const N: usize, C, S> Map<H, N, C, S> {
    pub(super) const HABIT: Habit = Habit::ALL[H as usize];
    pub(super) const FREE: bool = matches!(Self::HABIT, FreeRunning | BothModes | OverRangeRead);
    pub(super) const COMPARES: bool = !matches!(Self::HABIT, NoComparator);
    pub(super) const VALUES: PartInfo = PartInfo {
        name: "Whinchat",
        channels: N as u8,
        sense_unit: SENSE_UNIT,
        rail_unit: RAIL_UNIT,
        sense_ranges: match Self::HABIT {
            JustifiedLeft => &SHORT[0],
            SignAndMagnitude => &SIGNED,
            _ => &WIDE[0],
        },
        rail_ranges: match Self::HABIT {
            JustifiedLeft => &SHORT[1],
            _ => &WIDE[1],
        },
        sense_errors: &[RangeErrors::new(
            4_000,
            Voltage::from_microvolts(25),
            Voltage::from_microvolts(4),
        )],
        rail_errors: &[RangeErrors::new(
            5_000,
            Voltage::from_millivolts(4),
            Voltage::from_microvolts(700),
        )],
        bias: Current::from_nanoamps(50),
        offset_stability: Voltage::from_nanovolts(500),
        scan_periods_us: if Self::FREE { &[2_000] } else { &[] },
        conversion_ns: 100_000,
        averaging_log2_max: 4 * matches!(Self::HABIT, Averages) as u8,
        skew_us: 205 * (N as u32 - 1),
        sum_bits: SumBits::by_driver(&WIDE[0], &WIDE[1]),
        alerts: AlertInfo {
            outputs: if Self::COMPARES {
                Outputs::A
            } else {
                Outputs::empty()
            },
            kinds: match Self::HABIT {
                NoComparator => &[&[]],
                ClearedByReading => &[&[Kind::OverVoltage]],
                _ => &[&[Kind::OverCurrent]],
            },
            single_masks: true,
            cleared_by_reading: matches!(Self::HABIT, ClearedByReading),
            ..AlertInfo::NONE
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
            FreeRunning | BothModes | OverRangeRead => Undetectable::WRITES,
            OneRegister => Undetectable::WRITES
                .union(Undetectable::LOST_TRIGGER)
                .union(Undetectable::RESET),
            _ => Undetectable::WRITES.union(Undetectable::LOST_TRIGGER),
        },
        ..PartInfo::PLAIN
    };
}
