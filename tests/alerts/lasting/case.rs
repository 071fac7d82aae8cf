use std::time::Duration;

use crake::Channel;
use crake::alert::{Kind, Lasting, Limit, Outputs, Quantity, Threshold};
use crake::config::{Config, Mode, ScanRate};
use crake::units::{Current, Power, Voltage};
use crake_sim::bus::Speed;
use crake_sim::rng::Rng;

use crate::fixture::COARSE;

/// Current in nanoamperes and voltage in nanovolts.
pub type Level = (i64, i64);

/// Limits, rails and firmware of one case.
#[derive(Debug)]
pub struct Case {
    pub config: Config<4>,
    pub is_single_shot: bool,
    /// The time between the begins of two scans.
    pub period_ns: u64,
    pub speed: Speed,
    pub ends_ns: u64,
    /// Firmware samples this often, whatever alerts say.
    pub read_ns: u64,
    /// The queue's own interval for flags that are masked.
    pub interval: Duration,
    pub limits: Vec<Limit>,
    pub wired: Outputs,
    /// By channel: from when on which level holds.
    pub levels: [Vec<(u64, Level)>; 4],
}

/// Scans a second, time between two of them (section 6), how long a case takes.
const RATES: [(u32, u64, u64); 5] = [
    (2_000, 500_000, 4),
    (500, 2_000_000, 10),
    (100, 10_000_000, 20),
    (10, 100_000_000, 60),
    (1, 1_000_000_000, 150),
];
const SECOND_NS: u64 = 1_000_000_000;

/// Limits of each kind; what is drawn below lies on them, within their hysteresis, and beyond.
const LIMITS: [Threshold; 5] = [
    Threshold::OverVoltage(Voltage::from_volts(4)),
    Threshold::UnderVoltage(Voltage::from_volts(2)),
    Threshold::OverCurrent(Current::from_milliamps(20)),
    Threshold::UnderCurrent(Current::from_milliamps(4)),
    Threshold::OverPower(Power::from_milliwatts(75)),
];
/// In hundredths of a milliampere: at rest, beyond (backwards and beyond full scale, too), on a
/// limit, within a hysteresis.
const CURRENTS: [i64; 12] = [
    1_000, 1_000, 1_000, 3_000, 2_500, 10_000, 200, -3_000, 2_000, 400, 1_990, 405,
];
/// In millivolts.
const VOLTAGES: [i64; 10] = [
    3_000, 3_000, 3_000, 3_000, 5_000, 8_000, 1_500, 0, 3_990, 2_010,
];

impl Case {
    pub fn new(seed: u64) -> Self {
        let mut rng = Rng::new(seed).stream("lasting");
        let rate = rng.below(RATES.len() as u64 + 1) as usize;
        let is_single_shot = rate == RATES.len();
        let (per_second, period_ns, seconds) = RATES[rate.min(RATES.len() - 1)];
        let mut config = Config::continuous([COARSE; 4], ScanRate::per_second(per_second));
        if is_single_shot {
            config = config.with_mode(Mode::SingleShot);
        }
        let wired = [Outputs::empty(), Outputs::A, Outputs::B][rng.below(3) as usize];
        let mut limits = Vec::new();
        for channel in [0, 1, 2, 3].map(Channel::new) {
            for kind in Kind::ALL {
                if rng.below(3) == 0 {
                    let limit = limit(&mut rng, channel, kind, wired);
                    // A single shot of one scan reaches no other debounce.
                    limits.push(match is_single_shot {
                        true => limit.debounce(1),
                        false => limit,
                    });
                }
            }
        }
        let ends_ns = seconds * SECOND_NS;
        Self {
            config,
            is_single_shot,
            period_ns,
            speed: [Speed::Fast, Speed::FastPlus][rng.below(2) as usize],
            ends_ns,
            read_ns: rng.integer(300_000_000..=5_000_000_000) as u64,
            interval: Duration::from_millis(rng.integer(100..=1_500) as u64),
            limits,
            wired,
            levels: [(); 4].map(|()| levels(&mut rng, period_ns, ends_ns)),
        }
    }
}

fn limit(rng: &mut Rng, channel: Channel, kind: Kind, wired: Outputs) -> Limit {
    let mut limit = Limit::new(channel, LIMITS[kind.index()])
        .debounce([1, 1, 2, 3, 5, 15][rng.below(6) as usize]);
    let outputs = [
        Outputs::A,
        Outputs::B,
        Outputs::A,
        Outputs::B,
        Outputs::all(),
    ];
    limit = match outputs.get(rng.below(6) as usize) {
        Some(outputs) => limit.to(*outputs),
        None => limit.silent(),
    };
    if rng.below(3) == 0 {
        limit = limit.following();
    }
    // None, little, that which is had unasked, and so much that it may last for ever.
    let permille = [0, 5, 250, 1_500][rng.below(4) as usize];
    if permille != 250 {
        let threshold = limit.threshold();
        let margin = threshold.billionths() / 1_000 * permille;
        limit = limit.hysteresis(Quantity::of(threshold.kind(), margin));
    }
    if rng.below(2) == 0 || limit.outputs().intersects(wired) {
        let interval = Duration::from_millis(rng.integer(100..=2_000) as u64);
        limit = limit.lasting(Lasting::LookAgain(interval));
    }
    limit
}

/// What a rail does: some conversions long, some milliseconds, some seconds; the first may be a
/// condition that stands from the beginning, the last one for ever.
fn levels(rng: &mut Rng, period_ns: u64, ends_ns: u64) -> Vec<(u64, Level)> {
    let mut levels = Vec::new();
    let mut at_ns = 0;
    while at_ns < ends_ns {
        let current = CURRENTS[rng.below(CURRENTS.len() as u64) as usize] * 10_000;
        let voltage = VOLTAGES[rng.below(VOLTAGES.len() as u64) as usize] * 1_000_000;
        levels.push((at_ns, (current, voltage)));
        let longest_ns = match rng.below(4) {
            0 => 40 * period_ns,
            1 => 200_000_000,
            2 => 4 * SECOND_NS,
            _ => 10 * SECOND_NS,
        };
        at_ns += 1 + rng.below(longest_ns.max(period_ns));
    }
    levels
}
