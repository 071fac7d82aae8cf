//! Two rails on a Moorhen: what a part costs for which the driver makes up sums and limits.

use crake::Channel;
use crake::alert::{Limit, Limits, Threshold};
use crake::board::{Board, Rail};
use crake::config::{Config, FullScale};
use crake::part::moorhen::{Address, Moorhen};
use crake::units::{Current, Voltage};

use crate::rail;

/// Rails on its board.
pub const RAILS: usize = 2;

/// The part, made in place.
#[inline(always)]
#[must_use]
pub const fn part() -> Moorhen {
    Moorhen::new(Address::Strap0)
}

const DESCRIPTION: [Rail; RAILS] = [rail(10), rail(500)];
/// Constant, so it lies in flash.
pub static BOARD: Board<RAILS> = Moorhen::board(&DESCRIPTION);

/// Both channels, converted when asked to.
pub static CONFIG: Config<RAILS> = Config::single_shot(
    [FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(16)); RAILS],
);

/// One that the part compares, and two that the driver does.
pub static LIMITS: Limits<'static> = Limits::new(&[
    Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(2_500)),
    )
    .to(crake::alert::Outputs::A),
    Limit::new(
        Channel::C1,
        Threshold::UnderVoltage(Voltage::from_millivolts(3_300)),
    )
    .silent(),
    Limit::new(
        Channel::C1,
        Threshold::UnderCurrent(Current::from_milliamps(-100)),
    )
    .following()
    .silent(),
]);
