//! What hysteresis keeps back and lets through, and when a condition counts as over.

use std::time::Duration;

use crake::alert::{AlertQueue, Event, Lasting, Limit, Limits, Outputs, Quantity, Threshold};
use crake::units::{Current, Voltage};
use crake::{Channel, Sample, ShuntMonitor};
use crake_sim::bench::I2c;

use crate::fixture::{Blocking, CONFIG, Fixture, events};

const C0: Channel = Channel::C0;
const NO_CURRENT: Quantity = Quantity::Current(Current::ZERO);

fn under_voltage(millivolts: i64) -> Limit {
    let threshold = Threshold::UnderVoltage(Voltage::from_millivolts(millivolts));
    Limit::new(C0, threshold).to(Outputs::A)
}

fn over_current(milliamps: i64) -> Limit {
    let threshold = Threshold::OverCurrent(Current::from_milliamps(milliamps));
    Limit::new(C0, threshold).to(Outputs::A)
}

/// A monitor in whose part these limits stand, and what serves it.
fn armed<'l>(fixture: &Fixture, limits: &'l Limits<'l>) -> (Blocking<I2c>, AlertQueue<'l, 8>) {
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    let mut queue = AlertQueue::new();
    queue
        .set_limits(&mut monitor, limits)
        .expect("limits that can be");
    (monitor, queue)
}

/// At a current in microamperes, or a voltage in millivolts: the line, and events told by a
/// service.
fn at(
    fixture: &Fixture,
    (microamps, millivolts): (i64, i64),
    queue: &mut AlertQueue<'_, 8>,
    monitor: &mut Blocking<I2c>,
) -> (bool, usize) {
    fixture.hands[0].set(microamps * 1_000, millivolts * 1_000_000);
    fixture.scans(2);
    let line = fixture.low()[0];
    queue.service(monitor).expect("a part that answers");
    let told: Vec<Event> = events(queue);
    (line, told.len())
}

/// Limit 10 mA, margin 2 mA: told again only after a sample at 8 mA or below. Meanwhile the line is
/// free.
#[test]
fn hysteresis_filters_events_until_a_sample_is_back_by_the_margin() {
    let margin = Quantity::Current(Current::from_milliamps(2));
    let limits = [over_current(10).hysteresis(margin)];
    let limits = Limits::new(&limits);
    let fixture = Fixture::new();
    let (mut monitor, mut queue) = armed(&fixture, &limits);
    let mut at = |microamps| at(&fixture, (microamps, 0), &mut queue, &mut monitor);
    assert_eq!(at(10_500), (true, 1), "the first");
    assert_eq!(at(9_900), (false, 0), "back, not by 2 mA");
    assert_eq!(at(10_500), (false, 0), "kept back");
    assert_eq!(at(8_001), (false, 0), "all but back");
    assert_eq!(at(11_000), (false, 0), "kept back");
    assert_eq!(at(8_000), (false, 0), "back by the margin");
    assert_eq!(at(9_500), (false, 0), "no new one");
    assert_eq!(at(10_500), (true, 1), "a new one");
}

/// A 64th of the limit, where none is asked for: 10 mA ÷ 64 is 156.25 µA.
#[test]
fn the_hysteresis_that_nobody_asked_for() {
    let limit = over_current(10);
    let back = Current::from_nanoamps(10_000_000 - 156_250);
    assert_eq!(limit.release(), Quantity::Current(back));
    let limits = [limit];
    let limits = Limits::new(&limits);
    let fixture = Fixture::new();
    let (mut monitor, mut queue) = armed(&fixture, &limits);
    let mut at = |microamps| at(&fixture, (microamps, 0), &mut queue, &mut monitor);
    assert_eq!(at(10_001), (true, 1));
    // 0.5 µA a code: 9 844 is not back, 9 843.5 is.
    assert_eq!(at(9_844), (false, 0));
    assert_eq!(at(10_001), (false, 0));
    assert_eq!(at(9_843), (false, 0));
    assert_eq!(at(10_001), (true, 1));
    let under = Limit::new(C0, Threshold::UnderCurrent(Current::from_milliamps(-64)));
    let back = Current::from_milliamps(-63);
    assert_eq!(under.release(), Quantity::Current(back));
}

/// A spike that is over before the host looks: the sample of its own event shows that it is back,
/// so the next spike is told.
#[test]
fn spikes_that_are_back_at_once_are_each_told() {
    let margin = Quantity::Current(Current::from_milliamps(2));
    let limits = [over_current(10).hysteresis(margin)];
    let limits = Limits::new(&limits);
    let fixture = Fixture::new();
    let rail = fixture.excursion(0, (1_000_000, 0), (20_000_000, 0));
    let (mut monitor, mut queue) = armed(&fixture, &limits);
    let spike = |scans: u64| {
        fixture.next_scan();
        let now_ns = fixture.bench.now_ns();
        rail.when_ns
            .borrow_mut()
            .push((now_ns, now_ns + scans * 2_000_000));
        fixture.next_scan();
        assert!(fixture.low()[0]);
    };
    for number in 0..5 {
        spike(1);
        // Two scans later it is over, and the line still tells of it.
        fixture.scans(2);
        queue.service(&mut monitor).expect("a part that answers");
        assert_eq!(events(&mut queue).len(), 1, "spike {number}");
        assert!(!fixture.low()[0] && queue.lasting().is_empty());
    }
    // The next is served while it lasts: no sample since has shown the current back, but that of
    // the event before did.
    spike(20);
    let sample = queue.service(&mut monitor).expect("a part that answers");
    let reading = sample.reading(C0).expect("a reading");
    assert_eq!(reading.current, Current::from_milliamps(20));
    let told = events(&mut queue);
    assert_eq!(told.len(), 1);
    assert_eq!(
        told[0].value(),
        Some(Quantity::Current(Current::from_milliamps(20)))
    );
}

/// The part latched the flag of an excursion that was told while it lasted; a sample alone shows
/// its end. It is one excursion, and one event.
#[test]
fn a_sample_between_does_not_make_two_events_of_one_excursion() {
    let margin = Quantity::Current(Current::from_milliamps(2));
    let again = Lasting::LookAgain(Duration::from_secs(1));
    for limit in [over_current(10), over_current(10).lasting(again)] {
        let limits = [limit.hysteresis(margin)];
        let limits = Limits::new(&limits);
        let fixture = Fixture::new();
        let mut monitor = fixture.monitor();
        monitor.init(&CONFIG).expect("a part that answers");
        let mut queue: AlertQueue<'_, 8> = AlertQueue::new();
        queue
            .set_limits(&mut monitor, &limits)
            .expect("limits that can be");
        let mut told = Vec::new();
        for milliamps in [20, 20, 1, 1, 20] {
            fixture.hands[0].set(milliamps * 1_000_000, 0);
            fixture.scans(2);
            queue.update(monitor.sample().expect("a part that answers"));
            queue.service(&mut monitor).expect("a part that answers");
            told.push(events(&mut queue).len());
            // It goes on after the look, and sets the flag again.
            fixture.scans(2);
        }
        assert_eq!(told, [1, 0, 0, 0, 1]);
    }
}

/// A brown-out under overload: the current is beyond its range in every sample, and the voltage is
/// told each time that it dips.
#[test]
fn a_voltage_is_seen_to_be_back_while_the_current_is_clipped() {
    let margin = Quantity::Voltage(Voltage::from_millivolts(100));
    let limits = [under_voltage(3_000).hysteresis(margin)];
    let limits = Limits::new(&limits);
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    let overload = 1_000_000_000; // 1 kA, in µA
    fixture.hands[0].set(overload * 1_000, 3_500_000_000);
    monitor.init(&CONFIG).expect("a part that answers");
    let mut queue: AlertQueue<'_, 8> = AlertQueue::new();
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
    let told = [3_500, 2_900, 3_500, 3_500, 2_900]
        .map(|millivolts| at(&fixture, (overload, millivolts), &mut queue, &mut monitor).1);
    assert_eq!(told, [0, 1, 0, 0, 1]);
}

/// A current beyond its range is told as what it is: a limit, not a value; and it is not over.
#[test]
fn a_clipped_value_says_so() {
    let limits = [over_current(10).hysteresis(NO_CURRENT)];
    let limits = Limits::new(&limits);
    let fixture = Fixture::new();
    let (mut monitor, mut queue) = armed(&fixture, &limits);
    fixture.hands[0].set(1_000_000_000_000, 0);
    fixture.scans(2);
    queue.service(&mut monitor).expect("a part that answers");
    let told = events(&mut queue);
    assert_eq!(told.len(), 1);
    assert!(told[0].is_clipped());
    // 131 071 codes of 500 nA.
    let full = Current::from_nanoamps(131_071 * 500);
    assert_eq!(told[0].value(), Some(Quantity::Current(full)));
    assert!(!queue.lasting().is_empty());
}

/// An under-limit is back above it.
#[test]
fn hysteresis_of_an_under_limit() {
    let margin = Quantity::Voltage(Voltage::from_millivolts(100));
    let limits = [under_voltage(3_000).hysteresis(margin)];
    let limits = Limits::new(&limits);
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    for hand in &fixture.hands {
        hand.set(0, 3_500_000_000);
    }
    monitor.init(&CONFIG).expect("a part that answers");
    let mut queue: AlertQueue<'_, 8> = AlertQueue::new();
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
    let told = [
        3_500, 2_900, 3_050, 2_900, 3_099, 2_900, 3_100, 3_100, 2_900,
    ]
    .map(|millivolts| at(&fixture, (0, millivolts), &mut queue, &mut monitor).1);
    assert_eq!(told, [0, 1, 0, 0, 0, 0, 0, 0, 1]);
}

/// With averaging, a sample shows a condition over once all its scans are younger than the flag;
/// that another condition lasts, and is found by every look, does not keep it from that.
#[test]
fn one_condition_that_lasts_does_not_keep_another_from_being_over() {
    let far = Limit::new(Channel::C3, over_current(10).threshold()).to(Outputs::B);
    let again = Lasting::LookAgain(Duration::from_millis(50));
    let limits = [over_current(10), far.lasting(again)];
    let limits = Limits::new(&limits);
    for averaging in [0, 1, 3, 5] {
        let fixture = Fixture::new();
        let mut monitor = fixture.monitor();
        let config = CONFIG.averaging(averaging);
        monitor.init(&config).expect("a part that answers");
        let mut queue: AlertQueue<'_, 8> = AlertQueue::new();
        queue
            .set_limits(&mut monitor, &limits)
            .expect("limits that can be");
        fixture.hands[3].set(20_000_000, 0);
        let mut told = Vec::new();
        for _ in 0..3 {
            for milliamps in [20, 1] {
                fixture.hands[0].set(milliamps * 1_000_000, 0);
                // Half a second, in which it is looked at again ten times.
                for _ in 0..10 {
                    fixture.bench.run_for(Duration::from_millis(50));
                    queue.service(&mut monitor).expect("a part that answers");
                    told.extend(events(&mut queue).iter().map(Event::flag));
                }
            }
        }
        let count = |limit: Limit| told.iter().filter(|told| **told == limit.flag()).count();
        let counts = (count(over_current(10)), count(far));
        assert_eq!(counts, (3, 1), "means of 2^{averaging} scans");
    }
}
