//! Board and configuration as `crake-sim shunt` chose them; rails from channel 0 up.
//!
//! Loads are declared to be smooth: add their steps where totals are to be bounded.

use crake::board::{Board, Load, Rail, SenseResistor};
use crake::config::{Config, FullScale};
use crake::part::moorhen::Moorhen;
use crake::units::{Current, Resistance, Tolerance, Voltage};

/// What stands on the board.
pub const RAILS: [Rail; 1] = [
    // RAIL: 13.000 mΩ.
    Rail::new(
        SenseResistor::new(Resistance::from_milliohms(13), Tolerance::from_ppm(10_000))
            .with_temperature(50, 65_000)
            .with_self_heating(20_000),
    )
    .with_load(Load::smooth(Current::from_amps(5)).both_ways())
    .with_voltage(Voltage::ZERO, Voltage::from_volts(12))
    .with_input_filter(Resistance::from_ohms(10)),
];

/// What codes become quantities by.
pub static BOARD: Board<1> = Moorhen::board(&RAILS);

/// What each channel has to reach.
pub const FULL_SCALES: [FullScale; 1] = [FullScale::new(
    Voltage::from_microvolts(66_543),
    Voltage::from_microvolts(12_112_563),
)];

/// What the part is asked to do.
pub const CONFIG: Config<1> = Config::single_shot(FULL_SCALES);
