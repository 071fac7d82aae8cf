//! The shortest way from a part to figures, on a blocking bus: set up, wait, latch, read.
//!
//! ```sh
//! cargo run --example readings
//! ```

use std::{error::Error, time::Duration};

use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::corncrake::{BUS_6_V, Corncrake, PACE_100, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Clock, Mode, Monitor, Ranges, Setup, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::old::corncrake as model;
use crake_sim::plant::{self, Constant, Source};

struct HostClock(crake_sim::bus::Clock);

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        self.0.now_ns() / 1_000
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    // The hardware: 3.3 V and 1.2 A through 10 mΩ on channel 0.
    let bench = Bench::new(1);
    let part = bench.part(model::Corncrake::drawn(0x32))?;
    let source = Source::of(Constant::new(3_300_000_000)?);
    let rail = plant::Rail::new(source, Constant::new(1_200_000_000)?)?;
    part.rail(0, rail, SenseResistor::ideal(10_000_000))?;

    // The firmware.
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::from_percent(1));
    let rail = Rail::new(shunt, Load::smooth(Current::from_amps(2)));
    let board = Board::new(&SPEC, [rail]).map_err(|error| format!("{error:?}"))?;
    let ranges = Ranges {
        sense: SENSE_65_MV,
        bus: BUS_6_V,
    };
    let clock = HostClock(bench.clock());
    let mut monitor = Monitor::new(
        bench.i2c(),
        bench.delay(),
        clock,
        Corncrake::new(),
        0x32,
        &board,
    );
    monitor.init(&Setup::all(ranges, Mode::Paced(PACE_100)))?;
    for _ in 0..3 {
        bench.run_for(Duration::from_millis(100));
        let frame = monitor.latch()?;
        match frame.reading(Channel::C0) {
            Ok(reading) => println!(
                "{}, {}, {}",
                reading.voltage, reading.current, reading.power
            ),
            Err(why) => println!("no reading: {why}"),
        }
    }
    Ok(())
}
