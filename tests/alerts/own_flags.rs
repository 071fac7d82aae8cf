//! Flags that are about the part as a whole: rollover ahead, scan done, reset seen (datasheet,
//! section
//! 3.6).

use std::time::Duration;

use crake::alert::{
    AlertFlag, AlertFlags, AlertQueue, Limit, Limits, Outputs, Quantity, Threshold,
};
use crake::bus::Fault;
use crake::config::{Config, Mode};
use crake::units::Current;
use crake::{Channel, ShuntMonitor};

use crate::fixture::{CONFIG, FLAGS, Fixture, events, told};

/// Section 3.6.
const SCAN_DONE: u64 = 1 << 21;
const RESET_SEEN: u64 = 1 << 22;
/// Section 3.6 again: three quarters of 28 bits.
const SCANS_NEAR: u32 = 0x0C00_0000;

type Queue = AlertQueue<'static, 8>;

static NOTHING: Limits<'static> = Limits::new(&[]);

#[test]
fn rollover_ahead_reaches_its_output_once() {
    static LIMITS: Limits<'static> = Limits::new(&[]).rollover_ahead(Outputs::B);
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    let mut queue = Queue::new();
    // One that nobody asked for is no event.
    fixture.part.preload_scans(SCANS_NEAR - 1);
    fixture.next_scan();
    queue
        .set_limits(&mut monitor, &NOTHING)
        .expect("limits that can be");
    assert_eq!(told(&mut queue), []);
    queue
        .set_limits(&mut monitor, &LIMITS)
        .expect("limits that can be");
    fixture.next_scan();
    assert_eq!(fixture.low(), [false, false]);
    assert_eq!(told(&mut queue), []);

    fixture.part.preload_scans(SCANS_NEAR - 2);
    fixture.next_scan();
    assert_eq!(fixture.low(), [false, false]);
    fixture.next_scan();
    assert_eq!(fixture.low(), [false, true]);
    queue.service(&mut monitor).expect("a part that answers");
    assert_eq!(told(&mut queue), [AlertFlag::RolloverAhead]);
    fixture.next_scan();
    assert_eq!(fixture.low(), [false, false]);
    // One that stands when limits change was watched for: it is not lost.
    fixture.part.preload_scans(SCANS_NEAR - 1);
    fixture.next_scan();
    queue
        .set_limits(&mut monitor, &NOTHING)
        .expect("limits that can be");
    assert_eq!(told(&mut queue), [AlertFlag::RolloverAhead]);
}

#[test]
fn scan_done_is_told_after_each_single_shot() {
    static LIMITS: Limits<'static> = Limits::new(&[]).scan_done(Outputs::A);
    let config: Config<4> = CONFIG.with_mode(Mode::SingleShot);
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    fixture.next_scan();
    monitor.configure(&config).expect("a part that answers");
    let mut queue = Queue::new();
    // The scans before are not taken for one.
    queue
        .set_limits(&mut monitor, &LIMITS)
        .expect("limits that can be");
    fixture.bench.run_for(Duration::from_millis(2));
    assert_eq!(fixture.low(), [false, false]);
    assert_eq!(told(&mut queue), []);
    for _ in 0..3 {
        // A sample takes the shot.
        queue.update(monitor.sample().expect("a part that answers"));
        assert_eq!(fixture.low(), [true, false]);
        queue
            .read_alerts(&mut monitor)
            .expect("a part that answers");
        assert_eq!(fixture.low(), [false, false]);
        queue.update(monitor.last_sample());
        assert_eq!(told(&mut queue), [AlertFlag::ScanDone]);
        assert_eq!(fixture.register(FLAGS) & SCAN_DONE, 0);
    }
}

/// A reset that `init` finds is no news. One that comes later is: the masks are gone with it, so it
/// shows by looking, and is told once.
#[test]
fn a_reset_is_told_by_the_next_look_whatever_it_was_for() {
    static LIMITS: Limits<'static> = Limits::new(&[Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(10)),
    )
    .to(Outputs::A)]);
    for setting in [false, true] {
        let fixture = Fixture::new();
        let mut monitor = fixture.monitor();
        assert_eq!(fixture.register(FLAGS) & RESET_SEEN, RESET_SEEN);
        monitor.init(&CONFIG).expect("a part that answers");
        assert_eq!(fixture.register(FLAGS) & RESET_SEEN, 0);
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        fixture.next_scan();
        queue.service(&mut monitor).expect("a part that answers");
        assert_eq!(told(&mut queue), []);

        fixture.part.brown_out();
        fixture.bench.run_for(Duration::from_millis(2));
        let error = match setting {
            true => queue.set_limits(&mut monitor, &LIMITS),
            false => queue.service(&mut monitor).map(|_| ()),
        };
        assert_eq!(error.expect_err("a reset").fault(), Fault::Reset);
        assert_eq!(told(&mut queue), [AlertFlag::ResetSeen]);
        assert!(!monitor.is_armed());
        let error = queue.service(&mut monitor).map(|_| ());
        let error = error.expect_err("not configured");
        assert_eq!(error.fault(), Fault::NotConfigured);
        assert_eq!(told(&mut queue), []);

        monitor.init(&CONFIG).expect("a part that answers");
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        queue.service(&mut monitor).expect("a part that answers");
        assert_eq!(told(&mut queue), []);
    }
}

/// The flags that stand are read before limits go, so one that follows, and goes with its limit, is
/// told; and one of a limit that stands no longer is not told by the new one.
#[test]
fn a_flag_that_stands_at_a_change_of_limits_is_told_by_the_limit_it_passed() {
    const TEN: Threshold = Threshold::OverCurrent(Current::from_milliamps(10));
    static FOLLOWING: Limits<'static> =
        Limits::new(&[Limit::new(Channel::C0, TEN).following().to(Outputs::A)]);
    static LATCHING: Limits<'static> = Limits::new(&[Limit::new(Channel::C0, TEN).to(Outputs::A)]);
    static NEW: Limits<'static> = Limits::new(&[Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(30)),
    )
    .to(Outputs::A)]);
    for old in [&FOLLOWING, &LATCHING] {
        let fixture = Fixture::new();
        let mut monitor = fixture.monitor();
        monitor.init(&CONFIG).expect("a part that answers");
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, old)
            .expect("limits that can be");
        fixture.hands[0].set(20_000_000, 0);
        fixture.scans(2);
        queue
            .set_limits(&mut monitor, &NEW)
            .expect("limits that can be");
        let told = events(&mut queue);
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].limit(), Some(TEN));
        assert_eq!((told[0].value(), told[0].timestamp()), (None, None));
        fixture.scans(2);
        assert_eq!(fixture.low(), [false, false]);
        queue.service(&mut monitor).expect("a part that answers");
        assert!(events(&mut queue).is_empty());
        fixture.hands[0].set(40_000_000, 0);
        fixture.scans(2);
        queue.service(&mut monitor).expect("a part that answers");
        let told = events(&mut queue);
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].limit(), Some(NEW.list()[0].threshold()));
        let value = Quantity::Current(Current::from_milliamps(40));
        assert_eq!(told[0].value(), Some(value));
    }
}

/// Firmware that starts anew finds flags of limits that it does not know: they are told, limit
/// unknown.
#[test]
fn flags_of_a_life_before_are_told_without_their_limits() {
    static LIMITS: Limits<'static> = Limits::new(&[Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(10)),
    )
    .to(Outputs::A)]);
    for resumes in [false, true] {
        let fixture = Fixture::new();
        let token = {
            let mut monitor = fixture.monitor();
            monitor.init(&CONFIG).expect("a part that answers");
            let mut queue = Queue::new();
            queue
                .set_limits(&mut monitor, &LIMITS)
                .expect("limits that can be");
            fixture.hands[0].set(20_000_000, 0);
            fixture.scans(2);
            monitor.token()
        };
        fixture.hands[0].set(0, 0);
        fixture.scans(2);
        let mut monitor = fixture.monitor();
        if resumes {
            monitor.resume(&CONFIG, token).expect("nobody wrote");
        } else {
            monitor.init(&CONFIG).expect("a part that answers");
        }
        let mut queue = Queue::new();
        let error = queue.service(&mut monitor).map(|_| ());
        assert_eq!(error.expect_err("too early").fault(), Fault::NotArmed);
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        let told = events(&mut queue);
        assert_eq!(told.len(), 1, "{resumes}");
        assert_eq!(AlertFlags::of(told[0].flag()), LIMITS.enabled());
        assert_eq!((told[0].limit(), told[0].value()), (None, None));
        fixture.next_scan();
        assert_eq!(fixture.low(), [false, false]);
        queue.service(&mut monitor).expect("a part that answers");
        assert!(events(&mut queue).is_empty());
    }
}

/// A change of configuration stops the part, and a flag that follows goes with its condition
/// (section
/// 3.3). One that latches stays, and the next setting tells it, limit unknown. A look right before
/// tells both, with their limit.
#[test]
fn flags_across_a_change_of_configuration() {
    const TEN: Threshold = Threshold::OverCurrent(Current::from_milliamps(10));
    static FOLLOWING: Limits<'static> =
        Limits::new(&[Limit::new(Channel::C0, TEN).following().to(Outputs::A)]);
    static LATCHING: Limits<'static> = Limits::new(&[Limit::new(Channel::C0, TEN).to(Outputs::A)]);
    for (limits, looks, expected) in [
        (&LATCHING, false, Some(None)),
        (&LATCHING, true, Some(Some(TEN))),
        (&FOLLOWING, false, None),
        (&FOLLOWING, true, Some(Some(TEN))),
    ] {
        let fixture = Fixture::new();
        let mut monitor = fixture.monitor();
        monitor.init(&CONFIG).expect("a part that answers");
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, limits)
            .expect("limits that can be");
        fixture.hands[0].set(20_000_000, 0);
        fixture.scans(2);
        if looks {
            queue
                .read_alerts(&mut monitor)
                .expect("a part that answers");
        }
        fixture.hands[0].set(0, 0);
        monitor.configure(&CONFIG).expect("a part that answers");
        queue
            .set_limits(&mut monitor, limits)
            .expect("limits that can be");
        let told: Vec<_> = events(&mut queue)
            .iter()
            .map(|event| event.limit())
            .collect();
        assert_eq!(told, Vec::from_iter(expected), "{looks} {limits:?}");
        fixture.scans(2);
        queue.service(&mut monitor).expect("a part that answers");
        assert!(events(&mut queue).is_empty());
    }
}
