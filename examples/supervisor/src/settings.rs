use crake::Channel;
use crake::alert::{Limit, Outputs, Threshold};
use crake::info::PartInfo;
use crake::units::{Current, Voltage};

/// Number of rails.
pub const RAILS: usize = 4;
/// The thruster's rail.
pub const DRIVE: Channel = Channel::C0;
/// The cell that feeds LOGIC and MODEM; current into it, on charge, is negative.
pub const CELL: Channel = Channel::C1;
/// The logger's rail.
pub const LOGIC: Channel = Channel::C2;
/// The radio modem's rail.
pub const MODEM: Channel = Channel::C3;

/// What the skiff's maker calls a rail.
#[must_use]
pub const fn name(channel: Channel) -> &'static str {
    match channel {
        DRIVE => "DRIVE",
        CELL => "CELL",
        LOGIC => "LOGIC",
        MODEM => "MODEM",
        _ => "a rail that is not there",
    }
}

/// Every limit and every time of the supervisor. Times are microseconds on the host's clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// DRIVE is opened when its current is above this; signed, so current that flows back never
    /// opens it.
    pub drive_over_current: Current,
    /// Consecutive conversions above it, 1 to 15: an inrush that is over within them does not open
    /// DRIVE.
    pub drive_debounce: u8,
    /// DRIVE flows back below this current (negative), and forth again above the same with the
    /// other sign. Choose it beyond the rail's offset error.
    pub drive_reverse: Current,
    /// MODEM is shed when CELL's voltage is below this.
    pub cell_under_voltage: Voltage,
    /// Consecutive conversions below it, 1 to 15.
    pub cell_debounce: u8,
    /// MODEM is given back at `cell_under_voltage` plus this. Choose it above what shedding MODEM
    /// lifts CELL by (its current times the cell's impedance), or MODEM chatters.
    pub cell_margin: Voltage,
    /// CELL has to stay that high for so long, as every service in this time found it, before MODEM
    /// is given back.
    pub restore_after_us: u64,
    /// Under-voltage of LOGIC is told below this.
    pub logic_under_voltage: Voltage,
    /// Over-current of MODEM is told above this.
    pub modem_over_current: Current,
    /// Consecutive conversions that count for these two.
    pub told_debounce: u8,
    /// From one service of the part to the next while no line calls. Also how long a reset of the
    /// part can go unnoticed.
    pub service_every_us: u64,
    /// From a failed transfer to the next attempt.
    pub retry_after_us: u64,
    /// From opening a switch until no current may be left: the switch's own time, and what
    /// capacitors behind it feed.
    pub settle_us: u64,
    /// Current that counts as none, in either direction, behind an open switch. Choose it beyond
    /// the rails' offset errors.
    pub off_current: Current,
    /// Length of the mean by which charging is judged; two in a row have to agree, for one may hold
    /// a change. The longer, the narrower its bound.
    pub charge_window_us: u64,
    /// The cell is being charged from this current into it on.
    pub charging_from: Current,
    /// From this current on it is bulk charge, whatever the voltage.
    pub bulk_from: Current,
    /// Below this voltage a small charging current is trickle (a deeply discharged cell is being
    /// woken), above it is taper (the end of a charge).
    pub trickle_below: Voltage,
}

impl Settings {
    /// The survey skiff's. A cell of lithium-ion, 2.28 Ah: trickle at a tenth of its capacity below
    /// 3.0 V, bulk at half of it, are common practice (no source).
    pub const SKIFF: Self = Self {
        drive_over_current: Current::from_milliamps(9_500),
        drive_debounce: 8,
        drive_reverse: Current::from_milliamps(-50),
        cell_under_voltage: Voltage::from_millivolts(3_300),
        cell_debounce: 8,
        cell_margin: Voltage::from_millivolts(200),
        restore_after_us: 2_000_000,
        logic_under_voltage: Voltage::from_millivolts(3_000),
        modem_over_current: Current::from_milliamps(2_500),
        told_debounce: 4,
        service_every_us: 20_000,
        retry_after_us: 1_000,
        settle_us: 5_000,
        off_current: Current::from_milliamps(25),
        charge_window_us: 1_000_000,
        charging_from: Current::from_milliamps(50),
        bulk_from: Current::from_milliamps(600),
        trickle_below: Voltage::from_millivolts(3_000),
    };

    /// The limits that the part is to compare with, for a [`Supervisor`](crate::Supervisor).
    ///
    /// What the supervisor acts on calls a line: DRIVE output A, CELL output B. What it only tells
    /// of is silent and found by the next service. All latch, so that nothing that is over before a
    /// service is missed.
    #[must_use]
    pub const fn limits(&self) -> [Limit; RAILS] {
        [
            Limit::new(DRIVE, Threshold::OverCurrent(self.drive_over_current))
                .debounce(self.drive_debounce)
                .to(Outputs::A),
            Limit::new(CELL, Threshold::UnderVoltage(self.cell_under_voltage))
                .debounce(self.cell_debounce)
                .to(Outputs::B),
            Limit::new(LOGIC, Threshold::UnderVoltage(self.logic_under_voltage))
                .debounce(self.told_debounce)
                .silent(),
            Limit::new(MODEM, Threshold::OverCurrent(self.modem_over_current))
                .debounce(self.told_debounce)
                .silent(),
        ]
    }

    /// The promise: DRIVE's switch is told to open at most so many microseconds after its current
    /// went above the limit for good, while the part is watching.
    ///
    /// (debounce × scan period + two conversions) at the slowest oscillator, then `in_progress_us`
    /// (the longest operation on the part that may have just begun), `service_us` (the service of
    /// the alert) and `host_us` (from the line falling to [`poll`](crate::Supervisor::poll), and
    /// from the end of its service to the pin). All of them are the caller's to state: they follow
    /// from the bus's speed and the host's other work. Rounded up. `period_us` is the nominal scan
    /// period.
    #[must_use]
    pub const fn drive_off_within_us(
        &self,
        info: &PartInfo,
        period_us: u32,
        in_progress_us: u64,
        service_us: u64,
        host_us: u64,
    ) -> u64 {
        let scans_ns = (self.drive_debounce as u64)
            .saturating_mul(period_us as u64)
            .saturating_mul(1_000);
        let nominal_ns = scans_ns.saturating_add((info.conversion_ns as u64).saturating_mul(2));
        let slowest = 1_000_000_u64.saturating_sub(info.oscillator.error_ppm as u64);
        // Nanoseconds × 10^6 ÷ 10^3 ÷ (10^6 − ppm).
        let told_us = match nominal_ns.saturating_mul(1_000).checked_div(slowest) {
            Some(us) => us.saturating_add(1),
            None => u64::MAX,
        };
        told_us
            .saturating_add(in_progress_us)
            .saturating_add(service_us)
            .saturating_add(host_us)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crake::part::corncrake::INFO;

    /// By hand: (8 × 500 µs + 2 × 62.5 µs) ÷ 0.985 = 4187.8 µs, and the caller's 100 + 20 + 3.
    #[test]
    fn the_promise_is_the_sum_of_its_parts() {
        let promise = Settings::SKIFF.drive_off_within_us(&INFO, 500, 100, 20, 3);
        assert_eq!(promise, 4_188 + 123);
    }
}
