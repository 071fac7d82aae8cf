//! What the small programs share: a board in flash, a clock and a delay that cost nothing, and two stand-ins for a bus.
#![no_std]

mod answers;
mod silent;

pub use answers::{Answers, Handle};
pub use silent::Silent;

use core::hint::black_box;

use crake::old::alert::{Limit, Outputs, Watch};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::corncrake::{BUS_16_V, PACE_500, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Power, Resistance, Tolerance, Voltage};
use crake::old::{Channel, Clock, Mode, Ranges, Setup};
use embedded_hal::delay::DelayNs;

/// Rails on the board.
pub const RAILS: usize = 4;
/// The part's address.
pub const ADDRESS: u8 = 0x32;

const fn rail(milliohms: u64) -> Rail {
    Rail::new(
        Shunt::new(
            Resistance::from_milliohms(milliohms),
            Tolerance::from_ppm(5_000),
        ),
        Load::smooth(Current::from_amps(3)),
    )
}

/// Constant, so it lies in flash.
pub static BOARD: Board<RAILS> = match Board::new(&SPEC, [rail(10), rail(20), rail(500), rail(47)])
{
    Ok(board) => board,
    Err(_) => panic!("the resistors lie outside what the part can be used with"),
};

/// All channels in the same ranges, 500 rounds a second.
pub static SETUP: Setup<RAILS> = Setup::all(
    Ranges {
        sense: SENSE_65_MV,
        bus: BUS_16_V,
    },
    Mode::Paced(PACE_500),
);

/// One limit of each kind.
pub static LIMITS: [Watch; 5] = [
    Watch::new(
        Channel::C0,
        Limit::OverCurrent(Current::from_milliamps(2_500)),
    )
    .debounce(4)
    .held()
    .to(Outputs::A),
    Watch::new(
        Channel::C1,
        Limit::UnderVoltage(Voltage::from_millivolts(3_300)),
    )
    .held()
    .to(Outputs::B),
    Watch::new(
        Channel::C2,
        Limit::OverVoltage(Voltage::from_millivolts(3_600)),
    )
    .to(Outputs::A),
    Watch::new(
        Channel::C3,
        Limit::UnderCurrent(Current::from_milliamps(-100)),
    )
    .to(Outputs::B),
    Watch::new(Channel::C3, Limit::OverPower(Power::from_milliwatts(9_000)))
        .hysteresis(1_000_000_000)
        .silent(),
];

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
