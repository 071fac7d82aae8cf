//! The analogue side: rails, the shared converter and its oscillator.

use alloc::boxed::Box;

use super::{CHANNELS, individual::Individual};
use crate::{
    board::SenseResistor,
    plant::{Means, Plant, Truth},
    rng::Rng,
};

/// Turns what the plants do into codes. Survives resets: these are properties of the board and of the silicon.
pub(super) struct Converter {
    pub(super) individual: Individual,
    pub(super) conversions: u64,
    pub(super) last: Option<Converted>,
    rails: [Option<Rail>; CHANNELS],
    noise: Rng,
    oscillator: Rng,
    conversion_ns: u64,
    rounds_to_redraw: u16,
    /// Offset with drift, as of the last round's start.
    sense_offset_nv: [f64; CHANNELS],
}

/// One conversion, as it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Converted {
    /// The channel, 0 to 3.
    pub channel: usize,
    /// Which of its inputs.
    pub input: Input,
    /// The code, in the LSB of the range that was active.
    pub code: i32,
    /// The input lay beyond the range, and the code is its end.
    pub clipped: bool,
    /// End of the aperture, in nanoseconds of the bench's clock.
    pub at_ns: u64,
}

/// An input of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    /// The voltage across the sense resistor.
    Sense,
    /// The bus voltage.
    Bus,
}

/// A code, and whether the input was beyond its range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Code {
    pub(super) value: i32,
    pub(super) clipped: bool,
}

impl Converter {
    pub(super) fn new(individual: Individual, rng: &Rng) -> Self {
        Self {
            conversion_ns: individual.conversion_ns,
            sense_offset_nv: individual.sense_offset_nv,
            individual,
            conversions: 0,
            last: None,
            rails: [const { None }; CHANNELS],
            noise: rng.stream("noise"),
            oscillator: rng.stream("wander"),
            rounds_to_redraw: 0,
        }
    }

    /// Puts a rail behind a channel. False if there is no such channel.
    pub(super) fn attach(
        &mut self,
        channel: usize,
        plant: Box<dyn Plant>,
        resistor: SenseResistor,
    ) -> bool {
        let slot = self.rails.get_mut(channel);
        slot.map(|slot| {
            *slot = Some(Rail {
                plant,
                resistor,
                ahead: None,
            })
        })
        .is_some()
    }

    /// What flowed until `at_ns`; nothing without a rail. A conversion in progress must have been
    /// [cut](Self::cut) there.
    pub(super) fn truth(&mut self, channel: usize, at_ns: u64) -> Truth {
        let rail = self.rails.get_mut(channel).and_then(Option::as_mut);
        rail.map_or(Truth::default(), |rail| rail.plant.truth(at_ns))
    }

    /// Takes the first part of an aperture that began at `from_ns` and is still open.
    pub(super) fn cut(&mut self, channel: usize, from_ns: u64, at_ns: u64) {
        if let Some(rail) = self.rails.get_mut(channel).and_then(Option::as_mut) {
            rail.cut(from_ns, at_ns);
        }
    }

    /// A round or burst begins: lets oscillator and offsets wander; gives the length of its conversions.
    pub(super) fn begin_round(&mut self, at_ns: u64) -> u64 {
        if self.individual.wander_ns > 0 {
            if self.rounds_to_redraw == 0 {
                self.rounds_to_redraw = ROUNDS_PER_REDRAW;
                let least = self
                    .individual
                    .conversion_ns
                    .saturating_sub(self.individual.wander_ns);
                self.conversion_ns = least
                    + self.oscillator.below(
                        self.individual
                            .wander_ns
                            .saturating_mul(2)
                            .saturating_add(1),
                    );
            }
            self.rounds_to_redraw -= 1;
        }
        for channel in 0..CHANNELS {
            self.sense_offset_nv[channel] = self.individual.sense_offset_nv[channel]
                + self.individual.sense_drift[channel].at(at_ns);
        }
        // A conversion of no length would never let time go on.
        self.conversion_ns.max(1)
    }

    #[inline]
    pub(super) fn sense(&mut self, channel: usize, range: usize, from_ns: u64, to_ns: u64) -> Code {
        let (lsb_nv, noise_nv) = SENSE_RANGES[range];
        let bias_na = self.individual.bias_na[channel];
        let input_nv = self.rails[channel].as_mut().map_or(0.0, |rail| {
            let current_na = rail.window(from_ns, to_ns).current_na;
            (current_na + bias_na) * rail.resistor.ohms(current_na)
        });
        let gain = 1.0 + self.individual.sense_gain[channel][range];
        let output_nv = input_nv * gain + self.sense_offset_nv[channel] + self.noise_nv(noise_nv);
        let code = nearest(output_nv / lsb_nv);
        let code = Code {
            value: code.clamp(SENSE_LEAST, SENSE_GREATEST) as i32,
            clipped: !(SENSE_LEAST..=SENSE_GREATEST).contains(&code),
        };
        self.note(channel, Input::Sense, code, to_ns);
        code
    }

    #[inline]
    pub(super) fn bus(&mut self, channel: usize, range: usize, from_ns: u64, to_ns: u64) -> Code {
        let (lsb_nv, noise_nv) = BUS_RANGES[range];
        let input_nv = self.rails[channel]
            .as_mut()
            .map_or(0.0, |rail| rail.window(from_ns, to_ns).voltage_nv);
        let gain = 1.0 + self.individual.bus_gain[channel][range];
        let output_nv = input_nv * gain
            + self.individual.bus_offset_nv[channel][range]
            + self.noise_nv(noise_nv);
        let code = nearest(output_nv / lsb_nv);
        let code = Code {
            value: code.clamp(0, BUS_GREATEST) as i32,
            clipped: code > BUS_GREATEST,
        };
        self.note(channel, Input::Bus, code, to_ns);
        code
    }

    #[inline]
    fn note(&mut self, channel: usize, input: Input, code: Code, at_ns: u64) {
        self.conversions += 1;
        self.last = Some(Converted {
            channel,
            input,
            code: code.value,
            clipped: code.clipped,
            at_ns,
        });
    }

    #[inline]
    fn noise_nv(&mut self, rms_nv: f64) -> f64 {
        if self.individual.noise {
            self.noise.noise_6_sigma() * rms_nv
        } else {
            0.0
        }
    }
}

struct Rail {
    plant: Box<dyn Plant>,
    resistor: SenseResistor,
    ahead: Option<Ahead>,
}

/// The first part of an aperture, taken before its end because the truth was asked for meanwhile: a plant's
/// time never goes back.
struct Ahead {
    from_ns: u64,
    until_ns: u64,
    /// Sums of mean times nanoseconds.
    current: f64,
    voltage: f64,
}

impl Rail {
    #[inline]
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        match self.ahead.take() {
            Some(ahead) if ahead.from_ns == from_ns => {
                let whole = self.go_on(ahead, to_ns);
                let length = (to_ns - from_ns) as f64;
                Means {
                    current_na: whole.current / length,
                    voltage_nv: whole.voltage / length,
                }
            }
            _ => self.plant.window(from_ns, to_ns),
        }
    }

    fn cut(&mut self, from_ns: u64, at_ns: u64) {
        let begun = self.ahead.take().filter(|ahead| ahead.from_ns == from_ns);
        let begun = begun.unwrap_or(Ahead {
            from_ns,
            until_ns: from_ns,
            current: 0.0,
            voltage: 0.0,
        });
        self.ahead = Some(self.go_on(begun, at_ns));
    }

    fn go_on(&mut self, mut ahead: Ahead, to_ns: u64) -> Ahead {
        if ahead.until_ns < to_ns {
            let means = self.plant.window(ahead.until_ns, to_ns);
            let length = (to_ns - ahead.until_ns) as f64;
            ahead.current += means.current_na * length;
            ahead.voltage += means.voltage_nv * length;
            ahead.until_ns = to_ns;
        }
        ahead
    }
}

/// To the nearest whole number, halves away from zero; the ends of i64 beyond it.
#[inline]
fn nearest(x: f64) -> i64 {
    if x < 0.0 {
        -((0.5 - x) as i64)
    } else {
        (x + 0.5) as i64
    }
}

/// LSB and r.m.s. noise in nanovolts, by range code (sections 3.4 and 7).
const SENSE_RANGES: [(f64, f64); 2] = [(500.0, 2_500.0), (200.0, 1_200.0)];
const BUS_RANGES: [(f64, f64); 4] = [
    (100_000.0, 150_000.0),
    (250_000.0, 400_000.0),
    (1_000_000.0, 1_500_000.0),
    // Code 3 is refused by RANGES; the entry keeps every two-bit code inside the table.
    (1_000_000.0, 1_500_000.0),
];
const SENSE_LEAST: i64 = -(1 << 17);
const SENSE_GREATEST: i64 = (1 << 17) - 1;
const BUS_GREATEST: i64 = 0xFFFF;
const ROUNDS_PER_REDRAW: u16 = 1024;

#[cfg(test)]
mod tests {
    use alloc::{rc::Rc, vec::Vec};
    use core::cell::RefCell;

    use super::*;

    #[test]
    fn nearest_rounds_both_signs_alike() {
        let cases = [
            (0.0, 0),
            (0.49, 0),
            (0.5, 1),
            (-0.5, -1),
            (-0.49, 0),
            (2.5, 3),
            (-7500.4, -7500),
            (1e300, i64::MAX),
            (-1e300, -i64::MAX),
        ];
        for (x, whole) in cases {
            assert_eq!(nearest(x), whole, "{x}");
        }
        assert_eq!(nearest(f64::NAN), 0);
    }

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

    // The mean of the ramp from 1 to 3 ms is 2e6 nA: 2 mA in 10 Ω is 20 mV, code 40000, cut at the truth's
    // moments or not.
    #[test]
    fn asking_for_the_truth_cuts_an_aperture_and_changes_nothing() {
        let calls = Rc::new(RefCell::new(Vec::new()));
        let mut converter = Converter::new(Individual::ideal(), &Rng::new(0));
        assert!(converter.attach(
            1,
            Box::new(Ramp(calls.clone())),
            SenseResistor::ideal(10_000_000_000)
        ));
        assert!(!converter.attach(4, Box::new(Ramp(calls.clone())), SenseResistor::ideal(1)));
        let ask = |converter: &mut Converter, from_ns, at_ns| {
            converter.cut(1, from_ns, at_ns);
            converter.truth(1, at_ns);
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
        assert_eq!(converter.bus(1, 0, 6_001_000, 6_002_000).value, 5_000);
        let calls = calls.borrow();
        assert!(
            calls.windows(2).all(|pair| pair[0].1 <= pair[1].0),
            "{calls:?}"
        );
        assert_eq!(converter.truth(2, 9), Truth::default());
    }

    #[test]
    fn the_oscillator_wanders_within_its_bound_and_only_every_1024_rounds() {
        let rng = Rng::new(9);
        let mut converter = Converter::new(Individual::drawn(&rng), &rng);
        let centre = converter.individual.conversion_ns;
        let lengths: Vec<u64> = (0..64 * 1024).map(|_| converter.begin_round(0)).collect();
        assert!(lengths.iter().all(|ns| ns.abs_diff(centre) <= 3));
        assert!(
            lengths
                .chunks(1024)
                .all(|same| same.iter().all(|ns| ns == &same[0]))
        );
        assert!(lengths.contains(&(centre - 3)) && lengths.contains(&(centre + 3)));
    }
}
