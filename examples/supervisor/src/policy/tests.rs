//! The policy alone, on services made by hand. Times in microseconds; readings are at most 1 ms
//! older than the latch of their sample, which takes 50 µs.

use super::*;
use crake::units::Power;

const AGE_US: u64 = 1_000;

struct Table {
    policy: Policy,
    log: Log<16>,
}

impl Table {
    fn new() -> Self {
        Self {
            policy: Policy::new(Settings::SKIFF),
            log: Log::new(),
        }
    }

    /// A service whose sample is latched between `at_us` and 50 µs later.
    fn serve(&mut self, at_us: u64, change: impl FnOnce(&mut Facts)) {
        let mut facts = Facts {
            from_us: at_us.saturating_sub(AGE_US),
            at_us: at_us + 50,
            told: AlertFlags::empty(),
            drive: value(1_000, 15_000),
            cell: value(500, 3_700),
            modem: value(60, 3_800),
        };
        change(&mut facts);
        let opened = (!self.policy.drive_closed(), !self.policy.modem_closed());
        self.policy.driven_by(at_us, opened.0, opened.1);
        self.policy.observe(&facts, &mut self.log);
    }

    fn events(&mut self) -> std::vec::Vec<Event> {
        core::iter::from_fn(|| self.log.take())
            .map(|record| record.event)
            .collect()
    }
}

extern crate std;

fn reading(ma: i64, mv: i64) -> Reading {
    Reading {
        current: Current::from_milliamps(ma),
        voltage: Voltage::from_millivolts(mv),
        power: Power::from_microwatts(ma * mv),
    }
}

fn value(ma: i64, mv: i64) -> Seen {
    Seen::Value(reading(ma, mv))
}

#[test]
fn drive_stays_open_until_commanded_and_is_not_closed_before_it_was_seen_dead() {
    let mut table = Table::new();
    assert_eq!(table.policy.close_drive(), Err(Refused::IsClosed));
    table.serve(100_000, |facts| {
        facts.told = DRIVE_OVER;
        facts.drive = value(11_000, 15_000);
    });
    assert!(!table.policy.drive_closed());
    assert_eq!(table.policy.close_drive(), Err(Refused::NotYetDead));

    // Open since the pin said so at 101 ms; settled 5 ms later; a reading may be 1 ms older than
    // its sample.
    table.serve(101_000, |facts| facts.drive = value(11_000, 15_000));
    assert_eq!(table.policy.due_us(), Some(107_050));
    table.serve(106_999, |facts| facts.drive = value(0, 15_000));
    assert_eq!(table.policy.close_drive(), Err(Refused::NotYetDead));
    table.serve(107_000, |facts| facts.drive = value(0, 15_000));
    for at_us in (200_000..10_000_000).step_by(100_000) {
        table.serve(at_us, |facts| facts.drive = value(0, 15_000));
        assert!(!table.policy.drive_closed());
    }
    assert_eq!(table.policy.close_drive(), Ok(()));
    assert!(table.policy.drive_closed());
    assert_eq!(
        table.events(),
        [Event::DriveTripped(Some(Current::from_amps(11)))]
    );
}

#[test]
fn current_through_an_open_switch_is_told_once_and_its_end_too() {
    let mut table = Table::new();
    table.serve(0, |facts| facts.told = DRIVE_OVER);
    table.serve(10_000, |facts| facts.drive = value(26, 15_000)); // not settled yet
    table.serve(20_000, |facts| facts.drive = value(26, 15_000));
    table.serve(30_000, |facts| facts.drive = value(30, 15_000));
    assert_eq!(table.policy.close_drive(), Err(Refused::IsStuck));
    table.serve(40_000, |facts| facts.drive = value(25, 15_000));
    table.serve(50_000, |facts| facts.drive = value(-26, 15_000)); // back the other way
    assert_eq!(
        table.events()[1..],
        [
            Event::Stuck(DRIVE, Current::from_milliamps(26)),
            Event::Ceased(DRIVE),
            Event::Stuck(DRIVE, Current::from_milliamps(-26)),
        ]
    );
}

/// The flag of a clipped conversion may date from before the switch opened, once.
#[test]
fn over_range_behind_an_open_switch_is_stuck_the_second_time() {
    let mut table = Table::new();
    let beyond = Seen::Beyond(reading(13_100, 15_000));
    table.serve(0, |facts| (facts.told, facts.drive) = (DRIVE_OVER, beyond));
    table.serve(10_000, |facts| facts.drive = beyond);
    table.serve(20_000, |facts| facts.drive = beyond);
    assert_eq!(table.events().len(), 1);
    table.serve(30_000, |facts| facts.drive = beyond);
    assert_eq!(
        table.events(),
        [Event::Stuck(DRIVE, Current::from_milliamps(13_100))]
    );

    let mut table = Table::new();
    table.serve(0, |facts| (facts.told, facts.drive) = (DRIVE_OVER, beyond));
    table.serve(10_000, |facts| facts.drive = beyond);
    table.serve(20_000, |facts| facts.drive = beyond);
    table.serve(30_000, |facts| facts.drive = value(0, 15_000));
    assert_eq!(table.policy.close_drive(), Ok(()));
    assert_eq!(table.events().len(), 1);
}

/// Limit 3.3 V, margin 0.2 V, 2 s: counted from the end of the first good sample to the oldest that
/// the last one can show.
#[test]
fn modem_comes_back_after_two_seconds_of_enough_voltage_and_not_before() {
    let mut table = Table::new();
    table.serve(0, |facts| {
        (facts.told, facts.cell) = (CELL_UNDER, value(2_000, 3_290))
    });
    assert!(!table.policy.modem_closed());
    table.serve(100_000, |facts| facts.cell = value(0, 3_499));
    assert_eq!(table.policy.due_us(), Some(101_050 + 5_000)); // whether MODEM is dead, no restoring
    table.serve(200_000, |facts| {
        (facts.cell, facts.modem) = (value(0, 3_500), value(0, 0))
    });
    assert_eq!(table.policy.due_us(), Some(200_050 + 2_000_000 + 1_050));
    table.serve(2_201_049, |facts| {
        (facts.cell, facts.modem) = (value(0, 3_500), value(0, 0))
    });
    assert!(!table.policy.modem_closed());
    table.serve(2_201_050, |facts| {
        (facts.cell, facts.modem) = (value(0, 3_500), value(0, 0))
    });
    assert!(table.policy.modem_closed());
    assert_eq!(
        table.events(),
        [
            Event::ModemShed(Some(Voltage::from_millivolts(3_290))),
            Event::ModemRestored(Voltage::from_millivolts(3_500)),
        ]
    );
}

/// A sample that misses the margin, and a dip that only the part saw, both start the time anew; no
/// reading does not.
#[test]
fn each_dip_starts_the_time_of_giving_back_anew() {
    let dead = |facts: &mut Facts| facts.modem = value(0, 0);
    let mut table = Table::new();
    table.serve(0, |facts| facts.told = CELL_UNDER);
    table.serve(100_000, dead);
    table.serve(1_500_000, |facts| {
        dead(facts);
        facts.cell = value(0, 3_400);
    });
    table.serve(1_600_000, dead);
    table.serve(3_500_000, |facts| {
        dead(facts);
        facts.told = CELL_UNDER;
    });
    table.serve(5_400_000, |facts| {
        dead(facts);
        facts.cell = Seen::Nothing;
    });
    table.serve(5_500_000, dead);
    assert!(!table.policy.modem_closed());
    table.serve(5_501_100, dead);
    assert!(table.policy.modem_closed());
    assert_eq!(table.events().len(), 2);
}

#[test]
fn current_that_flows_back_is_told_with_hysteresis_and_never_opens_drive() {
    let mut table = Table::new();
    for (at, ma) in [0, -50, -51, 0, 50, -20, 51, 20, -9_999]
        .into_iter()
        .enumerate()
    {
        table.serve(at as u64 * 10_000, |facts| facts.drive = value(ma, 15_000));
    }
    let turned = |ma| Event::DriveReversed(Current::from_milliamps(ma));
    assert_eq!(table.events(), [turned(-51), turned(51), turned(-9_999)]);
    assert!(table.policy.drive_closed());
}

#[test]
fn what_is_only_told_is_told_and_switches_nothing() {
    let mut table = Table::new();
    let flag = AlertFlag::Limit(crate::LOGIC, Kind::UnderVoltage);
    table.serve(0, |facts| facts.told = AlertFlags::of(flag));
    table.serve(100_000, |_| ());
    assert_eq!(table.events(), [Event::Told(flag)]);
    assert!(table.policy.drive_closed() && table.policy.modem_closed());
}
