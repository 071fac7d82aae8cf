//! Four rails, one of which goes beyond its limit and its range once, 31 ms after the bench began.

use crake::old::alert::{Limit, Outputs, Watch, Watches};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::ledger::{Entry, Ledger};
use crake::old::part::corncrake::{BUS_6_V, PACE_2000, SENSE_26_MV, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Frame, Mode, Ranges, Setup};
use crake_sim::plant::{AfterEnd, Constant, Interpolation, Recorded};
use crake_suite::rig::{CHANNELS, Flowed, Rig};

const MILLIAMPERE: i64 = 1_000_000;
const SUPPLY: (i64, u64) = (5_000_000_000, 10_000);
/// The sense resistors in milliohms.
const MILLIOHMS: [u64; CHANNELS] = [10, 100, 100, 100];

/// Over-current from here on, for one millisecond, which is two rounds: 8 A on channel 0, where the range ends at 6.5536 A.
pub const BEYOND_NS: u64 = 31_000_000;
/// Long after it.
pub const AFTERWARDS_NS: u64 = 35_000_000;

pub fn rig(seed: u64) -> Rig {
    let rig = Rig::drawn(seed);
    let pulse = [
        (0, 1_000 * MILLIAMPERE),
        (BEYOND_NS, 8_000 * MILLIAMPERE),
        (BEYOND_NS + 1_000_000, 1_000 * MILLIAMPERE),
    ];
    let pulse = Recorded::new(pulse.to_vec(), Interpolation::Hold, AfterEnd::Hold);
    rig.rail(0, SUPPLY, pulse.expect("a load"), MILLIOHMS[0] * 1_000_000);
    for (channel, milliohms) in MILLIOHMS.into_iter().enumerate().skip(1) {
        let load = Constant::new(100 * MILLIAMPERE).expect("a load");
        rig.rail(channel, SUPPLY, load, milliohms * 1_000_000);
    }
    rig
}

pub fn board() -> Board<CHANNELS> {
    let load = Load::smooth(Current::from_amps(8));
    let rails = MILLIOHMS.map(|milliohms| {
        Rail::new(
            Shunt::new(Resistance::from_milliohms(milliohms), Tolerance::ZERO),
            load,
        )
    });
    Board::new(&SPEC, rails).expect("a board")
}

pub const SETUP: Setup<CHANNELS> = Setup::all(
    Ranges {
        sense: SENSE_65_MV,
        bus: BUS_6_V,
    },
    Mode::Paced(PACE_2000),
);

/// Another that fits: means of four rounds, channel 1 in its fine range.
pub fn other() -> Setup<CHANNELS> {
    SETUP.averaging(2).with(
        Channel::C1,
        Some(Ranges {
            sense: SENSE_26_MV,
            bus: BUS_6_V,
        }),
    )
}

pub static LIMITS: [Watch; 1] =
    [
        Watch::new(Channel::C0, Limit::OverCurrent(Current::from_amps(2)))
            .held()
            .to(Outputs::A),
    ];
pub static OTHER_LIMITS: [Watch; 1] =
    [
        Watch::new(Channel::C0, Limit::OverCurrent(Current::from_amps(3)))
            .held()
            .to(Outputs::A),
    ];

pub const WATCHES: Watches<'static> = Watches::limits(&LIMITS);
pub const OTHER_WATCHES: Watches<'static> = Watches::limits(&OTHER_LIMITS);

/// A ledger, and what really flowed in what it says it has.
pub struct Books<'b> {
    pub ledger: Ledger<'b, CHANNELS>,
    flowed: Flowed,
    since: Option<Flowed>,
    /// When the first account began, in seconds.
    began: Option<f64>,
    now: f64,
}

impl<'b> Books<'b> {
    pub fn new(board: &'b Board<CHANNELS>) -> Self {
        Self {
            ledger: Ledger::new(board, &SPEC),
            flowed: Flowed::default(),
            since: None,
            began: None,
            now: 0.0,
        }
    }

    /// Enters the frame latched last on this rig.
    pub fn enter(&mut self, rig: &Rig, frame: &Frame<'_>) -> Entry {
        let now = rig.at_latch();
        let entry = self.ledger.update(frame);
        if let (Entry::Added | Entry::Turned, Some(since)) = (entry, &self.since) {
            self.flowed = self.flowed.and(&now.since(since));
        }
        self.since = match entry {
            Entry::Idle
            | Entry::Broken {
                reopened: false, ..
            } => None,
            _ => Some(now),
        };
        self.began.get_or_insert(now.time);
        self.now = now.time;
        entry
    }

    /// # Panics
    /// If a rail that stayed in range is accounted for wrongly, or if time is neither accounted for nor told as a gap.
    pub fn assert_honest(&self) {
        for (index, channel) in Channel::first(u8::MAX).take(CHANNELS).enumerate() {
            let account = self.ledger.account(channel).expect("a rail");
            if index > 0 {
                self.flowed.assert_within(index, &account);
            }
            let seconds = |us: u64| us as f64 / 1e6;
            let gap = self.ledger.gap();
            let whole = self.now - self.began.unwrap_or_default();
            let had = seconds(account.duration_us);
            // Microseconds of the clock, rounded at a dozen latches.
            let slack = 20e-6;
            assert!(
                had + seconds(gap.least_us) <= whole + slack
                    && whole <= had + seconds(gap.greatest_us) + slack,
                "{had} s accounted for, {gap:?}, {whole} s in all"
            );
        }
    }
}
