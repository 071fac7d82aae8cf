//! What a token proves, and what it does not.

use crake::alert::{AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::bus::Fault;
use crake::totals::{Discontinuity, Totals, Update};
use crake::units::Current;
use crake::{Channel, ShuntMonitor};

use crate::fixture::{BOARD, CHANNELS, Fixture, fast};

/// A service that takes a lasting condition off its output writes to the part, and one that lets it
/// back does: the token from before is refused, the one from after it fits.
#[test]
fn a_service_that_masks_makes_another_token() {
    static LIMITS: Limits<'static> = Limits::new(&[Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(500)),
    )
    .to(Outputs::A)]);
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let mut queue = AlertQueue::<8>::new();
    monitor.init(&fast()).expect("init");
    queue.set_limits(&mut monitor, &LIMITS).expect("limits");
    let resume = |token| {
        let mut again = fixture.monitor_on(fixture.bench.i2c());
        again
            .resume(&fast(), token)
            .map(drop)
            .map_err(|error| error.fault())
    };
    // Rail 0 has 1 A: beyond the limit, then not.
    for current_na in [1_000_000_000, 0] {
        fixture.rail(0, current_na, 3_000_000_000);
        fixture.pass_us(5_000);
        let before = monitor.token();
        assert_eq!(resume(before), Ok(()));
        queue.service(&mut monitor).expect("service");
        assert_eq!(resume(before), Err(Fault::Changed));
        assert_eq!(resume(monitor.token()), Ok(()));
        // One that changes nothing in the part leaves the token as it is.
        let token = monitor.token();
        queue.service(&mut monitor).expect("service");
        assert_eq!(monitor.token(), token);
    }
}

/// A part that was reset and initialised alike has counted as many writes: the token from before
/// fits, which is why it has to be thrown away. Totals do not go on: the scans are too few.
#[test]
fn a_token_from_before_a_reset_fits_and_totals_do_not_go_on() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let mut totals = Totals::<CHANNELS>::new(&BOARD);
    monitor.init(&fast()).expect("init");
    totals.update(monitor.sample().expect("a sample"));
    let token = monitor.token();
    fixture.pass_us(3_000_000);
    assert_eq!(
        totals.update(monitor.sample().expect("a sample")),
        Update::Continued
    );

    fixture.part.brown_out();
    fixture.pass_us(2_000);
    let mut other = fixture.monitor_on(fixture.bench.i2c());
    other.init(&fast()).expect("init");
    fixture.pass_us(20_000_000);
    let mut again = fixture.monitor_on(fixture.bench.i2c());
    let sample = again.resume(&fast(), token).expect("as many writes");
    let update = totals.update(sample);
    assert_eq!(update, Update::Discontinuity(Discontinuity::Implausible));
}
