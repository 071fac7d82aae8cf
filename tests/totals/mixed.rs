//! A part that keeps charge alone and compares nothing: a Corncrake of which that is all that is
//! used. The driver keeps the energy over the part's own count of scans, and compares.

use std::time::Duration;

use crake::alert::{AlertFlags, AlertQueue, Limit, Limits, Threshold};
use crake::board::{Board, LimitPlan, Rail, SenseResistor};
use crake::bus::{Fault, Link, Port, Wire};
use crake::config::{Config, FullScale, Scan, ScanRate};
use crake::info::{AlertInfo, PartInfo, Source};
use crake::part::corncrake::{Address, Block, Corncrake, INFO};
use crake::part::{Codes, Part, SoftwareComparator, SoftwareSums, Sums};
use crake::totals::{Discontinuity, Totals, Update};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Channel, Clock, Monitor, ShuntMonitor, TimedSample, WithClock};
use crake_sim::bench::{Bench, Delay, I2c};
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Source as Supply};

static CHARGE_ALONE: PartInfo = PartInfo {
    energy_sum: Source::Driver,
    alerts: AlertInfo::NONE,
    ..INFO
};

#[derive(Clone)]
struct ChargeAlone(Corncrake);

impl Wire for ChargeAlone {
    const CHECK_BYTE: bool = Corncrake::CHECK_BYTE;
    const LOW_BYTE_FIRST: bool = Corncrake::LOW_BYTE_FIRST;
}

impl Part for ChargeAlone {
    const INFO: &'static PartInfo = &CHARGE_ALONE;
    type Block = Block;
    type Comparator = SoftwareComparator<4>;
    type Sums = SoftwareSums<4>;
    const EMPTY: Block = Corncrake::EMPTY;
    const FAILURES_MAX: u8 = Corncrake::FAILURES_MAX;

    fn address(&self) -> u8 {
        self.0.address()
    }

    async fn configure<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        fresh: bool,
    ) -> Result<(), Fault> {
        self.0.configure(link, scan, fresh).await
    }

    async fn resume<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        writes: u32,
    ) -> Result<(), Fault> {
        self.0.resume(link, scan, writes).await
    }

    fn writes(&self) -> u32 {
        self.0.writes()
    }

    async fn latch<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        self.0.latch(link).await
    }

    fn latch_us_max(&self) -> u32 {
        self.0.latch_us_max()
    }

    async fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        wait_us: u32,
        block: &mut Block,
    ) -> Result<(), Fault> {
        self.0.read_block(link, wait_us, block).await
    }

    fn is_complete(block: &Block) -> bool {
        Corncrake::is_complete(block)
    }

    fn scans(block: &Block) -> u32 {
        Corncrake::scans(block)
    }

    fn is_clipped(block: &Block) -> bool {
        Corncrake::is_clipped(block)
    }

    fn codes(block: &Block, channel: Channel) -> Codes {
        Corncrake::codes(block, channel)
    }

    fn sums(block: &Block, channel: Channel) -> Sums {
        Sums {
            energy: 0,
            ..Corncrake::sums(block, channel)
        }
    }

    async fn read_flags<B: Port>(&mut self, link: &mut Link<B>) -> Result<AlertFlags, Fault> {
        self.0.read_flags(link).await
    }

    async fn remove_limits<B: Port, const N: usize>(
        &mut self,
        _: &mut Link<B>,
        _: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        Ok(())
    }
}

/// The bench's time in whole microseconds.
#[derive(Clone)]
struct HostClock(crake_sim::bus::Clock);

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        self.0.now_ns() / 1_000
    }
}

type Driver<P> = Monitor<'static, I2c, Delay, P, 1, WithClock<HostClock>>;

static BOARD: Board<1> = Corncrake::board(&[Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::ZERO,
))]);

/// Means of 2^10 scans, half a second: the first samples are of none.
fn config() -> Config<1> {
    let scale = FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(6));
    Config::continuous([scale], ScanRate::per_second(2_000)).averaging(10)
}

/// 1 A at 3 V through 10 mΩ: 20 000 codes of 500 nV and 30 000 of 100 µV, exactly (section 3.4).
fn bench() -> Bench {
    let bench = Bench::new(1);
    let part = bench.part(model::Corncrake::ideal(0x32)).expect("a part");
    let source = Supply::of(Constant::new(3_000_000_000).expect("volts"));
    let load = Constant::new(1_000_000_000).expect("amps");
    let rail = plant::Rail::new(source, load).expect("a rail");
    let resistor = crake_sim::board::SenseResistor::ideal(10_000_000);
    part.rail(0, rail, resistor).expect("a channel");
    bench
}

fn driver<P: Part>(bench: &Bench, part: P) -> Driver<P> {
    Monitor::new(bench.i2c(), bench.delay(), part, &BOARD).with_clock(HostClock(bench.clock()))
}

fn charge_alone() -> ChargeAlone {
    ChargeAlone(Corncrake::new(Address::Strap0))
}

fn energy_nj(totals: &Totals<'_, 1>) -> i128 {
    totals
        .energy(Channel::C0)
        .expect("a rail")
        .value
        .as_nanojoules()
}

/// Goal: before the first mean there are no codes, and nothing counts; from the first one on it is
/// 3 W for as long as was counted, and what was not is a gap.
#[test]
fn energy_begins_with_the_first_mean() {
    let bench = bench();
    let mut driver = driver(&bench, charge_alone());
    let mut totals = Totals::new(&BOARD);
    driver.init(&config()).expect("init");
    let mut updates = Vec::new();
    for _ in 0..10 {
        let sample = driver.sample().expect("a sample");
        updates.push((sample.is_complete(), totals.update(sample)));
        let us = i128::from(totals.counted_us());
        let off = energy_nj(&totals) - 3_000 * us;
        assert!(off.abs() <= 3_000, "{off} nJ in {us} us");
        bench.run_for(Duration::from_millis(200));
    }
    let begins = updates.iter().filter(|(complete, _)| !complete).count();
    assert!((2..=4).contains(&begins), "{updates:?}");
    let expected = |number| match number {
        _ if number < begins => (false, Update::NotCounting),
        _ if number == begins => (true, Update::First),
        _ => (true, Update::Continued),
    };
    let expected: Vec<_> = (0..10).map(expected).collect();
    assert_eq!(updates, expected);
    let gap = totals.gap();
    let us = 200_000 * begins as u64;
    assert!(
        gap.least_us > us && gap.greatest_us < us + 5_000 * begins as u64,
        "{gap:?}"
    );
    assert_eq!(totals.epoch(), 0);
}

/// A sample without a mean is not compared: its codes are zeros.
#[test]
fn no_limit_is_passed_before_the_first_mean() {
    static LOW: Limits<'static> =
        Limits::new(&[
            Limit::new(Channel::C0, Threshold::UnderVoltage(Voltage::from_volts(2))).silent(),
        ]);
    let bench = bench();
    let mut driver = driver(&bench, charge_alone());
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    driver.init(&config()).expect("init");
    queue.set_limits(&mut driver, &LOW).expect("limits");
    for _ in 0..10 {
        queue.service(&mut driver).expect("a service");
        assert_eq!(queue.next_event(), None);
        bench.run_for(Duration::from_millis(100));
    }
}

/// The part ran on while the firmware did not, but the sum that the driver keeps did not: totals
/// begin a new epoch. On a part that keeps both they go on.
#[test]
fn a_sum_of_the_drivers_does_not_outlive_the_firmware() {
    fn restarted<P: Part + Clone>(part: P) -> (Update, i128) {
        let bench = bench();
        let config = config().averaging(0);
        let mut monitor = driver(&bench, part.clone());
        let mut totals = Totals::new(&BOARD);
        monitor.init(&config).expect("init");
        for _ in 0..5 {
            bench.run_for(Duration::from_secs(1));
            totals.update(monitor.sample().expect("a sample"));
        }
        let mut saved = [0; Totals::<1>::CHECKPOINT_LEN];
        totals.save(monitor.token(), &mut saved).expect("room");
        bench.run_for(Duration::from_secs(1));
        let mut monitor = driver(&bench, part);
        let mut totals = Totals::new(&BOARD);
        let token = totals.load(&saved).expect("as saved");
        let update = totals.update(monitor.resume(&config, token).expect("it ran on"));
        let millijoules = energy_nj(&totals) / 1_000_000;
        (update, millijoules)
    }
    let configured = Update::Discontinuity(Discontinuity::Configured);
    let (update, millijoules) = restarted(charge_alone());
    assert_eq!(update, configured);
    assert!((11_990..=12_050).contains(&millijoules), "{millijoules} mJ");
    let (update, millijoules) = restarted(Corncrake::new(Address::Strap0));
    assert_eq!(update, Update::Continued);
    assert!((14_990..=15_100).contains(&millijoules), "{millijoules} mJ");
}
