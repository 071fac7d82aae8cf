//! A model written outside the crate goes on the bench like those inside: rails, lines, steps,
//! truth.

use core::{fmt, time::Duration};

use crake_sim::{
    bench::{Bench, BenchError},
    board::SenseResistor,
    part::corncrake::{Corncrake, Output},
    part::{
        AlertOutputs, Converted, Input, Order, PartModel, Target,
        analogue::{Code, Inputs, Supply},
    },
    plant::{Constant, Plant, Rail, Source, Truth},
    rng::Rng,
};
use embedded_hal::{digital::PinState, i2c::I2c};

/// A part that nobody would buy: whatever is written to it starts one conversion of 100 µs; a read
/// gives the last code, one byte, LSB 1 mV. Its outputs are low above 100, one of them, and below,
/// the other.
struct Twig;

impl Order for Twig {
    type Model = Model;

    fn address(&self) -> u8 {
        0x5D
    }

    fn build(self, _: &Rng) -> Option<Model> {
        Some(Model {
            now_ns: 0,
            until_ns: None,
            inputs: Inputs::new(None),
            supply: Supply::new(1),
            powered: true,
            code: 0,
        })
    }
}

struct Model {
    now_ns: u64,
    until_ns: Option<u64>,
    inputs: Inputs<1>,
    supply: Supply,
    powered: bool,
    code: u8,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Pin {
    Above,
    Below,
}

impl Target for Model {
    fn advance(&mut self, to_ns: u64) {
        if let Some(at_ns) = self.until_ns.take_if(|at_ns| *at_ns <= to_ns) {
            let nv = self.inputs.sense_nv(0, 0.0, at_ns - 100_000, at_ns);
            let code = Code::unsigned(nv / 1e6, 8);
            self.inputs.note(0, Input::Sense, code, at_ns);
            self.supply.draw(1, at_ns);
            self.code = code.value as u8;
        }
        self.now_ns = self.now_ns.max(to_ns);
    }

    fn next_event_ns(&self) -> Option<u64> {
        self.until_ns
    }

    fn start(&mut self) {}

    fn address(&mut self, byte: u8) -> bool {
        self.powered && byte >> 1 == 0x5D
    }

    fn write(&mut self, _: u8) -> bool {
        self.until_ns = Some(self.now_ns + 100_000);
        self.supply.draw(1_001, self.now_ns);
        true
    }

    fn offer(&mut self) -> u8 {
        self.code
    }

    fn settle(&mut self, _: u8) {}

    fn stop(&mut self) {}

    fn incomplete_byte(&mut self) {}
}

impl PartModel for Model {
    fn own_address(&self) -> u8 {
        0x5D
    }

    fn channels(&self) -> usize {
        1
    }

    fn attach(&mut self, channel: usize, plant: Box<dyn Plant>, resistor: SenseResistor) -> bool {
        self.inputs.attach(channel, plant, resistor)
    }

    fn resistor(&mut self, channel: usize) -> Option<&mut SenseResistor> {
        self.inputs.resistor(channel)
    }

    fn truth(&mut self, channel: usize) -> Truth {
        if let Some(until_ns) = self.until_ns {
            self.inputs.cut(0, until_ns - 100_000, self.now_ns);
        }
        self.inputs.truth(channel, self.now_ns)
    }

    fn conversions(&self) -> u64 {
        self.inputs.conversions()
    }

    fn last_conversion(&self) -> Option<Converted> {
        self.inputs.last()
    }

    fn supply_charge_na_ns(&self) -> u128 {
        self.supply.charge_na_ns(self.now_ns)
    }

    fn supply_mv(&self) -> u32 {
        5_000
    }

    fn is_powered(&self) -> bool {
        self.powered
    }

    fn power_loss(&mut self) {
        (self.powered, self.until_ns, self.code) = (false, None, 0);
        self.supply.draw(0, self.now_ns);
    }

    fn power_up(&mut self) {
        self.powered = true;
        self.supply.draw(1, self.now_ns);
    }
}

impl AlertOutputs for Model {
    type Output = Pin;

    fn is_low(&self, output: Pin) -> bool {
        match output {
            Pin::Above => self.code > 100,
            Pin::Below => self.code < 100,
        }
    }

    fn is_reached(&self, _: Pin) -> bool {
        true
    }
}

impl fmt::Debug for Model {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "code {}", self.code)
    }
}

// 120 mA in 1 Ω are 120 mV: code 120.
#[test]
fn a_model_of_ones_own_has_rails_lines_steps_truth_and_a_supply()
-> Result<(), Box<dyn std::error::Error>> {
    let bench = Bench::new(1);
    let (twig, crake) = (bench.part(Twig)?, bench.part(Corncrake::ideal(0x32))?);
    assert_eq!(bench.part(Twig).err(), Some(BenchError::AddressTaken(0x5D)));
    let load = Constant::new(120_000_000)?;
    let rail = Rail::new(Source::of(Constant::new(5_000_000_000)?), load)?;
    twig.rail(0, rail, SenseResistor::ideal(1_000_000_000))?;
    let (above, below) = (bench.alert(&twig, Pin::Above), bench.line());
    below.wire(&twig, Pin::Below);
    below.wire(&crake, Output::A);
    above.set_recording(true);
    assert_eq!(
        (above.level(), below.level()),
        (PinState::High, PinState::Low)
    );
    assert_eq!(
        above.to_string(),
        "0x5d output Above (nothing is converted)"
    );

    bench.i2c().write(0x5D, &[0])?;
    let began_ns = twig.next_event_ns().ok_or("nothing begins")? - 100_000;
    bench.run_for(Duration::from_micros(10));
    twig.truth(0)?; // within the aperture
    let step = bench.step().ok_or("no step")?;
    assert_eq!(
        step.to_string(),
        format!("0x5d channel 0 sense 120 at {} ns", began_ns + 100_000)
    );
    assert_eq!(
        (above.level(), below.level()),
        (PinState::Low, PinState::High)
    );
    assert_eq!(above.edges()[0].at_ns, began_ns + 100_000);
    assert_eq!(bench.step(), None);

    let mut byte = [0];
    bench.i2c().read(0x5D, &mut byte)?;
    assert_eq!(byte, [120]);
    let ns = bench.now_ns();
    assert_eq!(
        twig.truth(0)?.charge_half_na_ns,
        2 * 120_000_000 * i128::from(ns)
    );
    assert_eq!(twig.supply_charge_na_ns(), u128::from(ns) + 1_000 * 100_000);
    assert_eq!(
        twig.supply_energy_na_mv_ns(),
        5_000 * twig.supply_charge_na_ns()
    );
    assert_eq!(format!("{twig:?}"), "Part(0x5d, code 120, 1 conversions)");
    twig.brown_out();
    assert_eq!(twig.with(|model| model.code), 0);
    Ok(())
}
