//! Moorhen, the fictional two-channel part of this project (docs/old/moorhen-datasheet.md): the least that a rail monitor can be.
//!
//! It has no sums, no power, no lower limits: the driver makes them up ([`make_up`](super::make_up)), and [`SPEC`] says so.

mod registers;

pub use registers::DESCRIPTION;

use super::make_up::{CauseBits, MadeUp, PLAIN, Registers, State, Words};
use super::{AlertSpec, BusRange, Codes, Oscillator, RangeSpec, SenseRange, Spec, Supply};
use crate::old::Channel;
use crate::old::alert::{Cause, Causes, Kind, Outputs};
use crate::old::exchange::{Fault, Step};
use crate::old::sampling::{Ranges, Sampling};
use crate::units::{Current, Voltage};

/// The 7-bit addresses by strap (section 2.1).
pub const ADDRESSES: [u8; 2] = [0x17, 0x31];

/// ±73.728 mV, LSB 36 µV.
pub const SENSE_73_MV: SenseRange = SenseRange(0);
/// ±18.432 mV, LSB 9 µV.
pub const SENSE_18_MV: SenseRange = SenseRange(1);

/// 28.672 V, LSB 7 mV.
pub const BUS_28_V: BusRange = BusRange(0);
/// 7.168 V, LSB 1.75 mV.
pub const BUS_7_V: BusRange = BusRange(1);

/// The driver's side of one Moorhen.
pub type Moorhen = MadeUp<Map, 2>;

/// The register map (section 3).
#[derive(Clone, Copy, Debug)]
pub struct Map;

/// What Moorhen can do (sections 3 to 7 of its datasheet). Its paces are promises of the firmware to read so often.
pub const SPEC: Spec = Spec {
    name: "Moorhen",
    channels: 2,
    sense_unit_nv: 9_000,
    bus_unit_nv: 1_750_000,
    sense: &[sense(4, 20_000), sense(1, 7_000)],
    bus: &[bus(4, 14_000, 4_000), bus(1, 5_000, 1_200)],
    bias: Current::from_nanoamps(150),
    zero_stability: Voltage::from_microvolts(2),
    conversion_ns: 170_000,
    // 340 µs by the slowest oscillator.
    skew_us: 351,
    alerts: AlertSpec {
        outputs: Outputs::A,
        kinds: &[Kind::OverVoltage, Kind::OverCurrent],
        debounce_max: 1,
        following: false,
    },
    oscillator: Oscillator {
        error_ppm: 30_000,
        wander_ppm: 0, // it counts nothing
    },
    wake_us: 90,
    reset_us: 2_200,
    supply: Supply {
        idle: Current::from_nanoamps(1_900),
        resting: Current::from_nanoamps(1_900),
        converting: Current::from_nanoamps(330_000),
    },
    ..PLAIN
};

const fn sense(lsb_units: u32, noise_nv: i64) -> RangeSpec {
    RangeSpec {
        lsb_units,
        code_max: 2_047,
        gain_ppm: 6_000,
        offset: Voltage::from_microvolts(45),
        noise: Voltage::from_nanovolts(noise_nv),
    }
}

const fn bus(lsb_units: u32, offset_uv: i64, noise_uv: i64) -> RangeSpec {
    RangeSpec {
        lsb_units,
        code_max: 4_095,
        gain_ppm: 5_000,
        offset: Voltage::from_microvolts(offset_uv),
        noise: Voltage::from_microvolts(noise_uv),
    }
}

const WORDS: Words = Words::low_first(false);
/// Registers by pointer (section 3); those of channel 1 lie so much higher.
mod pointer {
    pub const IDENTITY: u8 = 0x35;
    pub const MARK: u8 = 0x36;
    pub const RANGES: u8 = 0x39;
    pub const MASK: u8 = 0x3A;
    pub const CAUSES: u8 = 0x3C;
    pub const TRIGGER: u8 = 0x53;
    pub const PROGRESS: u8 = 0x5C;
    pub const RESTART: u8 = 0x65;
    pub const BUS_LIMIT: u8 = 0xA1;
    pub const SENSE_LIMIT: u8 = 0xA2;
    pub const BUS: u8 = 0xA5;
    pub const SENSE: u8 = 0xA6;
    pub const STRIDE: u8 = 0x10;
}
/// Places of what is read.
mod place {
    pub const PROGRESS: u8 = 0;
    pub const MARK: u8 = 2;
    pub const RANGES: u8 = 4;
    /// Sense and bus of channel 0, then of channel 1.
    pub const RESULTS: u8 = 6;
    pub const CAUSES: u8 = 14;
    pub const LEN: usize = 16;
}
/// Input bits (section 3.1) as causes.
const INPUTS: CauseBits = CauseBits(&[
    (6, Cause::Limit(Channel::C0, Kind::OverCurrent)),
    (7, Cause::Limit(Channel::C0, Kind::OverVoltage)),
    (8, Cause::Limit(Channel::C1, Kind::OverCurrent)),
    (9, Cause::Limit(Channel::C1, Kind::OverVoltage)),
]);
const IDENTITY_VALUE: u16 = 0x91E4;
const RESTART_VALUE: u16 = 0xC35A;

impl Registers for Map {
    const SPEC: &'static Spec = &SPEC;
    const CHECKED: bool = false;
    type Raw = [u8; place::LEN];
    const EMPTY: Self::Raw = [0; place::LEN];
    /// 90 µs, and four conversions by the slowest oscillator: 680 µs ÷ 0.97.
    const CONVERSION_US: u32 = 792;

    fn identity() -> Step {
        WORDS.read(pointer::IDENTITY, place::PROGRESS)
    }

    fn identified(raw: &[u8]) -> Result<(), Fault> {
        match WORDS.at(raw, place::PROGRESS) {
            IDENTITY_VALUE => Ok(()),
            got => Err(Fault::Identity {
                expected: u32::from(IDENTITY_VALUE),
                got: u32::from(got),
            }),
        }
    }

    fn restart(stage: u8) -> Option<Step> {
        match stage {
            0 => Some(WORDS.write(pointer::RESTART, RESTART_VALUE)),
            1 => Some(Step::Wait(SPEC.reset_us + SPEC.reset_us / 10)),
            _ => None,
        }
    }

    fn set_up(stage: u8, sampling: &Sampling<'_>) -> Option<Step> {
        let enabled = Channel::first(2).zip(sampling.channels);
        let narrow = enabled.filter_map(|(channel, ranges)| {
            let ranges = (*ranges)?;
            let sense = u16::from(ranges.sense == SENSE_18_MV) << sense_bit(channel);
            let bus = u16::from(ranges.bus == BUS_7_V) << bus_bit(channel);
            Some(sense | bus)
        });
        let narrow = narrow.fold(0, |bits, more| bits | more);
        (stage == 0).then(|| WORDS.put(pointer::RANGES, narrow))
    }

    fn mark(value: u16) -> Step {
        WORDS.put(pointer::MARK, value)
    }

    fn trigger() -> Step {
        WORDS.write_stamped(pointer::TRIGGER, 0x0001)
    }

    fn read(stage: u8) -> Option<Step> {
        match stage {
            0 => Some(WORDS.read(pointer::PROGRESS, place::PROGRESS)),
            1 => Some(WORDS.read(pointer::RANGES, place::RANGES)),
            2 => Some(WORDS.read(pointer::SENSE, place::RESULTS)),
            3 => Some(WORDS.read(pointer::BUS, place::RESULTS + 2)),
            4 => Some(WORDS.read(pointer::SENSE + pointer::STRIDE, place::RESULTS + 4)),
            5 => Some(WORDS.read(pointer::BUS + pointer::STRIDE, place::RESULTS + 6)),
            // Last, so that a reset before it is found by it.
            6 => Some(WORDS.read(pointer::MARK, place::MARK)),
            _ => None,
        }
    }

    fn state(raw: &[u8]) -> State {
        let progress = WORDS.at(raw, place::PROGRESS);
        let count = progress & 0x3F;
        let belong = [0, 2, 4, 6].into_iter().all(|result| {
            let word = WORDS.at(raw, place::RESULTS.wrapping_add(result));
            word & 7 == count & 7 && word >> 15 == u16::from(result >> 2)
        });
        State {
            busy: progress & 1 << 10 != 0 || !belong,
            sequence: Some(count),
            mark: WORDS.at(raw, place::MARK),
        }
    }

    fn codes(raw: &[u8], channel: Channel) -> Codes {
        let first = place::RESULTS.wrapping_add(channel.number().wrapping_mul(4));
        let (sense, bus) = (WORDS.at(raw, first), WORDS.at(raw, first.wrapping_add(2)));
        let progress = WORDS.at(raw, place::PROGRESS);
        Codes {
            // Bits 14 to 3: the sign up to bit 15, then down with it.
            sense: i32::from((sense << 1) as i16 >> 4),
            bus: u32::from(bus >> 3 & 0xFFF),
            power: 0,
            sense_clipped: progress >> sense_bit(channel) & 1 != 0,
            bus_clipped: progress >> bus_bit(channel) & 1 != 0,
        }
    }

    fn ranges(raw: &[u8], channel: Channel) -> Ranges {
        let ranges = WORDS.at(raw, place::RANGES);
        Ranges {
            sense: SenseRange((ranges >> sense_bit(channel) & 1) as u8),
            bus: BusRange((ranges >> bus_bit(channel) & 1) as u8),
        }
    }

    fn limit(channel: Channel, kind: Kind, code: Option<i64>) -> Option<Step> {
        let (register, end) = match kind {
            Kind::OverVoltage => (pointer::BUS_LIMIT, 0xFFF),
            Kind::OverCurrent => (pointer::SENSE_LIMIT, 0x7FF),
            Kind::UnderVoltage | Kind::UnderCurrent | Kind::OverPower => return None,
        };
        let pointer = register.wrapping_add(pointer::STRIDE.wrapping_mul(channel.number()));
        let word = (code.unwrap_or(end) as u16) << 3 & 0x7FF8;
        Some(WORDS.put(pointer, word))
    }

    fn unmask(causes: Causes) -> Option<Step> {
        Some(WORDS.put(pointer::MASK, INPUTS.word(causes)))
    }

    fn read_causes() -> Option<Step> {
        Some(WORDS.read(pointer::CAUSES, place::CAUSES))
    }

    fn causes(raw: &[u8]) -> Causes {
        INPUTS.causes(WORDS.at(raw, place::CAUSES))
    }

    fn clear(causes: Causes) -> Option<Step> {
        Some(WORDS.write(pointer::CAUSES, INPUTS.word(causes)))
    }
}

/// Bits of an input (section 3.1).
fn sense_bit(channel: Channel) -> u32 {
    u32::from(channel.number() & 1)
        .wrapping_mul(2)
        .wrapping_add(6)
}

fn bus_bit(channel: Channel) -> u32 {
    sense_bit(channel).wrapping_add(1)
}
