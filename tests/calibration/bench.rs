//! One rail of a Corncrake whose errors are chosen by hand; current, voltage and temperature are
//! held until set again.

use core::time::Duration;

use crake::board::{Correction, Load, Rail, SenseResistor};
use crake::calibration::Collection;
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, Reading, ReadingBound, Sample, ShuntMonitor};
use crake_sim::bench::{Bench, Part};
use crake_sim::board::SenseResistor as Real;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{Means, Plant, Truth};

/// Errors of a part and a sense resistor, each as a fraction of its limit in section 7 of the
/// datasheet and on the board.
#[derive(Clone, Copy, Debug, Default)]
pub struct Errors {
    /// Gain in either sense range, coarse first.
    pub gains: [f64; 2],
    pub offset: f64,
    pub bias: f64,
    pub resistor: f64,
    pub rail_gain: f64,
    pub rail_offset: f64,
    /// Of the offset's wander.
    pub drift: f64,
}

/// What flows, and how the sense resistor's temperature has changed it, as a fraction of its limit.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    pub current_na: i64,
    pub voltage_nv: i64,
    pub temperature: f64,
}

/// 1 Ω ± 1 %, 50 ppm/K over 20 K: 0.1 %. At most 60 mA either way.
pub fn rail() -> Rail {
    let resistor = SenseResistor::new(Resistance::from_ohms(1), Tolerance::from_percent(1))
        .with_temperature(50, 20_000);
    Rail::new(resistor).with_load(Load::smooth(Current::from_milliamps(60)).both_ways())
}

pub struct Rig {
    pub bench: Bench,
    part: Part<model::Model>,
    errors: Errors,
}

impl Rig {
    /// `seed` is for noise alone.
    pub fn new(errors: Errors, seed: u64) -> Self {
        let ideal = model::Individual::ideal();
        let drift = model::Drift {
            amplitude: 25.0 * errors.drift,
            period_ns: 20_000_000_000,
            phase_ns: 0,
        };
        let individual = model::Individual {
            sense_gain: [errors.gains.map(|gain| gain * 0.002); 4],
            sense_offset_nv: [errors.offset * 10_000.0; 4],
            sense_drift: [drift; 4],
            bias_na: [errors.bias * 20.0; 4],
            rail_gain: [[errors.rail_gain * 0.0015; 3]; 4],
            // Rail ranges of 6.5, 16 and 65 V.
            rail_offset_nv: [[1e6, 2.5e6, 1e7].map(|limit| errors.rail_offset * limit); 4],
            noise: true,
            ..ideal
        };
        let bench = Bench::new(seed);
        let part = bench
            .part(model::Corncrake::individual(0x32, individual))
            .expect("a free address");
        Self {
            bench,
            part,
            errors,
        }
    }

    pub fn set(&self, moment: Moment) {
        // 0.1 % by 20 K.
        let resistor = Real::ideal(1_000_000_000)
            .ambient_m_celsius(45_000)
            .individual(self.errors.resistor * 0.01, moment.temperature * 50e-6);
        self.part
            .rail(0, Held(moment), resistor)
            .expect("a channel");
    }

    /// Collects in the fine or the coarse sense range until it is enough.
    pub fn collect(&self, coarse: bool) -> Collection {
        let board = Corncrake::board(&[rail()]);
        let part = Corncrake::new(Address::Strap0);
        let mut monitor = Monitor::new(self.bench.i2c(), self.bench.delay(), part, &board)
            .with_clock(self.bench.clock());
        monitor.init(&config(coarse, 0)).expect("a part");
        let mut collection = Collection::new(Channel::C0);
        while !collection.is_enough() {
            self.bench.run_for(Duration::from_millis(600));
            let sample = monitor.sample().expect("a sample");
            collection.add(sample).expect("a steady current");
        }
        collection
    }

    /// A reading of a mean over 2^k scans, and its bound.
    pub fn measure(&self, correction: Correction, coarse: bool, k: u8) -> (Reading, ReadingBound) {
        let rail = rail().corrected(correction);
        let board = Corncrake::board(&[rail]);
        let part = Corncrake::new(Address::Strap0);
        let mut monitor = Monitor::new(self.bench.i2c(), self.bench.delay(), part, &board);
        monitor.init(&config(coarse, k)).expect("a part");
        self.bench.run_for(Duration::from_millis(2 + (1 << k)));
        let sample = monitor.sample().expect("a sample");
        let reading = sample.reading(Channel::C0).expect("a reading");
        (reading, sample.bound(Channel::C0, &rail).expect("a bound"))
    }
}

/// 2000 scans a second.
fn config(coarse: bool, k: u8) -> Config<1> {
    let sense = Voltage::from_millivolts(if coarse { 60 } else { 26 });
    let full_scale = FullScale::new(sense, Voltage::from_volts(5));
    Config::continuous([full_scale], ScanRate::per_second(2_000)).averaging(k)
}

struct Held(Moment);

impl Plant for Held {
    fn window(&mut self, _: u64, _: u64) -> Means {
        Means {
            current_na: self.0.current_na as f64,
            voltage_nv: self.0.voltage_nv as f64,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}
