use alloc::{format, rc::Rc};

use crake::old::alert::{Causes, Kind, Watches};
use crake::old::part::{Codes, Counters, Head, Joint};
use crake::old::{
    Channel, Condition, Error, Frame, Monitor, NoReading, Ranges, Reading, Setup, ShuntMonitor,
    Stamp,
};

use super::probe::{Pause, Probe, ProbeError, Tap, Ticks};
use super::report::Stop;
use super::scene::{Point, Scene};
use super::{Desk, Subject};

/// The monitor under test, as firmware has it.
pub(super) type Driver<'s, S, const N: usize> = Monitor<
    's,
    Probe<<S as Subject<N>>::Desk>,
    Pause<<S as Subject<N>>::Desk>,
    Ticks<<S as Subject<N>>::Desk>,
    <S as Subject<N>>::Part,
    N,
>;

/// A fresh fixture with a monitor on it.
pub(super) struct Trial<'s, S: Subject<N>, const N: usize> {
    pub(super) scene: &'s Scene<'s, S, N>,
    pub(super) desk: S::Desk,
    pub(super) tap: Rc<Tap>,
    pub(super) monitor: Driver<'s, S, N>,
    setup: Setup<N>,
}

/// A frame, copied out of the monitor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen<const N: usize> {
    pub(super) head: Head,
    pub(super) condition: Condition,
    pub(super) unbroken: bool,
    pub(super) stamp: Stamp,
    pub(super) ranges: [Option<Ranges>; N],
    pub(super) codes: [Codes; N],
    pub(super) counters: [Counters; N],
    pub(super) readings: [Result<Reading, NoReading>; N],
}

/// What the driver answers.
pub(super) type Answer<T> = Result<T, Error<ProbeError>>;

impl<'s, S: Subject<N>, const N: usize> Scene<'s, S, N> {
    pub(super) fn trial(&'s self) -> Trial<'s, S, N> {
        self.trial_at(0, 255)
    }

    /// With the part's oscillator off, and a controller that reads at most so many bytes at once.
    pub(super) fn trial_at(&'s self, oscillator_ppm: i32, read_max: u8) -> Trial<'s, S, N> {
        let desk = self.subject.desk(oscillator_ppm);
        let (tap, monitor) = self.driver(&desk, read_max);
        Trial {
            scene: self,
            desk,
            tap,
            monitor,
            setup: self.fast(),
        }
    }

    /// Another monitor on a fixture.
    pub(super) fn driver(&'s self, desk: &S::Desk, read_max: u8) -> (Rc<Tap>, Driver<'s, S, N>) {
        let tap = Rc::new(Tap::default());
        let monitor = Monitor::new(
            Probe::new(desk, &tap),
            Pause::new(desk, &tap),
            Ticks(desk.clone()),
            self.subject.map(),
            self.subject.address(),
            &self.board,
        );
        (tap, monitor.with_read_max(read_max).with_repeats(0))
    }

    /// A trial that runs at the fastest pace.
    pub(super) fn running(&'s self) -> Result<Trial<'s, S, N>, Stop> {
        let mut trial = self.trial();
        trial.init(&self.fast())?;
        Ok(trial)
    }
}

impl<S: Subject<N>, const N: usize> Trial<'_, S, N> {
    pub(super) fn init(&mut self, setup: &Setup<N>) -> Answer<Seen<N>> {
        self.setup = *setup;
        self.monitor.init(setup).map(|frame| Seen::of(&frame))
    }

    pub(super) fn configure(&mut self, setup: &Setup<N>) -> Answer<Seen<N>> {
        self.setup = *setup;
        self.monitor.configure(setup).map(|frame| Seen::of(&frame))
    }

    pub(super) fn latch(&mut self) -> Answer<Seen<N>> {
        self.monitor.latch().map(|frame| Seen::of(&frame))
    }

    pub(super) fn attach(&mut self, joint: &Joint) -> Answer<Seen<N>> {
        self.monitor.attach(joint).map(|frame| Seen::of(&frame))
    }

    /// Puts watches in force in the set-up that runs; gives the causes that stood before.
    pub(super) fn arm(&mut self, watches: &Watches<'_>) -> Answer<Causes> {
        let mut found = Causes::empty();
        let setup = self.setup;
        self.monitor.arm(&setup, watches, &mut found)?;
        Ok(found)
    }

    pub(super) fn service(&mut self, interest: Causes) -> Answer<Causes> {
        let mut found = Causes::empty();
        self.monitor.service(interest, &mut found)?;
        Ok(found)
    }

    /// Puts a point on a channel, in LSBs of these ranges.
    pub(super) fn apply_in(&self, channel: Channel, ranges: Ranges, point: Point) {
        let (sense_nv, bus_nv) = self.scene.nanovolts(ranges, point);
        self.desk.apply(channel.number(), sense_nv, bus_nv);
    }

    /// The same in the first ranges.
    pub(super) fn apply(&self, channel: Channel, point: Point) {
        self.apply_in(channel, self.scene.first(channel), point);
    }

    /// The same on all channels.
    pub(super) fn apply_all(&self, point: Point) {
        for channel in self.scene.channels() {
            self.apply(channel, point);
        }
    }

    /// A point of its own on each channel.
    pub(super) fn apply_distinct(&self) {
        for channel in self.scene.channels() {
            self.apply(channel, self.scene.own(channel));
        }
    }

    /// Until everything that the part shows was converted from what is applied now.
    pub(super) fn settle(&self) {
        self.desk.run_for_ns(self.scene.settling_ns(&self.setup));
    }

    pub(super) fn periods(&self, count: u64) {
        self.desk
            .run_for_ns(count * self.scene.period_ns(self.setup.mode));
    }

    /// What is applied now is judged, by the part with its conversions or by the driver with this frame.
    pub(super) fn judged(&mut self) -> Answer<()> {
        self.settle();
        self.latch().map(drop)
    }

    /// A latch once everything has settled.
    pub(super) fn settled(&mut self) -> Answer<Seen<N>> {
        self.settle();
        self.latch()
    }

    /// Points well within all limits on every channel.
    pub(super) fn rest(&self, kind: Kind, limit: i64) {
        self.apply_all(self.scene.point(kind, self.scene.beyond(kind, limit, -2)));
    }
}

impl<const N: usize> Seen<N> {
    pub(super) fn of(frame: &Frame<'_>) -> Self {
        let each = |index: usize| Channel::new(index as u8);
        Self {
            head: frame.head(),
            condition: frame.condition(),
            unbroken: frame.unbroken(),
            stamp: frame.stamp(),
            ranges: core::array::from_fn(|index| frame.ranges(each(index))),
            codes: core::array::from_fn(|index| frame.codes(each(index))),
            counters: core::array::from_fn(|index| frame.counters(each(index))),
            readings: core::array::from_fn(|index| frame.reading(each(index))),
        }
    }
}

impl From<Error<ProbeError>> for Stop {
    fn from(error: Error<ProbeError>) -> Self {
        Self::Finding(format!("an error where there should be none: {error}"))
    }
}
