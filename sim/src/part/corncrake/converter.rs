//! The analogue side: rails, the shared converter and its oscillator.

use super::{CHANNELS, individual::Individual};
use crate::{
    part::{
        Input,
        analogue::{Code, Inputs},
    },
    rng::Rng,
};

/// Turns what the plants do into codes. Survives resets: these are properties of the board and of
/// the silicon.
pub(super) struct Converter {
    pub(super) individual: Individual,
    pub(super) inputs: Inputs<CHANNELS>,
    /// Offset with drift, as of the last scan's start.
    sense_offset_nv: [f64; CHANNELS],
}

impl Converter {
    pub(super) fn new(individual: Individual, rng: &Rng) -> Self {
        Self {
            sense_offset_nv: individual.sense_offset_nv,
            inputs: Inputs::new(individual.noise.then(|| rng.stream("noise"))),
            individual,
        }
    }

    /// A scan or capture begins: lets oscillator and offsets wander; gives the length of its
    /// conversions.
    pub(super) fn begin_scan(&mut self, at_ns: u64) -> u64 {
        for channel in 0..CHANNELS {
            self.sense_offset_nv[channel] = self.individual.sense_offset_nv[channel]
                + self.individual.sense_drift[channel].at(at_ns);
        }
        let conversion_ns = self.individual.conversion_ns as f64;
        let drift_ns = self.individual.conversion_drift.at(at_ns);
        // To whole nanoseconds. A conversion of no length would never let time go on.
        ((conversion_ns + drift_ns + 0.5) as u64).max(1)
    }

    #[inline]
    pub(super) fn sense(&mut self, channel: usize, range: usize, from_ns: u64, to_ns: u64) -> Code {
        let (lsb_nv, rms_nv) = SENSE_RANGES[range];
        let noise_nv = self.inputs.noise_nv(channel, Input::Sense, rms_nv);
        let bias_na = self.individual.bias_na[channel];
        let input_nv = self.inputs.sense_nv(channel, bias_na, from_ns, to_ns);
        let gain = 1.0 + self.individual.sense_gain[channel][range];
        let offset_nv = self.sense_offset_nv[channel];
        let output_nv = input_nv * gain + offset_nv + noise_nv;
        let code = Code::signed(output_nv / lsb_nv, SENSE_BITS);
        self.inputs.note(channel, Input::Sense, code, to_ns);
        code
    }

    #[inline]
    pub(super) fn rail(&mut self, channel: usize, range: usize, from_ns: u64, to_ns: u64) -> Code {
        let (lsb_nv, rms_nv) = RAIL_RANGES[range];
        let noise_nv = self.inputs.noise_nv(channel, Input::Rail, rms_nv);
        let input_nv = self.inputs.rail_nv(channel, from_ns, to_ns);
        let gain = 1.0 + self.individual.rail_gain[channel][range];
        let offset_nv = self.individual.rail_offset_nv[channel][range];
        let output_nv = input_nv * gain + offset_nv + noise_nv;
        let code = Code::unsigned(output_nv / lsb_nv, RAIL_BITS);
        self.inputs.note(channel, Input::Rail, code, to_ns);
        code
    }
}

/// LSB and r.m.s. noise in nanovolts, by range code (sections 3.4 and 7).
const SENSE_RANGES: [(f64, f64); 2] = [(500.0, 2_500.0), (200.0, 1_200.0)];
const RAIL_RANGES: [(f64, f64); 4] = [
    (100_000.0, 150_000.0),
    (250_000.0, 400_000.0),
    (1_000_000.0, 1_500_000.0),
    // Code 3 is refused by RANGES; the entry keeps every two-bit code inside the table.
    (1_000_000.0, 1_500_000.0),
];
const SENSE_BITS: u32 = 18;
const RAIL_BITS: u32 = 16;

#[cfg(test)]
mod tests {
    use alloc::{boxed::Box, rc::Rc, vec::Vec};
    use core::cell::RefCell;

    use super::*;
    use crate::{
        board::SenseResistor,
        part::analogue::Drift,
        plant::{Means, Plant, Truth},
    };

    /// A current that grows by 1 nA per nanosecond, and a list of the calls.
    struct Ramp(Rc<RefCell<Vec<(u64, u64)>>>);

    impl Plant for Ramp {
        fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
            self.0.borrow_mut().push((from_ns, to_ns));
            Means {
                current_na: (from_ns + to_ns) as f64 / 2.0,
                voltage_nv: 5e8,
            }
        }
        fn truth(&mut self, at_ns: u64) -> Truth {
            self.0.borrow_mut().push((at_ns, at_ns));
            Truth::default()
        }
    }

    // The mean of the ramp from 1 to 3 ms is 2e6 nA: 2 mA in 10 Ω is 20 mV, code 40000, cut at the
    // truth's moments or not.
    #[test]
    fn asking_for_the_truth_cuts_an_aperture_and_changes_nothing() {
        let calls = Rc::new(RefCell::new(Vec::new()));
        let mut converter = Converter::new(Individual::ideal(), &Rng::new(0));
        assert!(converter.inputs.attach(
            1,
            Box::new(Ramp(calls.clone())),
            SenseResistor::ideal(10_000_000_000)
        ));
        assert!(!converter.inputs.attach(
            4,
            Box::new(Ramp(calls.clone())),
            SenseResistor::ideal(1)
        ));
        let ask = |converter: &mut Converter, from_ns, at_ns| {
            converter.inputs.cut(1, from_ns, at_ns);
            converter.inputs.truth(1, at_ns);
        };
        ask(&mut converter, 1_000_000, 1_400_000);
        ask(&mut converter, 1_000_000, 1_400_000);
        ask(&mut converter, 1_000_000, 2_900_000);
        assert_eq!(
            converter.sense(1, 0, 1_000_000, 3_000_000),
            Code {
                value: 40_000,
                clipped: false
            }
        );
        assert_eq!(converter.sense(1, 0, 3_000_000, 3_000_002).value, 60_000);
        // An aperture that was given up leaves nothing behind, be the next one cut or not.
        ask(&mut converter, 4_000_000, 4_500_000);
        assert_eq!(converter.sense(1, 0, 5_000_000, 5_000_002).value, 100_000);
        ask(&mut converter, 5_000_002, 5_000_004);
        ask(&mut converter, 6_000_000, 6_000_500);
        assert!(converter.sense(1, 1, 6_000_000, 6_001_000).clipped);
        ask(&mut converter, 6_001_000, 6_001_400);
        assert_eq!(converter.rail(1, 0, 6_001_000, 6_002_000).value, 5_000);
        let calls = calls.borrow();
        assert!(
            calls.windows(2).all(|pair| pair[0].1 <= pair[1].0),
            "{calls:?}"
        );
        assert_eq!(converter.inputs.truth(2, 9), Truth::default());
    }

    /// Section 7: what the input shows, more by its gain, and offset and noise besides. The noise
    /// of the next conversion is known before it.
    #[test]
    fn a_code_is_the_input_with_its_errors() {
        let rng = Rng::new(3);
        let mut individual = Individual::ideal();
        individual.noise = true;
        individual.sense_gain[1][1] = 0.002;
        individual.sense_offset_nv[1] = 10_000.0;
        individual.bias_na[1] = 20.0;
        individual.rail_gain[1][0] = -0.0015;
        individual.rail_offset_nv[1][0] = 1e6;
        let mut converter = Converter::new(individual, &rng);
        // 4 mA in 1 Ω and 0.5 V: the ramp's mean about 4 ms.
        let calls = Rc::new(RefCell::new(Vec::new()));
        converter.inputs.attach(
            1,
            Box::new(Ramp(calls)),
            SenseResistor::ideal(1_000_000_000),
        );
        let mut codes = Vec::new();
        for _ in 0..20 {
            let noise_nv = converter.inputs.noise_nv(1, Input::Sense, 1_200.0);
            let sense = (4_000_020.0 * 1.002 + 10_000.0 + noise_nv) / 200.0;
            let noise_nv = converter.inputs.noise_nv(1, Input::Rail, 150_000.0);
            let rail = (5e8 * 0.9985 + 1e6 + noise_nv) / 100_000.0;
            let sensed = converter.sense(1, 1, 4_000_000, 4_000_000).value;
            let railed = converter.rail(1, 0, 4_000_000, 4_000_000).value;
            assert!(
                (f64::from(sensed) - sense).abs() <= 0.500_001,
                "{sensed} for {sense}"
            );
            assert!(
                (f64::from(railed) - rail).abs() <= 0.500_001,
                "{railed} for {rail}"
            );
            codes.push(sensed);
        }
        assert!(codes.iter().any(|code| *code != codes[0]));
    }

    /// Half a nanosecond makes a whole one, and nothing makes one too: time goes on.
    #[test]
    fn a_conversion_takes_whole_nanoseconds() {
        for (conversion_ns, amplitude, expected) in [(10, 0.499, 10), (10, 0.5, 11), (0, 0.0, 1)] {
            let mut individual = Individual::ideal();
            individual.conversion_ns = conversion_ns;
            // At its peak.
            individual.conversion_drift = Drift {
                amplitude,
                period_ns: 1_000,
                phase_ns: 500,
            };
            let mut converter = Converter::new(individual, &Rng::new(0));
            assert_eq!(converter.begin_scan(0), expected);
        }
    }

    /// Any moment, in any order; both ends are reached, and a period's mean is the centre.
    #[test]
    fn the_oscillator_wanders_within_its_bound_as_time_has_it() {
        let rng = Rng::new(9);
        let mut converter = Converter::new(Individual::from_seed(&rng), &rng);
        let centre = converter.individual.conversion_ns;
        let period_ns = converter.individual.conversion_drift.period_ns;
        let at_ns = |step: u64| step * period_ns / 1_000;
        let lengths: Vec<u64> = (0..1_000).map(|n| converter.begin_scan(at_ns(n))).collect();
        assert!(lengths.iter().all(|ns| ns.abs_diff(centre) <= 3));
        assert!(lengths.contains(&(centre - 3)) && lengths.contains(&(centre + 3)));
        // Halves are rounded upwards: six of the steps may fall on one.
        let sum: i64 = lengths.iter().map(|&ns| ns as i64 - centre as i64).sum();
        assert!(sum.abs() <= 12, "{sum}");
        let backwards = (0..1_000).rev().map(|n| converter.begin_scan(at_ns(n)));
        assert!(backwards.eq(lengths.into_iter().rev()));
    }
}
