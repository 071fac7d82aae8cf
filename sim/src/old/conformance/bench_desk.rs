use alloc::{rc::Rc, vec::Vec};
use core::{cell::Cell, time::Duration};

use crake::old::alert::Outputs;

use super::Desk;
use crate::bench::{Bench, BenchError, I2c, Part};
use crate::board::SenseResistor;
use crate::bus::Speed;
use crate::part::{AlertOutputs, Order};
use crate::plant::{Means, Plant, Truth};

/// A fixture of a model on a bench of its own, whose inputs are set by hand.
pub struct BenchDesk<M: AlertOutputs> {
    bench: Bench,
    part: Part<M>,
    inputs: Vec<Input>,
    bus_hz: u32,
}

/// What a model needs besides to be a fixture of the kit.
pub trait OnDesk: AlertOutputs {
    /// The model's name for one of the driver's outputs; `None` where it has no such output.
    fn output(output: Outputs) -> Option<Self::Output>;

    /// Sets a channel's running sums; `false` where there are none.
    fn set_sums(&mut self, channel: usize, charge: i64, energy: i64) -> bool {
        let _ = (channel, charge, energy);
        false
    }

    /// Sets the count of rounds; `false` where there is none.
    fn set_rounds(&mut self, rounds: u32) -> bool {
        let _ = rounds;
        false
    }
}

/// Voltages across the sense input and on the bus input, in nanovolts.
type Input = Rc<Cell<(f64, f64)>>;

impl<M: AlertOutputs> BenchDesk<M> {
    /// A bench with this part and nothing else, on a bus of this speed.
    ///
    /// # Errors
    /// An address that the part cannot have.
    pub fn new<O: Order<Model = M>>(order: O, speed: Speed) -> Result<Self, BenchError> {
        let bench = Bench::new(0);
        bench.set_bus_speed(speed);
        let part = bench.part(order)?;
        let count = part.with(|model| model.channels());
        let inputs: Vec<Input> = (0..count).map(|_| Input::default()).collect();
        for (channel, input) in inputs.iter().enumerate() {
            // One Ω: nanoamperes are nanovolts.
            part.rail(
                channel,
                Held(input.clone()),
                SenseResistor::ideal(1_000_000_000),
            )?;
        }
        let bus_hz = match speed {
            Speed::Standard => 100_000,
            Speed::Fast => 400_000,
            Speed::FastPlus => 1_000_000,
        };
        Ok(Self {
            bench,
            part,
            inputs,
            bus_hz,
        })
    }
}

impl<M: OnDesk> Desk for BenchDesk<M> {
    type I2c = I2c;

    fn i2c(&self) -> I2c {
        self.bench.i2c()
    }

    fn bus_hz(&self) -> u32 {
        self.bus_hz
    }

    fn now_ns(&self) -> u64 {
        self.bench.now_ns()
    }

    fn run_for_ns(&self, ns: u64) {
        self.bench.run_for(Duration::from_nanos(ns));
    }

    fn apply(&self, channel: u8, sense_nv: i64, bus_nv: i64) {
        if let Some(input) = self.inputs.get(usize::from(channel)) {
            // Below 2^53: exact.
            input.set((sense_nv as f64, bus_nv as f64));
        }
    }

    fn reset(&self) {
        self.part.brown_out();
    }

    fn preload(&self, channel: u8, charge: i64, energy: i64) -> bool {
        self.part
            .with(|model| model.set_sums(channel.into(), charge, energy))
    }

    fn preload_rounds(&self, rounds: u32) -> bool {
        self.part.with(|model| model.set_rounds(rounds))
    }

    fn is_low(&self, output: Outputs) -> Option<bool> {
        Some(self.part.is_low(M::output(output)?))
    }
}

impl<M: AlertOutputs> Clone for BenchDesk<M> {
    fn clone(&self) -> Self {
        Self {
            bench: self.bench.clone(),
            part: self.part.clone(),
            inputs: self.inputs.clone(),
            bus_hz: self.bus_hz,
        }
    }
}

/// Inputs that stay as they are put.
struct Held(Input);

impl Plant for Held {
    fn window(&mut self, _: u64, _: u64) -> Means {
        let (current_na, voltage_nv) = self.0.get();
        Means {
            current_na,
            voltage_nv,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}
