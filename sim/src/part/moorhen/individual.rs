use super::CHANNELS;
use crate::{part::analogue::Drift, rng::Rng};

/// The errors of one part: constant but for noise and the offsets' drift.
///
/// Output code before rounding is `input × (1 + gain) + offset + drift + noise`, over LSB
/// (datasheet, section 6). The fields are open so that a test can build the worst part that the
/// datasheet allows, or one that breaks it.
#[derive(Clone, Debug, PartialEq)]
pub struct Individual {
    /// Gain errors of the sense inputs by channel and range code; 0.001 is +0.1 %.
    pub sense_gain: [[f64; 2]; CHANNELS],
    /// Offset errors of the sense inputs in nanovolts, the same in both ranges.
    pub sense_offset_nv: [f64; CHANNELS],
    /// How the sense offsets wander.
    pub sense_drift: [Drift; CHANNELS],
    /// Gain errors of the rail inputs by channel and range code.
    pub rail_gain: [[f64; 2]; CHANNELS],
    /// Offset errors of the rail inputs in nanovolts, by channel and range code.
    pub rail_offset_nv: [[f64; 2]; CHANNELS],
    /// Input bias currents of the sense inputs in nanoamperes, seen as current through the sense
    /// resistor.
    pub bias_na: [f64; CHANNELS],
    /// Whether conversions are noisy.
    pub noise: bool,
    /// Length of a conversion, in nanoseconds; 0 counts as 1.
    pub conversion_ns: u64,
}

impl Individual {
    /// A part without any error: exact gain, no offset, bias or noise, nominal oscillator.
    pub fn ideal() -> Self {
        Self {
            sense_gain: [[0.0; 2]; CHANNELS],
            sense_offset_nv: [0.0; CHANNELS],
            sense_drift: [Drift::default(); CHANNELS],
            rail_gain: [[0.0; 2]; CHANNELS],
            rail_offset_nv: [[0.0; 2]; CHANNELS],
            bias_na: [0.0; CHANNELS],
            noise: false,
            conversion_ns: CONVERSION_NS,
        }
    }

    /// Errors from a seed, spread evenly within the limits of the datasheet's sections 5 and 6,
    /// sense offsets so that they keep to theirs however they drift.
    pub fn from_seed(rng: &Rng) -> Self {
        let mut gain = rng.stream("gain");
        let mut offset = rng.stream("offset");
        let mut drift = rng.stream("drift");
        let mut bias = rng.stream("bias");
        let mut gains =
            |limit| [[0.0; 2]; CHANNELS].map(|pair| pair.map(|_| gain.rectangular(limit)));
        Self {
            sense_gain: gains(SENSE_GAIN_LIMIT),
            rail_gain: gains(RAIL_GAIN_LIMIT),
            sense_offset_nv: [SENSE_CENTRE_LIMIT_NV; CHANNELS].map(|nv| offset.rectangular(nv)),
            rail_offset_nv: [RAIL_OFFSET_LIMIT_NV; CHANNELS]
                .map(|pair| pair.map(|nv| offset.rectangular(nv))),
            sense_drift: [SENSE_DRIFT_LIMIT_NV; CHANNELS]
                .map(|nv| Drift::from_seed(&mut drift, nv)),
            bias_na: [BIAS_LIMIT_NA; CHANNELS].map(|na| bias.rectangular(na)),
            noise: true,
            conversion_ns: rng.stream("oscillator").integer(FASTEST_NS..=SLOWEST_NS) as u64,
        }
    }
}

/// Nominal conversion, section 5.
const CONVERSION_NS: u64 = 170_000;
/// 170 µs / 1.03 and / 0.97, rounded inwards.
const FASTEST_NS: i64 = 165_049;
const SLOWEST_NS: i64 = 175_257;

const SENSE_GAIN_LIMIT: f64 = 0.006;
const SENSE_OFFSET_LIMIT_NV: f64 = 45_000.0;
/// Within this of the individual's offset: two moments then differ by at most the ±2 µV of the
/// datasheet.
const SENSE_DRIFT_LIMIT_NV: f64 = 1_000.0;
/// What the drift leaves to the offset.
const SENSE_CENTRE_LIMIT_NV: f64 = SENSE_OFFSET_LIMIT_NV - SENSE_DRIFT_LIMIT_NV;
const RAIL_GAIN_LIMIT: f64 = 0.005;
/// By range code.
const RAIL_OFFSET_LIMIT_NV: [f64; 2] = [14e6, 5e6];
const BIAS_LIMIT_NA: f64 = 150.0;
