//! What the part does in time: it wakes up, converts the inputs of the enabled channels one after
//! the other, and is idle again.

use super::{
    CHANNELS, CONVERTING_NA, IDLE_NA, Individual, Model,
    input::{INPUTS, Input},
    registers::NO_RESULTS,
};
use crate::{
    part::{
        Input as Kind,
        analogue::{Code, Inputs},
    },
    rng::Rng,
};

/// Turns what the plants do into codes. Survives resets: these are properties of the board and of
/// the silicon.
pub(super) struct Converter {
    pub(super) individual: Individual,
    pub(super) inputs: Inputs<CHANNELS>,
}

/// A single-shot in progress.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shot {
    /// What is being converted. None while the part wakes up.
    input: Option<Input>,
    from_ns: u64,
    pub(super) until_ns: u64,
    codes: [Code; INPUTS],
}

impl Shot {
    /// The channel that is being converted, and since when.
    pub(super) fn aperture(&self) -> Option<(usize, u64)> {
        self.input.map(|input| (input.channel(), self.from_ns))
    }
}

impl Model {
    /// Does all that falls until `to_ns`, the moment itself included.
    pub(super) fn run_to(&mut self, to_ns: u64) {
        while let Some(shot) = self.shot.filter(|shot| shot.until_ns <= to_ns) {
            self.go_on(shot);
        }
        self.now_ns = self.now_ns.max(to_ns);
    }

    /// A TRIGGER was accepted.
    pub(super) fn trigger(&mut self) {
        self.shot = Some(Shot {
            input: None,
            from_ns: self.now_ns,
            until_ns: self.now_ns + WAKE_UP_NS,
            codes: NO_RESULTS,
        });
        self.supply.draw(CONVERTING_NA, self.now_ns);
    }

    /// The wake-up or the conversion that ends at `shot.until_ns` has ended.
    fn go_on(&mut self, mut shot: Shot) {
        let at_ns = shot.until_ns;
        if let Some(input) = shot.input {
            let range = self.registers.range(input);
            let code = self.converter.convert(input, range, shot.from_ns, at_ns);
            shot.codes[input.index()] = code;
            self.registers.compare(input, code);
        }
        shot.input = self.registers.next(shot.input);
        if shot.input.is_some() {
            shot.from_ns = at_ns;
            shot.until_ns = at_ns + self.converter.conversion_ns();
            self.shot = Some(shot);
        } else {
            self.shot = None;
            self.registers.finish(shot.codes);
            self.supply.draw(IDLE_NA, at_ns);
        }
    }
}

impl Converter {
    pub(super) fn new(individual: Individual, rng: &Rng) -> Self {
        Self {
            inputs: Inputs::new(individual.noise.then(|| rng.stream("noise"))),
            individual,
        }
    }

    fn conversion_ns(&self) -> u64 {
        // A conversion of no length would have no mean.
        self.individual.conversion_ns.max(1)
    }

    fn convert(&mut self, input: Input, range: usize, from_ns: u64, to_ns: u64) -> Code {
        let (channel, individual) = (input.channel(), &self.individual);
        let (kind, code);
        if input.is_sense() {
            let (lsb_nv, rms_nv) = SENSE_RANGES[range];
            let noise_nv = self.inputs.noise_nv(channel, Kind::Sense, rms_nv);
            let bias_na = individual.bias_na[channel];
            let input_nv = self.inputs.sense_nv(channel, bias_na, from_ns, to_ns);
            let gain = 1.0 + individual.sense_gain[channel][range];
            let drift_nv = individual.sense_drift[channel].at(from_ns);
            let offset_nv = individual.sense_offset_nv[channel] + drift_nv;
            let output_nv = input_nv * gain + offset_nv + noise_nv;
            (kind, code) = (Kind::Sense, Code::signed(output_nv / lsb_nv, BITS));
        } else {
            let (lsb_nv, rms_nv) = RAIL_RANGES[range];
            let noise_nv = self.inputs.noise_nv(channel, Kind::Rail, rms_nv);
            let input_nv = self.inputs.rail_nv(channel, from_ns, to_ns);
            let gain = 1.0 + individual.rail_gain[channel][range];
            let offset_nv = individual.rail_offset_nv[channel][range];
            let output_nv = input_nv * gain + offset_nv + noise_nv;
            (kind, code) = (Kind::Rail, Code::unsigned(output_nv / lsb_nv, BITS));
        }
        self.inputs.note(channel, kind, code, to_ns);
        code
    }
}

/// From the trigger to the first conversion (section 5).
const WAKE_UP_NS: u64 = 90_000;
const BITS: u32 = 12;
/// LSB and r.m.s. noise in nanovolts, by range code (sections 3.2 and 6).
const SENSE_RANGES: [(f64, f64); 2] = [(36_000.0, 20_000.0), (9_000.0, 7_000.0)];
const RAIL_RANGES: [(f64, f64); 2] = [(7e6, 4e6), (1.75e6, 1.2e6)];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{board::SenseResistor, plant::Constant, plant::Rail, plant::Source};

    /// Section 6: what the input shows, more by its gain, and offset and noise besides. The noise
    /// of the next conversion is known before it.
    #[test]
    fn a_code_is_the_input_with_its_errors() {
        let mut individual = Individual::ideal();
        individual.noise = true;
        individual.sense_gain[1][0] = -0.006;
        individual.sense_offset_nv[1] = 44_000.0;
        individual.bias_na[1] = 150.0;
        individual.rail_gain[1][1] = 0.005;
        individual.rail_offset_nv[1][1] = -5e6;
        let mut converter = Converter::new(individual, &Rng::new(3));
        // 36 mA in 1 Ω and 3.5 V.
        let source = Source::of(Constant::new(3_500_000_000).expect("volts"));
        let rail = Rail::new(source, Constant::new(36_000_000).expect("amperes"));
        let rail = alloc::boxed::Box::new(rail.expect("a rail"));
        let ohm = SenseResistor::ideal(1_000_000_000);
        assert!(converter.inputs.attach(1, rail, ohm));
        let mut noises = [0.0; 2];
        for n in 0..20 {
            let (from_ns, to_ns) = (n * 1_000, n * 1_000 + 500);
            let inputs = &converter.inputs;
            noises = [
                inputs.noise_nv(1, Kind::Sense, 20_000.0),
                inputs.noise_nv(1, Kind::Rail, 1.2e6),
            ];
            let sense = (36_000_150.0 * 0.994 + 44_000.0 + noises[0]) / 36_000.0;
            let rail = (3.5e9 * 1.005 - 5e6 + noises[1]) / 1.75e6;
            for (input, range, exact) in [(Input::sense(1), 0, sense), (Input::rail(1), 1, rail)] {
                let code = converter.convert(input, range, from_ns, to_ns).value;
                assert!(
                    (f64::from(code) - exact).abs() <= 0.500_001,
                    "{code} for {exact}"
                );
            }
        }
        assert!(noises.iter().all(|noise| *noise != 0.0));
    }
}
