use crate::bus::Traffic;
use crate::convert::divided_up;
use crate::info::Supply;
use crate::units::{Current, Resistance, Tolerance, Voltage};

use super::Duty;

/// What reads the part, and over which bus: the user's to state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Host {
    /// Draws so much more awake than asleep.
    pub active: Current,
    /// Awake for so long besides the call itself, in microseconds: from what wakes it to the call.
    pub wake_us: u32,
    /// Greatest error of its clock.
    pub clock: Tolerance,
    /// The fastest clock of its bus, in Hz.
    pub bus_hz_max: u32,
    /// Each of the bus's two pull-ups.
    pub pull_up: Resistance,
    /// What they pull up to.
    pub supply: Voltage,
}

/// Mean currents that monitoring costs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Spent {
    /// By the part.
    pub part: Current,
    /// Through the bus's pull-ups.
    pub pull_ups: Current,
    /// By the host, for its reads at the interval; what events ask for is not in it.
    pub host: Current,
}

impl Host {
    /// A small microcontroller on a bus of 400 kHz: 4 mA, awake 100 µs besides the call, a crystal
    /// of 50 ppm, pull-ups of 4.7 kΩ to 3.3 V. Common practice, no source.
    pub const TYPICAL: Self = Self {
        active: Current::from_milliamps(4),
        wake_us: 100,
        clock: Tolerance::from_ppm(50),
        bus_hz_max: 400_000,
        pull_up: Resistance::from_ohms(4_700),
        supply: Voltage::from_millivolts(3_300),
    };

    /// What both pull-ups carry while a transfer goes on.
    ///
    /// Each line is taken to be low half the time: the clock is, and of the data nothing is known
    /// (common practice, no source). Charge of the bus's capacitance is not in it.
    fn pulled(&self) -> Current {
        let nv = self.supply.as_nanovolts().unsigned_abs();
        let product = u128::from(nv).wrapping_mul(1_000_000_000);
        let na = divided_up(product, self.pull_up.as_nanoohms().max(1));
        Current::from_nanoamps(i64::try_from(na).unwrap_or(i64::MAX))
    }
}

impl Spent {
    /// Of a way to run a part whose samples put so much on a bus of this clock frequency, by such
    /// figures of its supply.
    #[must_use]
    pub fn new<const N: usize>(
        duty: &Duty<'_, N>,
        supply: &Supply,
        sample: &Traffic,
        bus_hz: u32,
        host: &Host,
    ) -> Self {
        let awake_us = sample.us(bus_hz).saturating_add(host.wake_us.into());
        Self {
            part: duty.supply(supply),
            pull_ups: share(host.pulled(), sample.bus_us(bus_hz), duty.interval_us()),
            host: share(host.active, awake_us, duty.interval_us()),
        }
    }

    /// The sum.
    #[must_use]
    pub const fn total(&self) -> Current {
        self.part
            .saturating_add(self.pull_ups)
            .saturating_add(self.host)
    }
}

/// What a current during a part of each interval comes to on average, rounded up.
fn share(current: Current, us: u64, interval_us: u64) -> Current {
    let na = current.as_nanoamps().unsigned_abs();
    let product = u128::from(na).wrapping_mul(us.min(interval_us).into());
    let na = divided_up(product, interval_us.max(1));
    Current::from_nanoamps(i64::try_from(na).unwrap_or(i64::MAX))
}
