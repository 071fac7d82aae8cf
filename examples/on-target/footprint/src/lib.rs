//! What the small programs share: a board in flash, a clock and a delay that cost nothing, and two
//! stand-ins for a bus.
#![no_std]

mod answers;
pub mod moorhen;
pub mod pmbus;
mod silent;

pub use answers::{Answers, Handle};
pub use silent::Silent;

use core::hint::black_box;

use crake::Channel;
use crake::Clock;
use crake::alert::{Limit, Limits, Outputs, Quantity, Threshold};
use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::totals::Margins;
use crake::units::{Current, Power, Resistance, Tolerance, Voltage};
use embedded_hal::delay::DelayNs;

/// Rails on the board.
pub const RAILS: usize = 4;
/// The part's address.
pub const ADDRESS: u8 = 0x32;
/// The part, made in place: a constant is copied, by a routine on cores that cannot store across
/// words.
#[inline(always)]
#[must_use]
pub const fn part() -> Corncrake {
    Corncrake::new(Address::Strap0)
}

const fn rail(milliohms: u64) -> Rail {
    Rail::new(SenseResistor::new(
        Resistance::from_milliohms(milliohms),
        Tolerance::from_ppm(5_000),
    ))
}

/// What is known of the rails.
pub const DESCRIPTION: [Rail; RAILS] = [rail(10), rail(20), rail(500), rail(47)];
/// Constant, so it lies in flash.
pub static BOARD: Board<RAILS> = Corncrake::board(&DESCRIPTION);
/// Constant as well.
pub static MARGINS: Margins<'static, RAILS> = Margins::new(&INFO, &BOARD, &DESCRIPTION);

/// All channels in the same ranges, 500 scans a second.
pub static CONFIG: Config<RAILS> = Config::continuous(
    [FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(16)); RAILS],
    ScanRate::per_second(500),
);

/// One limit of each kind.
pub static LIMITS: Limits<'static> = Limits::new(&[
    Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(2_500)),
    )
    .debounce(4)
    .to(Outputs::A),
    Limit::new(
        Channel::C1,
        Threshold::UnderVoltage(Voltage::from_millivolts(3_300)),
    )
    .to(Outputs::B),
    Limit::new(
        Channel::C2,
        Threshold::OverVoltage(Voltage::from_millivolts(3_600)),
    )
    .following()
    .to(Outputs::A),
    Limit::new(
        Channel::C3,
        Threshold::UnderCurrent(Current::from_milliamps(-100)),
    )
    .following()
    .to(Outputs::B),
    Limit::new(
        Channel::C3,
        Threshold::OverPower(Power::from_milliwatts(9_000)),
    )
    .following()
    .hysteresis(Quantity::Power(Power::from_watts(1)))
    .silent(),
]);

/// A clock that shows what it is told to.
#[derive(Clone, Copy, Debug, Default)]
pub struct Time {
    /// What is added at each reading.
    step_us: u64,
    now_us: u64,
}

impl Time {
    /// A clock on which so much has passed at each reading.
    #[must_use]
    pub const fn every(step_us: u64) -> Self {
        Self { step_us, now_us: 0 }
    }
}

impl Clock for Time {
    #[inline(never)]
    fn now_us(&mut self) -> u64 {
        self.now_us = self.now_us.wrapping_add(self.step_us);
        black_box(self.now_us)
    }
}

/// Lets no time pass.
#[derive(Clone, Copy, Debug, Default)]
pub struct Instantly;

impl DelayNs for Instantly {
    #[inline(never)]
    fn delay_ns(&mut self, ns: u32) {
        black_box(ns);
    }

    #[inline(never)]
    fn delay_us(&mut self, us: u32) {
        black_box(us);
    }
}

impl embedded_hal_async::delay::DelayNs for Instantly {
    async fn delay_ns(&mut self, ns: u32) {
        black_box(ns);
    }

    async fn delay_us(&mut self, us: u32) {
        black_box(us);
    }
}
