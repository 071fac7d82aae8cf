use crate::old::alert::{Kind, Outputs};
use crate::old::part::{
    Accumulators, AlertSpec, BusRange, Oscillator, Pace, PaceSpec, RangeSpec, SenseRange, Source,
    Spec, Supply,
};
use crate::units::{Current, Voltage};

/// ±65.536 mV, LSB 500 nV.
pub const SENSE_65_MV: SenseRange = SenseRange(0);
/// ±26.2144 mV, LSB 200 nV.
pub const SENSE_26_MV: SenseRange = SenseRange(1);

/// 6.5536 V, LSB 100 µV.
pub const BUS_6_V: BusRange = BusRange(0);
/// 16.384 V, LSB 250 µV.
pub const BUS_16_V: BusRange = BusRange(1);
/// 65.536 V, LSB 1 mV.
pub const BUS_65_V: BusRange = BusRange(2);

/// 2000 rounds a second.
pub const PACE_2000: Pace = Pace(0);
/// 500 rounds a second.
pub const PACE_500: Pace = Pace(1);
/// 100 rounds a second.
pub const PACE_100: Pace = Pace(2);
/// 10 rounds a second.
pub const PACE_10: Pace = Pace(3);
/// 1 round a second.
pub const PACE_1: Pace = Pace(4);

/// What Corncrake can do (sections 3 to 8 of its datasheet).
pub const SPEC: Spec = Spec {
    name: "Corncrake",
    channels: 4,
    sense_unit_nv: 100,
    bus_unit_nv: 50_000,
    sense: &[sense(5, 2_500), sense(2, 1_200)],
    bus: &[
        bus(2, 1_000, 150),
        bus(5, 2_500, 400),
        bus(20, 10_000, 1_500),
    ],
    bias: Current::from_nanoamps(20),
    zero_stability: Voltage::from_nanovolts(50),
    paces: &[
        PaceSpec { period_us: 500 },
        PaceSpec { period_us: 2_000 },
        PaceSpec { period_us: 10_000 },
        PaceSpec { period_us: 100_000 },
        PaceSpec {
            period_us: 1_000_000,
        },
    ],
    conversion_ns: 62_500,
    averaging_max: 10,
    burst_max: 1_024,
    skew_us: 0,
    power: Source::Part,
    sums: Source::Part,
    accumulators: Accumulators {
        energy_bits: 60,
        charge_bits: 44,
        rounds_bits: 28,
    },
    alerts: AlertSpec {
        outputs: Outputs::A.union(Outputs::B),
        kinds: &Kind::ALL,
        debounce_max: 15,
        following: true,
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
};

const fn sense(lsb_units: u32, noise_nv: i64) -> RangeSpec {
    RangeSpec {
        lsb_units,
        code_max: 131_071,
        gain_ppm: 2_000,
        offset: Voltage::from_nanovolts(10_000),
        noise: Voltage::from_nanovolts(noise_nv),
    }
}

const fn bus(lsb_units: u32, offset_uv: i64, noise_uv: i64) -> RangeSpec {
    RangeSpec {
        lsb_units,
        code_max: 65_535,
        gain_ppm: 1_500,
        offset: Voltage::from_microvolts(offset_uv),
        noise: Voltage::from_microvolts(noise_uv),
    }
}
