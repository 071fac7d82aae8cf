//! Individuals of part and sense resistor on the bench: each measured once through the whole model,
//! the bus and the driver.

use core::time::Duration;

use crake::board::Board;
use crake::config::{Config, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::Current;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor as Real;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{Constant, Rail, Source};
use crake_sim::rng::Rng;
use crake_sim::shunt::{Candidate, Demands};

/// What four individuals say of a current at the rail's voltage: current and power less the truth.
pub fn measured(
    demands: &Demands,
    candidate: &Candidate,
    current: Current,
    ambient_mc: i32,
    seed: u64,
) -> [[f64; 2]; 4] {
    let kinds = &demands.resistors;
    let mut rng = Rng::new(seed).stream("resistors");
    let limits = resistor(demands, candidate, ambient_mc)
        .tolerance_ppm(kinds.tolerance_ppm)
        .coefficient_ppm_per_k(kinds.coefficient_ppm_per_k);
    let resistors = [(); 4].map(|()| limits.individual_from(&mut rng));
    let part = model::Corncrake::new(0x32);
    read(demands, candidate, current, (part, resistors, seed))
}

/// The nominal resistor at a temperature.
pub fn resistor(demands: &Demands, candidate: &Candidate, ambient_mc: i32) -> Real {
    Real::ideal(candidate.resistance_nohm)
        .thermal_resistance_mk_per_w(demands.resistors.thermal_mk_per_w)
        .ambient_m_celsius(ambient_mc)
}

/// The same of this part with these resistors; the seed is for what else is left to chance.
pub fn read(
    demands: &Demands,
    candidate: &Candidate,
    current: Current,
    (part, resistors, seed): (model::Corncrake, [Real; 4], u64),
) -> [[f64; 2]; 4] {
    let bench = Bench::new(seed);
    let part = bench.part(part).expect("an address");
    for (channel, resistor) in resistors.into_iter().enumerate() {
        let constant = |value| Constant::new(value).expect("a value");
        let source = Source::of(constant(demands.voltage.as_nanovolts()));
        let rail = Rail::new(source, constant(current.as_nanoamps())).expect("a rail");
        part.rail(channel, rail, resistor).expect("a channel");
    }
    let board: Board<4> = Corncrake::board(&[candidate.rail; 4]);
    let mut monitor = Monitor::new(
        bench.i2c(),
        bench.delay(),
        Corncrake::new(Address::Strap0),
        &board,
    );
    let config = Config::continuous([candidate.full_scale; 4], ScanRate::per_second(2_000))
        .averaging(demands.averaging);
    monitor.init(&config).expect("a part");
    bench.run_for(Duration::from_micros(700 + (500 << demands.averaging)));
    let sample = monitor.sample().expect("a sample");
    core::array::from_fn(|channel| {
        let reading = sample
            .reading(Channel::new(channel as u8))
            .expect("a reading");
        let truth_w =
            demands.voltage.as_nanovolts() as f64 / 1e9 * (current.as_nanoamps() as f64 / 1e9);
        let off_na = reading.current.as_nanoamps() - current.as_nanoamps();
        let off_w = reading.power.as_nanowatts() as f64 / 1e9 - truth_w;
        [off_na as f64 / 1e9, off_w]
    })
}
