//! Four rails on a Gallinule: what a part costs that speaks PMBus.

use crake::Channel;
use crake::alert::{Limit, Limits, Outputs, Threshold};
use crake::board::Board;
use crake::config::{Config, FullScale, ScanRate};
use crake::part::pmbus::RAIL;
use crake::part::pmbus::gallinule::{ADDRESSES, Gallinule};
use crake::units::{Current, Power, Voltage};

/// Rails on its board.
pub const RAILS: usize = 4;

/// The part, made in place.
#[inline(always)]
#[must_use]
pub const fn part() -> Gallinule {
    Gallinule::new(ADDRESSES[0])
}

/// Constant, so it lies in flash.
pub static BOARD: Board<RAILS> = Gallinule::board(&[RAIL; RAILS]);

/// All pages. Sense voltages are those of a resistor of 1 Ω: 10 A.
pub static CONFIG: Config<RAILS> = Config::continuous(
    [FullScale::new(Voltage::from_volts(10), Voltage::from_volts(5)); RAILS],
    ScanRate::per_second(200),
);

/// Two that the part compares, and one that the driver does.
pub static LIMITS: Limits<'static> = Limits::new(&[
    Limit::new(Channel::C0, Threshold::OverPower(Power::from_watts(15))).to(Outputs::A),
    Limit::new(
        Channel::C1,
        Threshold::UnderVoltage(Voltage::from_millivolts(1_100)),
    )
    .to(Outputs::A),
    Limit::new(
        Channel::C3,
        Threshold::UnderCurrent(Current::from_milliamps(-100)),
    )
    .following()
    .silent(),
]);
