//! Limits, debounce and ranges change while the part runs: nothing false is told, and an excursion
//! is told by the limit that it passed.

use std::time::Duration;

use crake::alert::{AlertQueue, Lasting, Limit, Limits, Outputs, Quantity, Threshold};
use crake::config::{Config, ScanRate};
use crake::units::Current;
use crake::{Channel, ShuntMonitor};
use crake_sim::bus::{Logging, Speed, Transaction};
use crake_sim::part::corncrake::Output;

use crate::faults::{AT_REST, MUCH, Scene, fail_at};
use crate::fixture::{COARSE, CONFIG, FAST, FINE, Fixture, events};

type Queue<'l> = AlertQueue<'l, 16>;

const fn over(channel: Channel, milliamps: i64) -> Limit {
    let threshold = Threshold::OverCurrent(Current::from_milliamps(milliamps));
    Limit::new(channel, threshold).to(Outputs::A)
}

/// 20 mA is code 40 000 in the coarse range and 100 000 in the fine one; limits of 15 and 25 mA are
/// 30 000 and 50 000, or 75 000 and 125 000 (section 3.4). So each old code in the new range, and
/// each new code in the old one, would pass a limit, over or under.
#[test]
fn ranges_and_limits_change_together_and_nothing_false_is_told() {
    const fn both(channel: Channel) -> [Limit; 2] {
        let least = Threshold::UnderCurrent(Current::from_milliamps(15));
        let least = Limit::new(channel, least).to(Outputs::A);
        [over(channel, 25), least]
    }
    let [[a, b], [c, d]] = [both(Channel::C0), both(Channel::C3)];
    let limits = [a, b, c, d];
    let limits = Limits::new(&limits);
    for per_second in [2_000, 500] {
        let rate = ScanRate::per_second(per_second);
        let configs = [FINE, COARSE].map(|range| Config::continuous([range; 4], rate));
        let fixture = Fixture::new();
        let line = fixture.bench.line();
        line.wire(&fixture.part, Output::A);
        for hand in &fixture.hands {
            hand.set(20_000_000, 3_000_000_000);
        }
        let mut monitor = fixture.monitor();
        monitor.init(&configs[1]).expect("a part that answers");
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, &limits)
            .expect("limits that can be");
        line.set_recording(true);
        for turn in 0..60_u64 {
            fixture.next_scan();
            fixture.bench.run_for(Duration::from_micros(37 * turn));
            let config = &configs[turn as usize % 2];
            monitor.configure(config).expect("a part that answers");
            // At once, or after some scans.
            fixture
                .bench
                .run_for(Duration::from_micros(turn % 3 * 1_300));
            queue
                .set_limits(&mut monitor, &limits)
                .expect("limits that can be");
            fixture.scans(3);
            queue.service(&mut monitor).expect("a part that answers");
            assert_eq!(events(&mut queue), [], "turn {turn}");
        }
        assert_eq!(line.edges(), [], "{per_second} scans a second");
    }
}

/// A debounce that grows: a condition too short for the new limit does not count by the old
/// debounce, whenever in the change it comes.
#[test]
fn a_limit_is_never_judged_by_the_debounce_before() {
    let before = [over(Channel::C0, 30)];
    let after = [over(Channel::C0, 10).debounce(15)];
    let (before, after) = (Limits::new(&before), Limits::new(&after));
    for shift_us in (0..14_000).step_by(250) {
        let fixture = Fixture::new();
        fixture.bench.set_bus_speed(Speed::Fast);
        // 20 mA for 14 conversions, 500 µs apart.
        let rail = fixture.excursion(0, AT_REST, MUCH);
        let mut monitor = fixture.monitor();
        monitor.init(&FAST).expect("a part that answers");
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, &before)
            .expect("limits that can be");
        fixture.next_scan();
        let begins_ns = fixture.bench.now_ns() + shift_us * 1_000;
        rail.when_ns
            .borrow_mut()
            .push((begins_ns, begins_ns + 14 * 500_000 - 1));
        queue
            .set_limits(&mut monitor, &after)
            .expect("limits that can be");
        fixture.scans(60);
        assert_eq!(fixture.low(), [false, false], "{shift_us} µs");
        queue.service(&mut monitor).expect("a part that answers");
        assert_eq!(events(&mut queue), [], "{shift_us} µs");
    }
}

/// An excursion of one conversion at every position of a change of limits: told once, by the old
/// limit if it ended before that went, by the new one if it ended after that came. In between no
/// limit stands.
#[test]
fn an_excursion_anywhere_in_a_change_of_limits_is_told_by_the_limit_it_passed() {
    let again = Lasting::LookAgain(Duration::from_secs(1));
    let limit = |milliamps| {
        let none = Quantity::Current(Current::ZERO);
        [over(Channel::C0, milliamps).hysteresis(none).lasting(again)]
    };
    let (before, after) = (limit(10), limit(15));
    let (before, after) = (Limits::new(&before), Limits::new(&after));
    let (mut by_before, mut by_none, mut by_after) = (0, 0, 0);
    for shift_ns in (0..10_000_000).step_by(8_300) {
        let fixture = Fixture::new();
        fixture.bench.set_bus_speed(Speed::Fast);
        let rail = fixture.excursion(0, AT_REST, MUCH);
        let mut monitor = fixture.monitor();
        monitor.init(&FAST).expect("a part that answers");
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, &before)
            .expect("limits that can be");
        fixture.next_scan();
        // Scans follow each other without a gap: sense of channel 0 ends 62.5 µs into each.
        let ended_ns = fixture.bench.now_ns() + 12_000_000 + 62_500;
        rail.when_ns
            .borrow_mut()
            .push((ended_ns - 62_500, ended_ns));
        fixture.bench.run_until(ended_ns - shift_ns);
        fixture.bench.set_logging(Logging::Full);
        queue
            .set_limits(&mut monitor, &after)
            .expect("limits that can be");
        // DEBOUNCE_0 takes the limits of its channel away; OVER_CURRENT_0 (section 3).
        let log = fixture.bench.log();
        let (gone_ns, came_ns) = (written(&log, 0x30), written(&log, 0x12));
        fixture.bench.run_until(ended_ns.max(came_ns));
        fixture.scans(2);
        queue.service(&mut monitor).expect("a part that answers");
        let told: Vec<_> = events(&mut queue)
            .iter()
            .map(|event| event.limit())
            .collect();
        let (limits, count) = match ended_ns {
            at_ns if at_ns < gone_ns => (Some(&before), &mut by_before),
            at_ns if at_ns > came_ns => (Some(&after), &mut by_after),
            _ => (None, &mut by_none),
        };
        let expected = limits.map(|limits| Some(limits.list()[0].threshold()));
        assert_eq!(
            told,
            Vec::from_iter(expected),
            "{ended_ns}: {gone_ns}, {came_ns}"
        );
        *count += 1;
        assert_eq!(fixture.flags(), 0);
    }
    assert!(
        by_before > 100 && by_none > 100 && by_after > 100,
        "{by_before}, {by_none}, {by_after}"
    );
}

/// A condition whose flag follows it, and that ends while the configuration changes: the look
/// before the change has noted it. Fails where the change is made without one.
#[test]
fn a_flag_that_goes_with_its_condition_is_noted_before_the_configuration_changes() {
    static FOLLOWING: [Limit; 1] = [over(Channel::C0, 10).following()];
    static LIMITS: Limits<'static> = Limits::new(&FOLLOWING);
    // One try for each transfer; the transfer that fails, and whether it took place.
    for failing in [
        None,
        Some((0, false)),
        Some((1, false)),
        Some((1, true)),
        Some((2, false)),
    ] {
        let Scene {
            fixture,
            mut monitor,
            mut queue,
            rail,
        } = Scene::new(1);
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        fixture.next_scan();
        let from_ns = fixture.bench.now_ns();
        rail.when_ns
            .borrow_mut()
            .push((from_ns, from_ns + 100_000_000));
        fixture.next_scan();
        assert_eq!(fixture.low(), [true, false]);
        if let Some((number, took_effect)) = failing {
            fail_at(&fixture, number, took_effect);
            assert!(queue.configure(&mut monitor, &CONFIG).is_err());
        }
        // A failure of the look, two transfers, changes nothing; one of the change leaves the
        // monitor not configured.
        let looked = failing != Some((2, false));
        assert_eq!(monitor.is_armed(), looked, "{failing:?}");
        assert_eq!(monitor.sample().is_ok(), looked, "{failing:?}");
        if looked {
            queue
                .configure(&mut monitor, &CONFIG)
                .expect("a part that answers");
        } else {
            monitor.init(&CONFIG).expect("a part that answers");
        }
        assert!(fixture.bench.now_ns() < from_ns + 100_000_000);
        fixture.bench.run_until(from_ns + 100_000_000);
        fixture.scans(3);
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        let told = events(&mut queue);
        let told: Vec<_> = told.iter().map(|event| event.limit()).collect();
        assert_eq!(told, [Some(FOLLOWING[0].threshold())], "{failing:?}");
    }
}

/// When a register was written: the STOP of it.
fn written(log: &[Transaction], register: u8) -> u64 {
    let prefix = format!("S 64 {register:02X} ");
    let read = format!("{prefix}Sr");
    let mut writes = log.iter().filter(|entry| {
        let text = entry.to_string();
        text.starts_with(&prefix) && !text.starts_with(&read)
    });
    writes.next().expect("a write").stop_ns
}
