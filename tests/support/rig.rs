//! A bench with one part, the host's clock, and the truth between two latches.

use crake::old::board::Board;
use crake::old::ledger::Account;
use crake::old::part::corncrake::Corncrake;
use crake::old::{Clock, Monitor, asynch};
use crake_sim::bench::{Bench, Delay, I2c};
use crake_sim::board::SenseResistor;
use crake_sim::old::corncrake::{self as model, Part};
use crake_sim::plant::{Constant, Profile, Rail, Source, Truth};
use std::{cell::Cell, rc::Rc, time::Duration};

/// The 7-bit address of the rig's part.
pub const ADDRESS: u8 = 0x32;

/// Number of its channels.
pub const CHANNELS: usize = 4;

/// A monitor on the rig's bus.
pub type RigMonitor<'b, const N: usize> = Monitor<'b, I2c, Delay, HostClock, Corncrake, N>;

/// Its async twin.
pub type RigMonitorAsync<'b, const N: usize> =
    asynch::Monitor<'b, I2c, Delay, HostClock, Corncrake, N>;

/// A bench with one Corncrake and whatever rails are put behind it.
pub struct Rig {
    /// The bench.
    pub bench: Bench,
    /// The part.
    pub part: Part,
    readings: Rc<Cell<[Moment; 2]>>,
}

/// What flowed through each channel's rail between two moments.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Flowed {
    /// Seconds between them.
    pub time: f64,
    /// Coulombs by channel.
    pub charge: [f64; CHANNELS],
    /// Joules by channel.
    pub energy: [f64; CHANNELS],
}

impl Rig {
    /// A part drawn from `seed`.
    ///
    /// # Panics
    /// Never with an address that the datasheet has.
    #[must_use]
    pub fn drawn(seed: u64) -> Self {
        let bench = Bench::new(seed);
        let part = bench
            .part(model::Corncrake::drawn(ADDRESS))
            .expect("an address of the datasheet");
        Self {
            bench,
            part,
            readings: Rc::default(),
        }
    }

    /// Puts a rail behind a channel: a voltage in nanovolts behind an impedance in microohms, a
    /// load in nanoamperes, and a sense resistor without error.
    ///
    /// # Panics
    /// For a rail that the bench refuses.
    pub fn rail(
        &self,
        channel: usize,
        source: (i64, u64),
        load: impl Profile + 'static,
        nano_ohms: u64,
    ) {
        let source = Constant::new(source.0)
            .map(Source::of)
            .and_then(|ideal| ideal.behind_microohms(source.1));
        let rail = source.and_then(|source| Rail::new(source, load));
        self.part
            .rail(
                channel,
                rail.expect("a rail"),
                SenseResistor::ideal(nano_ohms),
            )
            .expect("a channel of the part");
    }

    /// A controller, a delay and a clock on the bench, and the driver for the part.
    #[must_use]
    pub fn monitor<'b, const N: usize>(&self, board: &'b Board<N>) -> RigMonitor<'b, N> {
        self.monitor_on(self.bench.i2c(), board)
    }

    /// The same with a controller of your own.
    #[must_use]
    pub fn monitor_on<'b, const N: usize>(
        &self,
        i2c: I2c,
        board: &'b Board<N>,
    ) -> RigMonitor<'b, N> {
        Monitor::new(
            i2c,
            self.bench.delay(),
            self.clock(),
            Corncrake::new(),
            ADDRESS,
            board,
        )
    }

    /// The async twin of [`monitor`](Self::monitor).
    #[must_use]
    pub fn monitor_async<'b, const N: usize>(&self, board: &'b Board<N>) -> RigMonitorAsync<'b, N> {
        asynch::Monitor::new(
            self.bench.i2c(),
            self.bench.delay(),
            self.clock(),
            Corncrake::new(),
            ADDRESS,
            board,
        )
    }

    /// The host's clock; all clocks of a rig are the same witness.
    #[must_use]
    pub fn clock(&self) -> HostClock {
        HostClock {
            bench: self.bench.clone(),
            part: self.part.clone(),
            readings: self.readings.clone(),
        }
    }

    /// Lets milliseconds pass.
    pub fn pass_ms(&self, ms: u64) {
        self.bench.run_for(Duration::from_millis(ms));
    }

    /// What had flowed since time 0 in the middle of the last latch's bracket.
    #[must_use]
    pub fn at_latch(&self) -> Flowed {
        let [before, after] = self.readings.get();
        let mut flowed = Flowed {
            time: (before.ns + after.ns) as f64 / 2e9,
            ..Flowed::default()
        };
        for channel in 0..CHANNELS {
            let (before, after) = (before.truth[channel], after.truth[channel]);
            flowed.charge[channel] =
                (before.charge_half_na_ns + after.charge_half_na_ns) as f64 / 4e18;
            flowed.energy[channel] =
                (before.energy_sixth_na_nv_ns + after.energy_sixth_na_nv_ns) as f64 / 12e27;
        }
        flowed
    }
}

impl Flowed {
    /// From `earlier` to this moment.
    #[must_use]
    pub fn since(mut self, earlier: &Self) -> Self {
        self.time -= earlier.time;
        for channel in 0..CHANNELS {
            self.charge[channel] -= earlier.charge[channel];
            self.energy[channel] -= earlier.energy[channel];
        }
        self
    }

    /// Both stretches together.
    #[must_use]
    pub fn and(mut self, other: &Self) -> Self {
        self.time += other.time;
        for channel in 0..CHANNELS {
            self.charge[channel] += other.charge[channel];
            self.energy[channel] += other.energy[channel];
        }
        self
    }

    /// # Panics
    /// If an account of this flow is further off than it says.
    pub fn assert_within(&self, channel: usize, account: &Account) {
        let pairs = [
            (
                "C",
                self.charge[channel],
                account.charge.as_nanocoulombs(),
                account.charge_bound.total().as_nanocoulombs(),
            ),
            (
                "J",
                self.energy[channel],
                account.energy.as_nanojoules(),
                account.energy_bound.total().as_nanojoules(),
            ),
        ];
        for (unit, truth, measured, bound) in pairs {
            let (measured, bound) = (measured as f64 / 1e9, bound as f64 / 1e9);
            assert!(
                (measured - truth).abs() <= bound,
                "channel {channel}: {measured} {unit}, truth {truth} {unit}, bound {bound} {unit}"
            );
        }
    }
}

/// The host's clock, exact, and witness of the truth whenever the driver reads it: right before and
/// right after each latch.
pub struct HostClock {
    bench: Bench,
    part: Part,
    readings: Rc<Cell<[Moment; 2]>>,
}

/// What had flowed at a moment.
#[derive(Clone, Copy, Default)]
struct Moment {
    ns: u64,
    truth: [Truth; CHANNELS],
}

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        let [_, last] = self.readings.get();
        let ns = self.bench.now_ns();
        let truth = std::array::from_fn(|channel| self.part.truth(channel).unwrap_or_default());
        self.readings.set([last, Moment { ns, truth }]);
        ns / 1000
    }
}
