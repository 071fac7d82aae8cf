//! Transfers of each operation, as the documentation of `ShuntMonitor` and `AlertQueue` states them
//! for a Corncrake.

use crake::alert::{AlertFlags, AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::units::{Current, Voltage};
use crake::{Channel, ShuntMonitor};

use crate::fixture::{Fixture, fast};

const OVER: Limit = Limit::new(
    Channel::C0,
    Threshold::OverCurrent(Current::from_milliamps(500)),
);
const UNDER: Limit = Limit::new(Channel::C1, Threshold::UnderVoltage(Voltage::from_volts(1)));

#[test]
fn operations_take_as_many_transfers_as_stated() {
    static ONE: Limits<'static> = Limits::new(&[OVER.to(Outputs::A)]);
    static TWO: Limits<'static> = Limits::new(&[OVER.to(Outputs::A), UNDER.to(Outputs::B)]);
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let mut queue = AlertQueue::<8>::new();
    let mut seen = AlertFlags::empty();
    let mut before = 0;
    let mut transfers = || {
        fixture.pass_us(5_000);
        let now = fixture.bench.bus_stats().transactions;
        now - std::mem::replace(&mut before, now)
    };
    monitor.init(&fast()).expect("init");
    assert_eq!(transfers(), 15, "init");
    monitor.configure(&fast()).expect("configure");
    assert_eq!(transfers(), 14, "configure");
    monitor.sample().expect("a sample");
    assert_eq!(transfers(), 2, "sample");

    let limits = [(&ONE, 23 + 2), (&TWO, 23 + 4)];
    for (limits, stated) in limits {
        monitor.set_limits(limits, &mut seen).expect("limits");
        assert_eq!(transfers(), stated, "set limits");
    }
    let found = |result: Result<AlertFlags, _>| !result.expect("alerts").is_empty();
    assert!(found(monitor.read_alerts(TWO.enabled(), &mut seen)));
    assert_eq!(transfers(), 2, "read alerts");
    assert!(!found(monitor.read_alerts(AlertFlags::empty(), &mut seen)));
    assert_eq!(transfers(), 1, "read alerts, and there are none");
    monitor.set_masks(TWO.masks()).expect("masks");
    assert_eq!(transfers(), 5, "set masks");

    queue.set_limits(&mut monitor, &TWO).expect("limits");
    assert_eq!(transfers(), 23 + 4);
    queue.service(&mut monitor).expect("service");
    assert_eq!(transfers(), 2 + 2 + 5, "a condition begins to last");
    queue.service(&mut monitor).expect("service");
    assert_eq!(transfers(), 2 + 2, "it lasts");
    fixture.rail(0, 0, 3_000_000_000);
    transfers();
    queue.service(&mut monitor).expect("service");
    // The look before the sample cleared the flag: that after it finds nothing.
    assert_eq!(transfers(), 2 + 2 + 1 + 5, "it is over");
    queue.service(&mut monitor).expect("service");
    assert_eq!(transfers(), 1 + 2, "nothing stands");
    let mut delay = fixture.bench.delay();
    queue
        .proof_test(&mut monitor, &mut delay, |_| false)
        .expect("a test");
    assert_eq!(transfers(), 20, "proof test");

    let token = monitor.token();
    monitor.resume(&fast(), token).expect("it runs");
    assert_eq!(transfers(), 9, "resume");
    monitor.start_capture(Channel::C0).expect("a capture");
    assert_eq!(transfers(), 4, "start a capture");
    let shot = fast().with_mode(crake::config::Mode::SingleShot);
    monitor.configure(&shot).expect("configure");
    assert_eq!(transfers(), 14);
    monitor.sample().expect("a sample");
    assert_eq!(transfers(), 3, "a single shot");
}
