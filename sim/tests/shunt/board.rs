//! Board and configuration as `crake-sim shunt` chose them; rails from channel 0 up.
//!
//! Loads are declared to be smooth: add their steps where totals are to be bounded.

use crake::board::{Board, Load, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::Corncrake;
use crake::units::{Current, Resistance, Tolerance, Voltage};

/// What stands on the board.
pub const RAILS: [Rail; 1] = [
    // RAIL: 11.000 mΩ.
    Rail::new(
        SenseResistor::new(Resistance::from_milliohms(11), Tolerance::from_ppm(10_000))
            .with_temperature(50, 65_000)
            .with_self_heating(20_000),
    )
    .with_load(Load::smooth(Current::from_amps(5)))
    .with_voltage(Voltage::ZERO, Voltage::from_volts(12)),
];

/// What codes become quantities by.
pub static BOARD: Board<1> = Corncrake::board(&RAILS);

/// What each channel has to reach.
pub const FULL_SCALES: [FullScale; 1] = [FullScale::new(
    Voltage::from_microvolts(55_894),
    Voltage::from_microvolts(12_023_436),
)];

/// What the part is asked to do.
pub const CONFIG: Config<1> =
    Config::continuous(FULL_SCALES, ScanRate::per_second(2_000)).averaging(4);
