//! A bus that fails as planned, and the scene in which it does: a station that watches two channels, and what firmware does about it.

use std::cell::RefCell;
use std::rc::Rc;

use crake::old::alert::{Cause, Event, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::old::part::corncrake::PACE_2000;
use crake::old::units::{Current, Voltage};
use crake::old::{Channel, Mode, Setup, ShuntMonitor};
use crake_sim::bus::BusError;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

use super::{Blocking, Bus, Desk, Excursion, SETUP, events};

/// Five milliamperes and three volts: within all limits below. One sense code is 500 nA.
pub const AT_REST: (i64, i64) = (5_000_000, 3_000_000_000);
/// Beyond the over-current limit of 10 mA.
pub const MUCH: (i64, i64) = (20_000_000, 3_000_000_000);
/// Beyond the under-voltage limit of 2 V.
pub const LOW: (i64, i64) = (5_000_000, 1_000_000_000);

pub const OVER_CURRENT: Cause = Cause::Limit(Channel::C0, Kind::OverCurrent);
pub const UNDER_VOLTAGE: Cause = Cause::Limit(Channel::C1, Kind::UnderVoltage);

pub static WATCHES: [Watch; 2] = [
    Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(10)))
        .held()
        .to(Outputs::A),
    Watch::new(Channel::C1, Limit::UnderVoltage(Voltage::from_volts(2)))
        .held()
        .to(Outputs::A),
];

pub const FAST: Setup<4> = Setup {
    mode: Mode::Paced(PACE_2000),
    ..SETUP
};

pub type Stationed = Station<'static, 4, 16>;
pub type Told<'m> = &'m mut dyn ShuntMonitor<4, BusError = BusError>;

/// A controller whose transfers fail as planned.
pub struct Failing<B> {
    pub inner: B,
    pub plan: Rc<RefCell<Failures>>,
}

/// Which transfer fails from now on, and how.
#[derive(Default)]
pub struct Failures {
    /// Transfers until the failure; `None`: no failure.
    pub after: Option<usize>,
    /// Whether the transfer takes place and is reported as failed nevertheless.
    pub took_effect: bool,
    /// Transfers so far.
    pub count: usize,
}

impl Failures {
    pub fn at(number: usize, took_effect: bool) -> Self {
        Self {
            after: Some(number),
            took_effect,
            count: 0,
        }
    }

    fn hits(&mut self) -> bool {
        let hit = self.after == Some(self.count);
        self.count += 1;
        hit
    }
}

impl<B: ErrorType> ErrorType for Failing<B> {
    type Error = B::Error;
}

impl<B: I2c<Error = BusError>> I2c for Failing<B> {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let hits = self.plan.borrow_mut().hits();
        if hits && !self.plan.borrow().took_effect {
            return Err(BusError(ErrorKind::ArbitrationLoss));
        }
        let outcome = self.inner.transaction(address, operations);
        if hits {
            return Err(BusError(ErrorKind::Bus));
        }
        outcome
    }
}

pub type FailingMonitor = Blocking<Failing<Bus>>;

pub fn failing(
    repeats: u8,
) -> (
    Desk,
    Rc<RefCell<Failures>>,
    FailingMonitor,
    Stationed,
    Excursion,
) {
    let desk = Desk::new();
    for hand in &desk.hands {
        hand.set(AT_REST.0, AT_REST.1);
    }
    let rail = desk.excursion(0, AT_REST, MUCH);
    let plan = Rc::new(RefCell::new(Failures::default()));
    let bus = Failing {
        inner: desk.bench.i2c(),
        plan: plan.clone(),
    };
    let mut monitor = desk.monitor_on(bus).with_repeats(repeats);
    monitor.init(&FAST).expect("a part that answers");
    let mut station: Stationed = Station::new(FAST, Watches::limits(&WATCHES));
    station.arm(&mut monitor).expect("watches that can be");
    (desk, plan, monitor, station, rail)
}

pub fn excursion_of_one_conversion(desk: &Desk, rail: &Excursion) {
    desk.next_round();
    let begins = desk.bench.now_ns();
    rail.when_ns.borrow_mut().push((begins, begins + 62_500));
    desk.next_round();
}

/// What firmware does: serve while the line is low, again after a failure; then the events.
pub fn serve(desk: &Desk, station: &mut Stationed, monitor: Told<'_>) -> Vec<Event> {
    let mut told = Vec::new();
    let mut rounds = 0;
    let mut repeat = false;
    while repeat || desk.low()[0] {
        repeat = station.service(monitor).is_err();
        told.extend(events(station));
        rounds += 1;
        assert!(rounds < 20, "the line stays low");
    }
    told
}

pub fn count(told: &[Event], cause: Cause) -> usize {
    told.iter().filter(|event| event.cause == cause).count()
}
