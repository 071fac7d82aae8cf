//! Limits that the part compares, and those that the driver does.

use core::time::Duration;

use crake::alert::{AlertFlag, AlertQueue, Kind, Limit, Limits, Outputs, Quantity, Threshold};
use crake::config::{Config, FullScale};
use crake::units::{Current, Voltage};
use crake::{Channel, ShuntMonitor};
use crake_sim::part::moorhen::Output;

use crate::fixture::{CONFIG, Driver, Fixture, Spoil};

static LIMITS: Limits<'static> = Limits::new(&[
    Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(1_500)),
    )
    .hysteresis(Quantity::Current(Current::from_milliamps(100)))
    .to(Outputs::A),
    Limit::new(Channel::C1, Threshold::UnderVoltage(Voltage::from_volts(5)))
        .hysteresis(Quantity::Voltage(Voltage::from_millivolts(100)))
        .debounce(2)
        .silent(),
]);

/// Without debounce: one sample is enough.
static ONCE: Limits<'static> = Limits::new(&[Limit::new(
    Channel::C1,
    Threshold::UnderVoltage(Voltage::from_millivolts(4_500)),
)
.silent()]);

fn armed() -> (Fixture, Driver, AlertQueue<'static, 8>) {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    driver.init(&CONFIG).expect("init");
    let mut queue = AlertQueue::new().with_interval(Duration::from_millis(20));
    queue.set_limits(&mut driver, &LIMITS).expect("limits");
    (fixture, driver, queue)
}

fn told(queue: &mut AlertQueue<'_, 8>) -> Vec<AlertFlag> {
    std::iter::from_fn(|| queue.next_event().map(|event| event.flag())).collect()
}

/// Goal: one excursion is one event, whoever compares; the part's own pulls the output.
#[test]
fn excursions_are_told_once_whoever_compares() {
    let (fixture, mut driver, mut queue) = armed();
    let over = AlertFlag::Limit(Channel::C0, Kind::OverCurrent);
    let under = AlertFlag::Limit(Channel::C1, Kind::UnderVoltage);
    for round in 0..3 {
        for _ in 0..3 {
            queue.service(&mut driver).expect("a service");
        }
        assert_eq!(told(&mut queue), [], "round {round}");
        assert!(!fixture.part.is_low(Output::Alert));
        // No output tells of what the driver compares.
        assert_eq!(queue.next_in(), Some(Duration::from_millis(20)));
        fixture.set(0, 1_700_000_000, 3_500_000_000);
        // The part compares in the single-shot of a service: its output calls for the next one.
        queue.service(&mut driver).expect("a service");
        assert!(fixture.part.is_low(Output::Alert));
        assert_eq!(told(&mut queue), [], "round {round}");
        queue.service(&mut driver).expect("a service");
        assert_eq!(told(&mut queue), [over], "round {round}");
        fixture.set(1, 0, 4_900_000_000);
        queue.service(&mut driver).expect("a service");
        assert_eq!(
            told(&mut queue),
            [],
            "the second of two samples, round {round}"
        );
        queue.service(&mut driver).expect("a service");
        assert_eq!(told(&mut queue), [under], "round {round}");
        for _ in 0..5 {
            queue.service(&mut driver).expect("a service");
            assert_eq!(told(&mut queue), []);
        }
        fixture.set(0, 1_000_000_000, 3_500_000_000);
        fixture.set(1, 0, 5_250_000_000);
        for _ in 0..3 {
            queue.service(&mut driver).expect("a service");
        }
    }
}

/// Section 3.5: one conversion beyond the limit pulls the output, before anybody reads it.
#[test]
fn the_parts_own_flag_pulls_the_output_and_waits() {
    let (fixture, mut driver, mut queue) = armed();
    fixture.set(0, 1_700_000_000, 3_500_000_000);
    driver.sample().expect("a sample");
    assert!(fixture.part.is_low(Output::Alert));
    fixture.set(0, 1_000_000_000, 3_500_000_000);
    queue.service(&mut driver).expect("a service");
    assert_eq!(
        told(&mut queue),
        [AlertFlag::Limit(Channel::C0, Kind::OverCurrent)]
    );
    queue.service(&mut driver).expect("a service");
    assert!(!fixture.part.is_low(Output::Alert));
}

/// The limit in the part is the code on the safe side: 1.5 A are 416.67 codes, so 416 is within.
#[test]
fn limits_trip_at_the_first_code_beyond() {
    for (codes, trips) in [(416, false), (417, true)] {
        let (fixture, mut driver, mut queue) = armed();
        fixture.set(0, codes * 3_600_000, 3_500_000_000);
        for _ in 0..2 {
            queue.service(&mut driver).expect("a service");
        }
        assert_eq!(!told(&mut queue).is_empty(), trips, "{codes} codes");
    }
}

/// A reset takes the limits with it: every look finds it by the configuration.
#[test]
fn a_reset_at_every_transfer_of_a_look_is_told() {
    let (fixture, mut driver, mut queue) = armed();
    fixture.bus.plan(&[]);
    queue.read_alerts(&mut driver).expect("a look");
    let transfers = fixture.bus.count();
    assert_eq!(transfers, 2);
    for number in 0..transfers {
        let (fixture, mut driver, mut queue) = armed();
        fixture.bus.plan(&[(number, Spoil::Reset)]);
        queue.read_alerts(&mut driver).expect_err("a reset");
        assert_eq!(told(&mut queue), [AlertFlag::ResetSeen]);
        assert!(!driver.is_armed());
        driver.init(&CONFIG).expect("init");
        queue.set_limits(&mut driver, &LIMITS).expect("limits");
    }
}

/// Whatever is lost while limits are set, they stand afterwards or that is told.
#[test]
fn limits_stand_or_their_failure_is_told() {
    let (fixture, mut driver, mut queue) = armed();
    fixture.bus.plan(&[]);
    queue.set_limits(&mut driver, &LIMITS).expect("limits");
    for spoil in [Spoil::Lost, Spoil::Reset] {
        for number in 0..fixture.bus.count() {
            let (fixture, mut driver, mut queue) = armed();
            fixture.bus.plan(&[(number, spoil)]);
            let set = queue.set_limits(&mut driver, &LIMITS);
            assert_eq!(set.is_ok(), driver.is_armed(), "{spoil:?} {number}");
            fixture.bus.plan(&[]);
            if set.is_ok() {
                told(&mut queue);
                fixture.set(0, 1_700_000_000, 3_500_000_000);
                for _ in 0..2 {
                    queue.service(&mut driver).expect("a service");
                }
                assert_eq!(told(&mut queue).len(), 1, "{spoil:?} {number}");
            }
        }
    }
}

/// Codes of another range mean something else: a sample of another configuration is not compared
/// with the limits that stood before, nor one that was taken before limits were set with these.
#[test]
fn a_change_of_ranges_brings_no_event_about() {
    let (fixture, mut driver, mut queue) = armed();
    queue.set_limits(&mut driver, &ONCE).expect("limits");
    queue.service(&mut driver).expect("a service");
    assert_eq!(told(&mut queue), []);
    // In the wide range 5.25 V have a quarter of the code, far below that of 4.5 V in the narrow.
    let wide = FullScale::new(Voltage::from_millivolts(70), Voltage::from_volts(28));
    queue
        .configure(&mut driver, &Config::single_shot([wide; 2]))
        .expect("configured");
    fixture.set(1, 0, 4_000_000_000);
    driver.sample().expect("a sample");
    fixture.set(1, 0, 5_250_000_000);
    queue.set_limits(&mut driver, &ONCE).expect("limits");
    for _ in 0..3 {
        queue.service(&mut driver).expect("a service");
        assert_eq!(told(&mut queue), []);
    }
    // One of the narrow range that nobody looked at is not compared with limits of the wide.
    driver.sample().expect("a sample");
    queue.configure(&mut driver, &CONFIG).expect("configured");
    queue.set_limits(&mut driver, &ONCE).expect("limits");
    queue.service(&mut driver).expect("a service");
    assert_eq!(told(&mut queue), []);
}
