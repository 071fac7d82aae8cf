//! The shortest way from a part to figures, on a blocking bus: initialise, wait, sample, read.
//!
//! ```sh
//! cargo run --example readings
//! ```

use std::{error::Error, time::Duration};

use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Source};

/// One rail: 10 mΩ ± 1 %.
const LOGIC: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::from_percent(1),
));
static BOARD: Board<1> = Corncrake::board(&[LOGIC]);
const FULL_SCALE: FullScale = FullScale::new(
    Voltage::from_millivolts(20),
    Voltage::from_millivolts(3_600),
);

fn main() -> Result<(), Box<dyn Error>> {
    // The hardware: 3.3 V and 1.2 A through 10 mΩ on channel 0.
    let bench = Bench::new(1);
    let part = bench.part(model::Corncrake::new(0x32))?;
    let source = Source::of(Constant::new(3_300_000_000)?);
    let rail = plant::Rail::new(source, Constant::new(1_200_000_000)?)?;
    part.rail(0, rail, crake_sim::board::SenseResistor::ideal(10_000_000))?;

    // The firmware.
    let part = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(bench.i2c(), bench.delay(), part, &BOARD);
    monitor.init(&Config::continuous([FULL_SCALE], ScanRate::per_second(100)))?;
    for _ in 0..3 {
        bench.run_for(Duration::from_millis(100));
        match monitor.sample()?.reading(Channel::C0) {
            Ok(reading) => {
                println!(
                    "{}, {}, {}",
                    reading.voltage, reading.current, reading.power
                );
            }
            Err(why) => println!("no reading: {why}"),
        }
    }
    Ok(())
}
