//! Totals across restarts of firmware whose part goes on, with monitors on the bench.

use std::fmt::Debug;
use std::time::Duration;

use crake::board::{Board, Load, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::totals::{Bounds, Discontinuity, Gap, Margins, Totals, Update};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, ShuntMonitor, TimedSample};
use crake_sim::bench::Bench;
use crake_sim::part::corncrake as model;
use crake_sim::plant::Constant;

use crate::over_range::{HostClock, fitted};

const RAILS: [Rail; 1] = [Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::from_ppm(100),
))
.with_load(Load::smooth(Current::from_amps(2)))];
static BOARD: Board<1> = Corncrake::board(&RAILS);
static MARGINS: Margins<'static, 1> = Margins::new(&INFO, &BOARD, &RAILS);
const CONFIG: Config<1> = Config::continuous(
    [FullScale::new(
        Voltage::from_millivolts(26),
        Voltage::from_volts(6),
    )],
    ScanRate::per_second(2_000),
);

type Bounded = Totals<'static, 1, Bounds<'static, 1>>;
type Record = [u8; Bounded::CHECKPOINT_LEN];

/// A part that everybody leaves alone, and what flowed since the totals began, in nC.
struct Scene {
    bench: Bench,
    part: crake_sim::bench::Part<model::Model>,
    charge_before: i128,
}

impl Scene {
    fn monitor(&self) -> impl ShuntMonitor<1, Sample: TimedSample<1>, BusError: Debug> + use<> {
        let part = Corncrake::new(Address::Strap0);
        Monitor::new(self.bench.i2c(), self.bench.delay(), part, &BOARD)
            .with_clock(HostClock(self.bench.clock()))
    }

    fn charge(&self) -> i128 {
        self.part.truth(0).expect("a channel").charge_half_na_ns / 2_000_000_000
    }

    /// Two amperes; a second after the first sample the totals are saved.
    fn saved() -> (Self, Record) {
        let load = Constant::new(2_000_000_000).expect("a current");
        let (bench, part) = fitted(5_000_000_000, load);
        let mut scene = Self {
            bench,
            part,
            charge_before: 0,
        };
        let mut monitor = scene.monitor();
        let mut totals = Totals::with_bounds(&MARGINS);
        monitor.init(&CONFIG).expect("init");
        totals.update(monitor.sample().expect("a sample"));
        scene.charge_before = scene.charge();
        scene.bench.run_for(Duration::from_secs(1));
        let update = totals.update(monitor.sample().expect("a sample"));
        assert_eq!(update, Update::Continued);
        let mut record = [0; Bounded::CHECKPOINT_LEN];
        totals.save(monitor.token(), &mut record).expect("room");
        drop(monitor);
        (scene, record)
    }

    /// Within the bound of what flowed, which is 10 µV of 20 mV and half a percent at the most.
    fn check(&self, totals: &Bounded) {
        let total = totals.charge(Channel::C0).expect("a rail");
        let truth = self.charge() - self.charge_before;
        let off = (total.value.as_nanocoulombs() - truth).abs();
        let bound = total.bound.as_nanocoulombs();
        assert!(off <= bound && bound < truth / 100, "{off} of {bound}");
    }
}

/// Goal: every scan before, during and after the restart counts.
#[test]
fn a_part_that_was_left_alone_is_gone_on_with() {
    let (scene, record) = Scene::saved();
    scene.bench.run_for(Duration::from_secs(5));
    let mut totals = Totals::with_bounds(&MARGINS);
    let token = totals.load(&record).expect("whole");
    let mut monitor = scene.monitor();
    let update = totals.update(monitor.resume(&CONFIG, token).expect("resume"));
    assert_eq!(update, Update::Continued);
    assert_eq!((totals.epoch(), totals.gap()), (0, Gap::NONE));
    scene.check(&totals);
    // Nothing changes for a monitor that never lost it; nor after another restart.
    let token = monitor.token();
    let update = totals.update(monitor.resume(&CONFIG, token).expect("resume"));
    assert_eq!(update, Update::Continued);
    let mut record = record;
    totals.save(monitor.token(), &mut record).expect("room");
    let token = totals.load(&record).expect("whole");
    let mut monitor = scene.monitor();
    scene.bench.run_for(Duration::from_secs(5));
    let update = totals.update(monitor.resume(&CONFIG, token).expect("resume"));
    assert_eq!(update, Update::Continued);
    scene.check(&totals);
    // A change of configuration is none that could be overlooked.
    monitor.configure(&CONFIG).expect("configure");
    let update = totals.update(monitor.sample().expect("a sample"));
    assert_eq!(update, Update::Discontinuity(Discontinuity::Configured));
}

/// Goal: a part that was reset, or is initialised for another reason, is not gone on with: the time
/// since the last sample is a gap, and what was counted stays.
#[test]
fn a_part_that_was_not_is_a_gap() {
    for reset in [true, false] {
        let (scene, record) = Scene::saved();
        let counted = scene.charge() - scene.charge_before;
        scene.bench.run_for(Duration::from_secs(5));
        let mut totals = Totals::with_bounds(&MARGINS);
        let token = totals.load(&record).expect("whole");
        let mut monitor = scene.monitor();
        if reset {
            scene.part.brown_out();
            scene.bench.run_for(Duration::from_millis(10));
            assert!(monitor.resume(&CONFIG, token).is_err());
        }
        monitor.init(&CONFIG).expect("init");
        let update = totals.update(monitor.sample().expect("a sample"));
        assert_eq!(update, Update::Discontinuity(Discontinuity::Configured));
        let gap = totals.gap();
        assert!(
            gap.least_us > 4_990_000 && gap.greatest_us < 5_030_000,
            "{gap:?}"
        );
        let total = totals.charge(Channel::C0).expect("a rail");
        let off = (total.value.as_nanocoulombs() - counted).abs();
        assert!(off <= total.bound.as_nanocoulombs(), "{off}");
    }
}
