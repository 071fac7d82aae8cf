//! Firmware that logs its readings over a serial port, in the columns that `crake-sim characterise`
//! reads; here against the bench, with standard output as the port.
//!
//! ```sh
//! cargo run --example board_log > board.csv
//! cargo run --release -p crake-sim -- characterise board.csv --pass-over-torn
//! ```
//!
//! Torn lines are those that a real port loses part of; the check value of each line finds them.

use std::error::Error;
use std::fmt::{self, Write};
use std::time::Duration;

use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, NoReading, Sample, ShuntMonitor, TimedSample};
use crake_sim::bench::Bench;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Pulses, Source};
use skiff_supervisor::lines::{HEADER, write_line};

/// 20 mΩ ± 1 %.
const MODEM: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(20),
    Tolerance::from_percent(1),
));
static BOARD: Board<1> = Corncrake::board(&[MODEM]);
const FULL_SCALE: FullScale = FullScale::new(
    Voltage::from_millivolts(50),
    Voltage::from_millivolts(4_500),
);

/// In place of a serial port: whatever takes text, such as a UART's writer.
struct Serial;

impl Write for Serial {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        print!("{text}");
        Ok(())
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    log(&mut Serial, Duration::from_secs(10))
}

/// The board, and firmware that writes a line every 5 ms.
pub fn log(serial: &mut impl Write, length: Duration) -> Result<(), Box<dyn Error>> {
    // The hardware: 3.8 V; 60 mA, and once a second 2 A for 50 ms.
    let bench = Bench::new(1);
    let part = bench.part(model::Corncrake::new(0x32))?;
    let load = Pulses::new(60_000_000, 2_000_000_000, 1_000_000_000, 50_000_000)?;
    let rail = plant::Rail::new(Source::of(Constant::new(3_800_000_000)?), load)?;
    part.rail(0, rail, crake_sim::board::SenseResistor::ideal(20_000_000))?;

    // The firmware.
    let part = Corncrake::new(Address::Strap0);
    let monitor = Monitor::new(bench.i2c(), bench.delay(), part, &BOARD);
    let mut monitor = monitor.with_clock(bench.clock());
    monitor.init(&Config::continuous(
        [FULL_SCALE],
        ScanRate::per_second(2_000),
    ))?;
    serial.write_str(HEADER)?;
    while Duration::from_nanos(bench.now_ns()) < length {
        bench.run_for(Duration::from_millis(5));
        let sample = monitor.sample()?;
        let at_us = sample.timestamp().before_us;
        match sample.reading(Channel::C0) {
            Ok(reading) => write_line(serial, at_us, "MODEM", &reading, false)?,
            Err(NoReading::Clipped { reading, .. }) => {
                write_line(serial, at_us, "MODEM", &reading, true)?;
            }
            Err(_) => {}
        }
    }
    Ok(())
}
