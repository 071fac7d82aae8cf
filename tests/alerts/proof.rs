//! The proof test of the alert path: every finding, and that it leaves nothing behind.

use crake::alert::{AlertFlag, Finding, Kind, Limit, Limits, Outputs, Proof, Quantity};
use crake::config::{Config, ScanRate};
use crake::units::Current;
use crake::{Channel, ShuntMonitor};
use crake_sim::bus::BusError;
use embedded_hal::i2c::I2c;

use crate::faults::{Queue, Scene, TEN, fail_at};
use crate::fixture::{Blocking, COARSE, CONFIG, Fixture, LIMITS, events, told};

static OVER: Limits<'static> = Limits::new(&[Limit::new(Channel::C0, TEN)
    .hysteresis(Quantity::Current(Current::ZERO))
    .to(Outputs::A)]);

/// Proves through a wiring that turns the part's outputs (low or not) into the host's lines.
fn proved<B: I2c<Error = BusError>>(
    fixture: &Fixture,
    queue: &mut Queue,
    monitor: &mut Blocking<B>,
    wiring: fn([bool; 2]) -> [bool; 2],
) -> Result<Proof, crake::Error<BusError>> {
    queue.proof_test(monitor, &mut fixture.bench.delay(), |output| {
        let [a, b] = wiring(fixture.low());
        if output == Outputs::A { a } else { b }
    })
}

fn fixture() -> Fixture {
    let fixture = Fixture::new();
    for hand in &fixture.hands {
        hand.set(5_000_000, 3_000_000_000);
    }
    fixture
}

#[test]
fn every_wiring_has_its_finding() {
    use Finding::*;
    type Wiring = fn([bool; 2]) -> [bool; 2];
    let cases: [(&str, Wiring, [Finding; 2]); 11] = [
        ("as it should be", |[a, b]| [a, b], [Works, Works]),
        ("A broken", |[_, b]| [false, b], [NeverLow, Works]),
        ("B broken", |[a, _]| [a, false], [Works, NeverLow]),
        ("both broken", |_| [false, false], [NeverLow, NeverLow]),
        (
            "A shorted to ground",
            |[_, b]| [true, b],
            [NeverHigh, Works],
        ),
        (
            "B held by another part",
            |[a, _]| [a, true],
            [Works, NeverHigh],
        ),
        ("both shorted", |_| [true, true], [NeverHigh, NeverHigh]),
        ("crossed", |[a, b]| [b, a], [Swapped, Swapped]),
        ("joined", |[a, b]| [a | b, a | b], [Joined, Joined]),
        ("A hears both", |[a, b]| [a | b, b], [Joined, Works]),
        (
            "A hears B, B broken",
            |[_, b]| [b, false],
            [Swapped, NeverLow],
        ),
    ];
    let slow = Config::continuous([COARSE; 4], ScanRate::per_second(10));
    for config in [CONFIG, slow] {
        for (name, wiring, [a, b]) in cases {
            let fixture = fixture();
            let mut monitor = fixture.monitor();
            monitor.init(&config).expect("a part that answers");
            let mut queue = Queue::new();
            queue
                .set_limits(&mut monitor, &OVER)
                .expect("limits that can be");
            let proof = proved(&fixture, &mut queue, &mut monitor, wiring).expect("a good bus");
            assert_eq!(proof, Proof { a, b }, "{name}");
            assert_eq!(proof.passed(), name == "as it should be");
            leaves_nothing_behind(&fixture, &mut queue, &mut monitor);
        }
    }
}

/// No event of the test's own, no line low, and the limit at work.
fn leaves_nothing_behind<B: I2c<Error = BusError>>(
    fixture: &Fixture,
    queue: &mut Queue,
    monitor: &mut Blocking<B>,
) {
    fixture.next_scan();
    assert_eq!(fixture.low(), [false, false]);
    assert_eq!(fixture.register(crate::fixture::FLAGS) & LIMITS, 0);
    queue.service(monitor).expect("a good bus");
    let told = events(queue);
    assert!(told.is_empty(), "{told:?}");
    assert_eq!(queue.next_in(), None);
    fixture.hands[0].set(20_000_000, 3_000_000_000);
    fixture.scans(2);
    assert_eq!(fixture.low(), [true, false]);
    queue.service(monitor).expect("a good bus");
    let told = events(queue);
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].limit(), Some(TEN));
}

/// Limits stand all the while: what is passed before the test or in it is told after it.
#[test]
fn what_is_passed_before_and_in_the_test_is_told_after_it() {
    static BOTH: Limits<'static> = Limits::new(&[
        Limit::new(Channel::C0, TEN).to(Outputs::B),
        Limit::new(Channel::C2, TEN).to(Outputs::B),
    ]);
    let fixture = fixture();
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    let mut queue = Queue::new();
    queue
        .set_limits(&mut monitor, &BOTH)
        .expect("limits that can be");
    fixture.hands[0].set(20_000_000, 0);
    fixture.scans(2);
    fixture.hands[0].set(5_000_000, 0);
    fixture.hands[2].set(20_000_000, 0);
    let proof = proved(&fixture, &mut queue, &mut monitor, |lines| lines).expect("a good bus");
    fixture.hands[2].set(5_000_000, 0);
    assert!(proof.passed());
    assert_eq!(fixture.low(), [false, true]);
    queue.service(&mut monitor).expect("a good bus");
    let expected = [Channel::C0, Channel::C2].map(|at| AlertFlag::Limit(at, Kind::OverCurrent));
    assert_eq!(told(&mut queue), expected);
    assert_eq!(fixture.low(), [false, false]);
}

/// Flags that are masked because their conditions last stay so.
#[test]
fn what_is_masked_stays_masked_after_the_test() {
    let fixture = fixture();
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    let mut queue = Queue::new();
    queue
        .set_limits(&mut monitor, &OVER)
        .expect("limits that can be");
    fixture.hands[0].set(20_000_000, 0);
    fixture.scans(2);
    queue.service(&mut monitor).expect("a good bus");
    assert_eq!(events(&mut queue).len(), 1);
    let proof = proved(&fixture, &mut queue, &mut monitor, |lines| lines).expect("a good bus");
    assert!(proof.passed());
    fixture.scans(2);
    assert_eq!(fixture.low(), [false, false]);
    fixture.hands[0].set(5_000_000, 0);
    fixture.scans(2);
    queue.service(&mut monitor).expect("a good bus");
    leaves_nothing_behind(&fixture, &mut queue, &mut monitor);
}

/// The bus fails somewhere in the test; firmware serves, as it does anyway. The masks are put back,
/// and what was passed is told.
#[test]
fn a_test_that_failed_half_way_leaves_nothing_behind_either() {
    let mut failures = 0;
    for transfer in 0.. {
        for took_effect in [false, true] {
            let mut scene = Scene::new(1);
            scene.excursion();
            let failure = fail_at(&scene.fixture, transfer, took_effect);
            let Scene {
                fixture,
                queue,
                monitor,
                ..
            } = &mut scene;
            let outcome = proved(fixture, queue, monitor, |lines| lines);
            let through = failure.strikes().times == 0;
            failure.mend();
            failures += usize::from(outcome.is_err());
            assert_eq!(outcome.is_ok(), through);
            queue.service(monitor).expect("one failure alone");
            let of_channel_0 = AlertFlag::Limit(Channel::C0, Kind::OverCurrent);
            assert_eq!(told(queue), [of_channel_0], "transfer {transfer}");
            fixture.next_scan();
            assert_eq!(fixture.low(), [false, false], "transfer {transfer}");
            scene.excursion();
            assert_eq!(scene.fixture.low(), [true, false], "transfer {transfer}");
            if through {
                assert!(failures > 20, "{failures}");
                return;
            }
        }
    }
}

/// A part that converts nothing has no flag to show.
#[test]
fn a_part_that_rests_proves_nothing() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    let idle = CONFIG.with_mode(crake::config::Mode::Idle);
    monitor.init(&idle).expect("a part that answers");
    let mut queue = Queue::new();
    queue
        .set_limits(&mut monitor, &OVER)
        .expect("limits that can be");
    let proof = proved(&fixture, &mut queue, &mut monitor, |lines| lines).expect("a good bus");
    assert_eq!((proof.a, proof.b), (Finding::NeverLow, Finding::NeverLow));
}
