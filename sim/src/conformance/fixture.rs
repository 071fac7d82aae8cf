use alloc::{rc::Rc, vec::Vec};
use core::{cell::Cell, time::Duration};

use crake::config::Outputs;
use embedded_hal::i2c::{I2c, Operation};

use crate::bench::{Bench, BenchError, Part};
use crate::board::SenseResistor;
use crate::bus::{BusError, Speed};
use crate::part::{AlertOutputs, Order, PartModel};
use crate::plant::{Means, Plant, Truth};

/// What a map under test talks to: a model on a bench, a register file
/// ([`Scripted`](super::Scripted)), or hardware with sources behind its inputs that can be set
/// exactly.
pub trait Fixture {
    /// A transfer on its bus, as `embedded_hal::i2c::I2c::transaction` describes it.
    ///
    /// # Errors
    /// The bus's, by kind; but not `ErrorKind::Other`, by which the kit stops what does not end.
    fn transfer(&self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError>;

    /// Clock frequency of the bus in hertz.
    fn bus_hz(&self) -> u32;

    /// Nanoseconds since a moment of the fixture's own choosing.
    fn now_ns(&self) -> u64;

    /// Lets time pass.
    fn run_for_ns(&self, ns: u64);

    /// Puts voltages on a channel's inputs, exactly, from now on until changed: across the sense
    /// input, positive for current from source to load, and on the rail input. Nanovolts.
    fn apply(&self, channel: u8, sense_nv: i64, rail_nv: i64);

    /// Resets the part as a dip of its supply does, and returns at once.
    fn reset(&self);

    /// Sets a channel's running sums, modulo their widths, as if they had got there by scans and
    /// been latched there; firmware restarts after that. `false` where it cannot be done.
    fn preload(&self, channel: u8, charge: i64, energy: i64) -> bool {
        let _ = (channel, charge, energy);
        false
    }

    /// Sets the count of scans likewise. `false` where that cannot be done.
    fn preload_scans(&self, scans: u32) -> bool {
        let _ = scans;
        false
    }

    /// Whether an alert output is pulled low; `None` where the fixture cannot see it.
    fn is_low(&self, output: Outputs) -> Option<bool> {
        let _ = output;
        None
    }
}

/// A fixture of a model on a bench of its own, whose inputs are set by hand.
pub struct BenchFixture<M: PartModel> {
    bench: Bench,
    part: Part<M>,
    inputs: Vec<Input>,
}

/// What a model needs besides to be a fixture of the kit.
pub trait OnBench: AlertOutputs {
    /// The model's name for one of the driver's outputs; `None` where it has no such output.
    fn output(output: Outputs) -> Option<Self::Output>;

    /// Sets a channel's running sums; `false` where there are none.
    fn set_sums(&mut self, channel: usize, charge: i64, energy: i64) -> bool {
        let _ = (channel, charge, energy);
        false
    }

    /// Sets the count of scans; `false` where there is none.
    fn set_scans(&mut self, scans: u32) -> bool {
        let _ = scans;
        false
    }
}

/// Voltages across the sense input and on the rail input, in nanovolts.
type Input = Rc<Cell<(f64, f64)>>;

impl<M: OnBench> BenchFixture<M> {
    /// A bench with this part and nothing else, on a bus of 1 MHz, where time on the bus hides the
    /// least of a wait; 5 ms after it was powered.
    ///
    /// # Errors
    /// An address that the part cannot have.
    pub fn of<O: Order<Model = M>>(order: O) -> Result<Rc<dyn Fixture>, BenchError> {
        let bench = Bench::new(0);
        bench.set_bus_speed(Speed::FastPlus);
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
        bench.run_for(Duration::from_millis(5));
        Ok(Rc::new(Self {
            bench,
            part,
            inputs,
        }))
    }
}

impl<M: OnBench> Fixture for BenchFixture<M> {
    fn transfer(&self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        self.bench.i2c().transaction(address, operations)
    }

    fn bus_hz(&self) -> u32 {
        1_000_000
    }

    fn now_ns(&self) -> u64 {
        self.bench.now_ns()
    }

    fn run_for_ns(&self, ns: u64) {
        self.bench.run_for(Duration::from_nanos(ns));
    }

    fn apply(&self, channel: u8, sense_nv: i64, rail_nv: i64) {
        if let Some(input) = self.inputs.get(usize::from(channel)) {
            // Below 2^53: exact.
            input.set((sense_nv as f64, rail_nv as f64));
        }
    }

    fn reset(&self) {
        self.part.brown_out();
    }

    fn preload(&self, channel: u8, charge: i64, energy: i64) -> bool {
        self.part
            .with(|model| model.set_sums(channel.into(), charge, energy))
    }

    fn preload_scans(&self, scans: u32) -> bool {
        self.part.with(|model| model.set_scans(scans))
    }

    fn is_low(&self, output: Outputs) -> Option<bool> {
        Some(self.part.is_low(M::output(output)?))
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
