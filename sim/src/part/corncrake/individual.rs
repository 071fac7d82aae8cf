use super::CHANNELS;
use crate::{part::analogue::Drift, rng::Rng};

/// The errors of one part: constant but for noise, the oscillator's wander and the offsets' drift.
///
/// Output code before rounding is `input × (1 + gain) + offset + drift + noise`, over LSB
/// (datasheet, section 7). The fields are open so that a test can build the worst part that the
/// datasheet allows, or one that breaks it.
#[derive(Clone, Debug, PartialEq)]
pub struct Individual {
    /// Gain errors of the sense inputs by channel and sense range code; 0.001 is +0.1 %.
    pub sense_gain: [[f64; 2]; CHANNELS],
    /// Offset errors of the sense inputs in nanovolts, the same in both ranges.
    pub sense_offset_nv: [f64; CHANNELS],
    /// How the sense offsets wander.
    pub sense_drift: [Drift; CHANNELS],
    /// Gain errors of the rail inputs by channel and rail range code.
    pub rail_gain: [[f64; 3]; CHANNELS],
    /// Offset errors of the rail inputs in nanovolts, by channel and rail range code.
    pub rail_offset_nv: [[f64; 3]; CHANNELS],
    /// Input bias currents of the sense inputs in nanoamperes, seen as current through the sense
    /// resistor.
    pub bias_na: [f64; CHANNELS],
    /// Whether conversions are noisy.
    pub noise: bool,
    /// Length of a conversion in the middle of the oscillator's wander, in nanoseconds.
    pub conversion_ns: u64,
    /// How the length wanders, in nanoseconds; a scan or capture keeps that of its start.
    pub conversion_drift: Drift,
}

impl Individual {
    /// A part without any error: exact gain, no offset, bias or noise, nominal oscillator.
    pub fn ideal() -> Self {
        Self {
            sense_gain: [[0.0; 2]; CHANNELS],
            sense_offset_nv: [0.0; CHANNELS],
            sense_drift: [Drift::default(); CHANNELS],
            rail_gain: [[0.0; 3]; CHANNELS],
            rail_offset_nv: [[0.0; 3]; CHANNELS],
            bias_na: [0.0; CHANNELS],
            noise: false,
            conversion_ns: CONVERSION_NS,
            conversion_drift: Drift::default(),
        }
    }

    /// Errors from a seed, spread evenly within the limits of the datasheet's sections 6 and 7,
    /// sense offsets so that they keep to theirs however they drift.
    pub fn from_seed(rng: &Rng) -> Self {
        let mut gain = rng.stream("gain");
        let mut offset = rng.stream("offset");
        let mut drift = rng.stream("drift");
        let mut bias = rng.stream("bias");
        let within = |limits: &[f64; 3], rng: &mut Rng| limits.map(|limit| rng.rectangular(limit));
        Self {
            sense_gain: core::array::from_fn(|_| {
                core::array::from_fn(|_| gain.rectangular(SENSE_GAIN_LIMIT))
            }),
            sense_offset_nv: core::array::from_fn(|_| offset.rectangular(SENSE_CENTRE_LIMIT_NV)),
            sense_drift: core::array::from_fn(|_| {
                Drift::from_seed(&mut drift, SENSE_DRIFT_LIMIT_NV)
            }),
            rail_gain: core::array::from_fn(|_| within(&[RAIL_GAIN_LIMIT; 3], &mut gain)),
            rail_offset_nv: core::array::from_fn(|_| within(&RAIL_OFFSET_LIMIT_NV, &mut offset)),
            bias_na: core::array::from_fn(|_| bias.rectangular(BIAS_LIMIT_NA)),
            noise: true,
            conversion_ns: rng
                .stream("oscillator")
                .integer(FASTEST_NS + WANDER_NS..=SLOWEST_NS - WANDER_NS)
                as u64,
            // All parts wander as far as they may; when is theirs.
            conversion_drift: Drift {
                amplitude: WANDER_NS as f64,
                ..Drift::from_seed(&mut rng.stream("wander"), WANDER_NS as f64)
            },
        }
    }
}

/// Nominal conversion, section 6.
pub(super) const CONVERSION_NS: u64 = 62_500;
/// 62.5 µs / 1.015 and / 0.985, rounded inwards.
const FASTEST_NS: i64 = 61_577;
const SLOWEST_NS: i64 = 63_451;
/// Any two settings of one part lie within twice this, 6 ns, which is below 0.01 % of the fastest
/// part's conversion. So each departs from the mean over whatever stretch of time by less than
/// that.
const WANDER_NS: i64 = 3;

const SENSE_GAIN_LIMIT: f64 = 0.002;
const SENSE_OFFSET_LIMIT_NV: f64 = 10_000.0;
/// Within this of the individual's offset: two moments then differ by at most the ±0.05 µV of the
/// datasheet.
const SENSE_DRIFT_LIMIT_NV: f64 = 25.0;
/// What the drift leaves to the offset.
const SENSE_CENTRE_LIMIT_NV: f64 = SENSE_OFFSET_LIMIT_NV - SENSE_DRIFT_LIMIT_NV;
const RAIL_GAIN_LIMIT: f64 = 0.0015;
const RAIL_OFFSET_LIMIT_NV: [f64; 3] = [1e6, 2.5e6, 10e6];
const BIAS_LIMIT_NA: f64 = 20.0;
