//! Register map of Flufftail, the invented part of docs/porting.md.

use crake::old::alert::{Cause, Causes, Kind, Outputs};
use crake::old::exchange::{Fault, Step};
use crake::old::part::make_up::{CauseBits, MadeUp, PLAIN, Registers, State, Words};
use crake::old::part::{
    AlertSpec, BusRange, Codes, Oscillator, RangeSpec, SenseRange, Spec, Supply,
};
use crake::old::units::{Current, Voltage};
use crake::old::{Channel, Ranges, Sampling};

/// The driver's side of one Flufftail.
pub type Flufftail = MadeUp<Map, 3>;

/// The register map.
#[derive(Clone, Copy, Debug)]
pub struct Map;

/// What the part can do.
pub const SPEC: Spec = Spec {
    name: "Flufftail",
    channels: 3,
    sense_unit_nv: 500,
    bus_unit_nv: 2_000_000,
    sense: &[sense(5, 4_000), sense(1, 1_500)],
    bus: &[RangeSpec {
        lsb_units: 1,
        code_max: 16_383,
        gain_ppm: 5_000,
        offset: Voltage::from_millivolts(4),
        noise: Voltage::from_microvolts(700),
    }],
    bias: Current::from_nanoamps(50),
    zero_stability: Voltage::from_nanovolts(500),
    conversion_ns: 100_000,
    skew_us: 409, // two channels further: 400 µs ÷ 0.98
    alerts: AlertSpec {
        outputs: Outputs::A,
        kinds: &[Kind::OverCurrent],
        ..PLAIN.alerts
    },
    oscillator: Oscillator {
        error_ppm: 20_000,
        wander_ppm: 0, // it counts nothing
    },
    wake_us: 50,
    reset_us: 400,
    supply: Supply {
        idle: Current::from_nanoamps(9_000),
        resting: Current::from_nanoamps(9_000),
        converting: Current::from_nanoamps(310_000),
    },
    ..PLAIN
};

const fn sense(lsb_units: u32, noise_nv: i64) -> RangeSpec {
    RangeSpec {
        lsb_units,
        code_max: 32_767,
        gain_ppm: 4_000,
        offset: Voltage::from_microvolts(25),
        noise: Voltage::from_nanovolts(noise_nv),
    }
}

const WORDS: Words = Words::high_first(true);
const CAUSES: CauseBits = CauseBits(&[
    (0, Cause::Limit(Channel::C0, Kind::OverCurrent)),
    (1, Cause::Limit(Channel::C1, Kind::OverCurrent)),
    (2, Cause::Limit(Channel::C2, Kind::OverCurrent)),
]);

impl Registers for Map {
    const SPEC: &'static Spec = &SPEC;
    const CHECKED: bool = true;
    /// Ten words (STATE, SPANS, six results, NOTE, CAUSES) and a check byte.
    type Raw = [u8; 21];
    const EMPTY: Self::Raw = [0; 21];
    /// 50 µs, and six conversions by the slowest oscillator: 600 µs ÷ 0.98.
    const CONVERSION_US: u32 = 663;

    fn identity() -> Step {
        WORDS.read(0x00, 0)
    }

    fn identified(raw: &[u8]) -> Result<(), Fault> {
        match u32::from(WORDS.at(raw, 0)) {
            0x6D3B => Ok(()),
            got => Err(Fault::Identity {
                expected: 0x6D3B,
                got,
            }),
        }
    }

    fn restart(stage: u8) -> Option<Step> {
        match stage {
            0 => Some(WORDS.write(0x0C, 0xB0A7)),
            1 => Some(Step::Wait(450)),
            _ => None,
        }
    }

    fn set_up(stage: u8, sampling: &Sampling<'_>) -> Option<Step> {
        let fine = Channel::first(3)
            .zip(sampling.channels)
            .filter(|(_, ranges)| ranges.is_some_and(|ranges| ranges.sense == SenseRange(1)))
            .fold(0, |spans, (channel, _)| spans | 1 << channel.number());
        (stage == 0).then(|| WORDS.put(0x08, fine))
    }

    fn mark(value: u16) -> Step {
        WORDS.put(0x04, value)
    }

    fn trigger() -> Step {
        WORDS.write_stamped(0x05, 0x0001)
    }

    fn read(stage: u8) -> Option<Step> {
        let pointers = [0x06, 0x08, 0x10, 0x18, 0x11, 0x19, 0x12, 0x1A, 0x04];
        let pointer = pointers.get(usize::from(stage))?;
        Some(WORDS.read(*pointer, 2 * stage))
    }

    fn state(raw: &[u8]) -> State {
        State {
            busy: WORDS.at(raw, 0) & 1 != 0,
            sequence: Some(WORDS.at(raw, 0) >> 8),
            mark: WORDS.at(raw, 16),
        }
    }

    fn codes(raw: &[u8], channel: Channel) -> Codes {
        let place = 4 + 4 * channel.number();
        let (sense, bus) = (WORDS.at(raw, place), WORDS.at(raw, place + 2));
        Codes {
            sense: i32::from(sense as i16),
            bus: u32::from(bus >> 2),
            sense_clipped: bus & 1 != 0,
            bus_clipped: bus & 2 != 0,
            ..Codes::default()
        }
    }

    fn ranges(raw: &[u8], channel: Channel) -> Ranges {
        Ranges {
            sense: SenseRange((WORDS.at(raw, 2) >> channel.number() & 1) as u8),
            bus: BusRange(0),
        }
    }

    fn limit(channel: Channel, kind: Kind, code: Option<i64>) -> Option<Step> {
        let word = code.unwrap_or(0x7FFF) as u16;
        (kind == Kind::OverCurrent).then(|| WORDS.put(0x20 + channel.number(), word))
    }

    fn unmask(causes: Causes) -> Option<Step> {
        Some(WORDS.put(0x25, CAUSES.word(causes)))
    }

    fn read_causes() -> Option<Step> {
        Some(WORDS.read(0x24, 18))
    }

    fn causes(raw: &[u8]) -> Causes {
        CAUSES.causes(WORDS.at(raw, 18))
    }

    fn clear(causes: Causes) -> Option<Step> {
        Some(WORDS.write(0x24, CAUSES.word(causes)))
    }
}
