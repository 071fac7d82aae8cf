//! What a simulated conversion costs: `cargo run --release -p crake-sim --example conversion_cost`.

use std::time::{Duration, Instant};

use crake_sim::{
    bench::Bench,
    board::SenseResistor,
    part::corncrake::Corncrake,
    plant::{Means, Plant, Truth},
    rng::Rng,
};
use embedded_hal::i2c::I2c;

struct Steady;

impl Plant for Steady {
    fn window(&mut self, _: u64, _: u64) -> Means {
        Means {
            current_na: 1.5e9,
            voltage_nv: 3.3e9,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

fn main() -> Result<(), Box<dyn core::error::Error>> {
    let bench = Bench::new(1);
    let part = bench.part(Corncrake::new(0x32))?;
    for channel in 0..4 {
        part.rail(channel, Steady, SenseResistor::ideal(10_000_000))?;
    }
    bench.i2c().write(0x32, &[0x04, 0x10])?;
    let began = Instant::now();
    bench.run_for(Duration::from_secs(3_600));
    let conversions = part.conversions();
    let ns = began.elapsed().as_nanos() as f64 / conversions as f64;
    println!("{conversions} conversions of four channels at 2000 scans a second: {ns:.1} ns each");

    let noise = Rng::new(1).noise();
    let draws = 100_000_000;
    let began = Instant::now();
    let sum: f64 = (0..draws).map(|number| noise.at(number)).sum();
    let ns = began.elapsed().as_nanos() as f64 / draws as f64;
    println!("{draws} draws of noise, sum {sum:.0}: {ns:.1} ns each");
    Ok(())
}
