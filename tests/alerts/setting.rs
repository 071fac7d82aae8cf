//! Mistakes in what is to be watched are named before a byte is sent.

use std::time::Duration;

use crake::alert::{
    AlertQueue, Kind, Lasting, Limit, LimitError, LimitReason, Limits, Outputs, Quantity, Threshold,
};
use crake::bus::Fault;
use crake::config::{Config, Mode};
use crake::units::{Current, Power, Voltage};
use crake::{Channel, ErrorKind, Operation, ShuntMonitor};

use crate::fixture::{CONFIG, FINE, Fixture, MASK_A, MASK_B, events};

const C0: Channel = Channel::C0;

fn over_voltage(millivolts: i64) -> Limit {
    let threshold = Threshold::OverVoltage(Voltage::from_millivolts(millivolts));
    Limit::new(C0, threshold).to(Outputs::A)
}

fn under_voltage(microvolts: i64) -> Limit {
    let threshold = Threshold::UnderVoltage(Voltage::from_microvolts(microvolts));
    Limit::new(C0, threshold).to(Outputs::A)
}

fn over_current(milliamps: i64) -> Limit {
    let threshold = Threshold::OverCurrent(Current::from_milliamps(milliamps));
    Limit::new(C0, threshold).to(Outputs::A)
}

/// Sets limits on a part that runs, and finds the mistake, with not a byte on the bus and the part
/// as it was.
fn refused(config: &Config<4>, limits: &Limits<'_>, kind: Kind, reason: LimitReason) {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    monitor.init(config).expect("a part that answers");
    let before = [Limit::new(
        Channel::C1,
        Threshold::OverCurrent(Current::from_milliamps(10)),
    )
    .to(Outputs::all())];
    let before = Limits::new(&before);
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    queue
        .set_limits(&mut monitor, &before)
        .expect("limits that can be");
    let (stats, now_ns) = (fixture.bench.bus_stats(), fixture.bench.now_ns());

    let error = queue
        .set_limits(&mut monitor, limits)
        .expect_err("a mistake");
    let channel = limits
        .list()
        .iter()
        .map(Limit::channel)
        .find(|channel| *channel != C0)
        .unwrap_or(C0);
    let expected = LimitError {
        channel,
        kind,
        reason,
    };
    assert_eq!(error.kind, ErrorKind::Limits(expected), "{error}");
    assert_eq!(error.operation, Operation::SetLimits);
    assert_eq!(error.fault(), Fault::Refused);
    assert!(!error.may_repeat());
    assert_eq!(fixture.bench.bus_stats(), stats, "{expected:?}");
    assert_eq!(fixture.bench.now_ns(), now_ns, "{expected:?}");

    // The limit before is in force, and the queue knows it.
    assert_eq!(queue.limits(), Some(&before));
    assert!(monitor.is_armed());
    let masks = (fixture.register(MASK_A), fixture.register(MASK_B));
    assert_eq!(masks, (1 << 7, 1 << 7));
    fixture.hands[1].set(11_000_000, 0);
    fixture.scans(2);
    assert_eq!(fixture.low(), [true, true], "{expected:?}");
    queue.service(&mut monitor).expect("a part that answers");
    let told = events(&mut queue);
    assert_eq!(told[0].limit(), Some(before.list()[0].threshold()));
}

#[test]
fn limits_that_cannot_be_are_named_and_nothing_is_sent() {
    use Kind::{OverCurrent, OverPower, OverVoltage, UnderVoltage};
    use LimitReason::*;
    let milliwatts = |milliwatts| {
        let threshold = Threshold::OverPower(Power::from_milliwatts(milliwatts));
        Limit::new(C0, threshold).to(Outputs::A)
    };
    let far = Limit::new(
        Channel::new(7),
        Threshold::OverCurrent(Current::from_milliamps(1)),
    );
    let again = Lasting::LookAgain(Duration::from_secs(1));
    let cases: [(&[Limit], Kind, LimitReason); 20] = [
        // Nothing passes 6.5536 V, less one code, in a range that ends there; everything is above
        // −1 V, and nothing below 0 V.
        (&[over_voltage(7_000)], OverVoltage, BeyondFullScale),
        (&[over_voltage(-1_000)], OverVoltage, BeyondFullScale),
        (&[under_voltage(0)], UnderVoltage, BeyondFullScale),
        (&[under_voltage(7_000_000)], UnderVoltage, BeyondFullScale),
        // 65.536 mV over 1 Ω.
        (&[over_current(66)], OverCurrent, BeyondFullScale),
        (&[over_current(-66)], OverCurrent, BeyondFullScale),
        (&[milliwatts(1_000)], OverPower, BeyondFullScale),
        (
            &[over_voltage(3_000), under_voltage(3_001_000)],
            OverVoltage,
            Crossed,
        ),
        (
            &[under_voltage(3_001_000), over_voltage(3_000)],
            OverVoltage,
            Crossed,
        ),
        // Not crossed, but no code of 100 µV lies between 3.00001 and 3.00009 V: whatever the
        // reading, one of the two would stand.
        (
            &[
                Limit::new(
                    C0,
                    Threshold::OverVoltage(Voltage::from_microvolts(3_000_090)),
                )
                .to(Outputs::A),
                under_voltage(3_000_010),
            ],
            OverVoltage,
            Crossed,
        ),
        (
            &[
                over_current(1),
                Limit::new(C0, Threshold::UnderCurrent(Current::from_milliamps(2))).to(Outputs::B),
            ],
            OverCurrent,
            Crossed,
        ),
        (
            &[over_current(1), over_voltage(1_000), over_current(2)],
            OverCurrent,
            SetTwice,
        ),
        (
            &[over_current(1).to(Outputs::empty())],
            OverCurrent,
            NoOutput,
        ),
        (&[over_current(1).debounce(0)], OverCurrent, Debounce(0)),
        (&[over_current(1).debounce(16)], OverCurrent, Debounce(16)),
        (
            &[over_current(1).hysteresis(Quantity::Current(Current::from_milliamps(-1)))],
            OverCurrent,
            Hysteresis,
        ),
        (
            &[over_current(1).hysteresis(Quantity::Voltage(Voltage::from_millivolts(1)))],
            OverCurrent,
            Hysteresis,
        ),
        (
            &[milliwatts(1).hysteresis(Quantity::Current(Current::from_milliamps(1)))],
            OverPower,
            Hysteresis,
        ),
        (&[far.to(Outputs::A)], OverCurrent, NotEnabled),
        (
            &[far.to(Outputs::A).lasting(again)],
            OverCurrent,
            NotEnabled,
        ),
    ];
    for (limits, kind, reason) in cases {
        refused(&CONFIG, &Limits::new(limits), kind, reason);
    }
    let disabled = CONFIG.without(C0);
    let limits = [over_current(1)];
    refused(&disabled, &Limits::new(&limits), OverCurrent, NotEnabled);
}

/// A single shot begins counting anew (datasheet, section 3.3): of one or two scans, none reaches a
/// debounce of more.
#[test]
fn a_debounce_that_no_single_shot_reaches_is_named() {
    let shot = CONFIG.with_mode(Mode::SingleShot);
    for (averaging, debounce, is_refused) in [
        (0, 1, false),
        (0, 2, true),
        (1, 2, false),
        (1, 3, true),
        (3, 15, true),
        (4, 15, false),
        (10, 15, false),
    ] {
        let limits = [over_current(1).debounce(debounce)];
        let limits = Limits::new(&limits);
        let fixture = Fixture::new();
        fixture.hands[0].set(11_000_000, 0);
        let mut monitor = fixture.monitor();
        let config = shot.averaging(averaging);
        monitor.init(&config).expect("a part that answers");
        let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
        let result = queue.set_limits(&mut monitor, &limits);
        let refused = ErrorKind::Limits(LimitError {
            channel: C0,
            kind: Kind::OverCurrent,
            reason: LimitReason::Debounce(debounce),
        });
        let kind = result.err().map(|error| error.kind);
        assert_eq!(
            kind,
            is_refused.then_some(refused),
            "{debounce} of 2^{averaging}"
        );
        monitor.sample().expect("a shot");
        assert_eq!(fixture.low(), [!is_refused, false]);
    }
}

/// An output that is wired to hardware is never masked, so what reaches it has to be looked at
/// again.
#[test]
fn nothing_is_masked_on_an_output_that_is_wired_to_hardware() {
    let masked = [over_current(1).to(Outputs::all())];
    for wired in [Outputs::A, Outputs::B, Outputs::all()] {
        let limits = Limits::new(&masked).wired(wired);
        refused(
            &CONFIG,
            &limits,
            Kind::OverCurrent,
            LimitReason::MaskedOnWired,
        );
    }
    // On the other output it may be masked; looked at again it may reach both; silent it reaches
    // none.
    let others = [
        over_current(1).to(Outputs::B),
        over_voltage(1_000)
            .to(Outputs::all())
            .lasting(Lasting::LookAgain(Duration::from_secs(1))),
        under_voltage(1_000).to(Outputs::empty()).silent(),
    ];
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    let limits = Limits::new(&others).wired(Outputs::A);
    assert_eq!(limits.wired_outputs(), Outputs::A);
    AlertQueue::<4>::new()
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
}

/// Limits exactly on one another leave one code; a silent limit needs no output.
#[test]
fn what_looks_like_a_mistake_and_is_none() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    for hand in &fixture.hands {
        hand.set(0, 3_000_000_000);
    }
    let limits = [
        over_voltage(3_000),
        under_voltage(3_000_000),
        over_current(-1).to(Outputs::empty()).silent(),
    ];
    let limits = Limits::new(&limits);
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
    fixture.scans(2);
    assert_eq!(fixture.low(), [false, false]);
    assert_eq!(fixture.flags(), 4, "silent, and set");
}

/// Before a configuration there is nothing to set limits on; a change of it takes them.
#[test]
fn a_change_of_configuration_disarms() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    let limits = [over_current(10)];
    let limits = Limits::new(&limits);
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    let fault = |result: Result<(), crake::Error<_>>| result.expect_err("too early").fault();
    let result = queue.set_limits(&mut monitor, &limits);
    assert_eq!(fault(result), Fault::NotConfigured);
    monitor.init(&CONFIG).expect("a part that answers");
    let result = queue.service(&mut monitor).map(|_| ());
    assert_eq!(fault(result), Fault::NotArmed);
    assert_eq!(queue.next_in(), None, "nothing was touched");
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");

    monitor
        .configure(&CONFIG.with(C0, FINE))
        .expect("a part that answers");
    assert!(!monitor.is_armed());
    let result = queue.service(&mut monitor).map(|_| ());
    assert_eq!(fault(result), Fault::NotArmed);
    assert_eq!(fixture.register(MASK_A), 0);
    // Beyond the limit, were it there still.
    fixture.hands[0].set(20_000_000, 0);
    fixture.scans(2);
    assert_eq!(fixture.flags(), 0);
    // Samples go on.
    monitor.sample().expect("a part that answers");
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
    fixture.scans(2);
    assert_eq!(fixture.low(), [true, false]);
}

/// The supply declared off: nothing is sent, and the error says why.
#[test]
fn nothing_is_sent_to_a_part_without_supply() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor();
    monitor.set_powered(false);
    let limits = [over_current(1)];
    let limits = Limits::new(&limits);
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    let error = queue
        .set_limits(&mut monitor, &limits)
        .expect_err("no supply");
    assert_eq!(error.fault(), Fault::Unpowered);
    let error = queue
        .service(&mut monitor)
        .map(|_| ())
        .expect_err("no supply");
    assert_eq!(error.fault(), Fault::Unpowered);
    assert_eq!(fixture.bench.bus_stats().bytes, 0);
}
