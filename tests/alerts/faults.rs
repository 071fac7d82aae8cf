//! A bus that fails as planned, and the scene in which it does: a queue with limits on two
//! channels, and what firmware does about it.

use crake::alert::{
    AlertFlag, AlertQueue, Event, Kind, Limit, Limits, Outputs, Quantity, Threshold,
};
use crake::units::{Current, Voltage};
use crake::{Channel, ShuntMonitor};
use crake_sim::bench::{I2c as BenchBus, Injected};
use crake_sim::bus::BusError;
use crake_sim::fault::{Fault, FaultKind};
use embedded_hal::i2c::I2c;

use crate::fixture::{Blocking, Excursion, FAST, Fixture, events};

/// Five milliamperes and three volts: within all limits below. One sense code is 500 nA.
pub const AT_REST: (i64, i64) = (5_000_000, 3_000_000_000);
/// Beyond the over-current limit of 10 mA.
pub const MUCH: (i64, i64) = (20_000_000, 3_000_000_000);
/// Beyond the under-voltage limit of 2 V.
pub const LOW: (i64, i64) = (5_000_000, 1_000_000_000);

pub const OVER_CURRENT: AlertFlag = AlertFlag::Limit(Channel::C0, Kind::OverCurrent);
pub const UNDER_VOLTAGE: AlertFlag = AlertFlag::Limit(Channel::C1, Kind::UnderVoltage);

pub const TEN: Threshold = Threshold::OverCurrent(Current::from_milliamps(10));
pub const OVER: Limit = Limit::new(Channel::C0, TEN)
    .hysteresis(Quantity::Current(Current::ZERO))
    .to(Outputs::A);
pub const UNDER: Limit = Limit::new(Channel::C1, Threshold::UnderVoltage(Voltage::from_volts(2)))
    .hysteresis(Quantity::Voltage(Voltage::ZERO))
    .to(Outputs::A);
pub static LIMITS: Limits<'static> = Limits::new(&[OVER, UNDER]);

pub type Queue = AlertQueue<'static, 16>;

/// From now on the transfer with this number fails: before the part sees it, or when it has taken
/// effect.
pub fn fail_at(fixture: &Fixture, number: usize, took_effect: bool) -> Injected {
    let kind = if took_effect {
        FaultKind::AnswerLost
    } else {
        FaultKind::ArbitrationLost
    };
    let fault = Fault::new(kind).after(number as u64).times(1);
    fixture.bench.fault(fault).expect("a fault that can be")
}

/// The scene, with so many attempts for each transfer.
pub struct Scene {
    pub fixture: Fixture,
    pub monitor: Blocking<BenchBus>,
    pub queue: Queue,
    pub rail: Excursion,
}

impl Scene {
    pub fn new(attempts: u8) -> Self {
        let fixture = Fixture::new();
        for hand in &fixture.hands {
            hand.set(AT_REST.0, AT_REST.1);
        }
        let rail = fixture.excursion(0, AT_REST, MUCH);
        let mut monitor = fixture.monitor();
        monitor.set_attempts(attempts);
        monitor.init(&FAST).expect("a part that answers");
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        Self {
            fixture,
            monitor,
            queue,
            rail,
        }
    }

    /// One conversion of channel 0 beyond its limit, and over.
    pub fn excursion(&self) {
        excursion_of_one_conversion(&self.fixture, &self.rail);
    }
}

pub fn excursion_of_one_conversion(fixture: &Fixture, rail: &Excursion) {
    fixture.next_scan();
    let begins = fixture.bench.now_ns();
    rail.when_ns.borrow_mut().push((begins, begins + 62_500));
    fixture.next_scan();
}

/// What firmware does: serve while a line that it listens to is low, or something is due at once,
/// again after a failure; then the events.
pub fn serve<B: I2c<Error = BusError>>(
    fixture: &Fixture,
    queue: &mut Queue,
    monitor: &mut Blocking<B>,
) -> Vec<Event> {
    let mut told = Vec::new();
    let mut times = 0;
    while is_called(fixture, queue) {
        let _ = queue.service(monitor);
        told.extend(events(queue));
        times += 1;
        assert!(times < 20, "it does not come to rest");
    }
    told
}

/// The same, and what is due later, until nothing is.
pub fn serve_until_rest<B: I2c<Error = BusError>>(
    fixture: &Fixture,
    queue: &mut Queue,
    monitor: &mut Blocking<B>,
) -> Vec<Event> {
    let mut told = serve(fixture, queue, monitor);
    let mut times = 0;
    while let Some(time) = queue.next_in() {
        fixture.bench.run_for(time);
        let _ = queue.service(monitor);
        told.extend(events(queue));
        told.extend(serve(fixture, queue, monitor));
        times += 1;
        assert!(times < 20, "it does not come to rest");
    }
    told
}

/// Whether firmware has to serve right now.
pub fn is_called<const Q: usize>(fixture: &Fixture, queue: &AlertQueue<'_, Q>) -> bool {
    let listening = queue.listening();
    let [a, b] = fixture.low();
    a && listening.contains(Outputs::A)
        || b && listening.contains(Outputs::B)
        || queue.next_in().is_some_and(|time| time.is_zero())
}

pub fn count(told: &[Event], flag: AlertFlag) -> usize {
    told.iter().filter(|event| event.flag() == flag).count()
}
