//! A plan as it is told, in base units.

use crake::Channel;
use crake::config::{Mode, Run};
use crake::info::{PartInfo, Source};
use crake::plan::{Demand, Demands, Duty, Plan, Spent};
use schemars::JsonSchema;
use serde::Serialize;

use super::{Question, amps};

/// A way to run a part, what it costs, and what stands beside it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Planned {
    /// The part.
    pub part: &'static str,
    /// Its channels that are watched.
    pub channels: Vec<u8>,
    /// What was demanded, and what it costs.
    pub demands: Vec<Demanded>,
    /// `continuous` or `single_shot`.
    pub mode: &'static str,
    /// From one scan to the next, nominal, in seconds; none of single shots.
    pub scan_period_s: Option<f64>,
    /// k of means over 2^k scans.
    pub averaging: u8,
    /// How long a mean is, in seconds; 0 where it is one scan.
    pub mean_s: f64,
    /// Debounce of limits, in conversions.
    pub debounce: u8,
    /// Who compares with limits: `part` or `driver`.
    pub compared_by: &'static str,
    /// From one sample to the next, in seconds.
    pub read_every_s: f64,
    /// Within so long no rollover can hide, in seconds; none where nothing counts.
    pub longest_interval_s: Option<f64>,
    /// Clock frequency of the bus, in hertz.
    pub bus_hz: u32,
    /// How long a sample keeps the bus, in seconds.
    pub sample_on_bus_s: f64,
    /// The same, waits included.
    pub sample_s: f64,
    /// Share of the time during which the bus is busy.
    pub bus_share: f64,
    /// A rail that is beyond a limit for so long is seen for sure, and an output of the part has
    /// fallen by then, in seconds.
    pub limit_to_edge_s: f64,
    /// From a limit passed to the event in the firmware, in seconds, where transfers come through
    /// at the first try.
    pub limit_to_event_s: f64,
    /// Greatest bound of a rail's energy over a day, in percent of it.
    pub energy_percent: Option<f64>,
    /// When the running sums of each channel roll over.
    pub rollovers: Vec<Sum>,
    /// What it costs, by the part's typical figures.
    pub draws: Draws,
    /// The part's mean current by its greatest figures, in amperes.
    pub part_greatest_a: f64,
    /// The same part at its fastest scan rate.
    pub full_rate: Option<Comparison>,
    /// One single-channel monitor per rail at that rate.
    pub singles: Singles,
}

/// What was demanded, what is met, and what it costs.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Demanded {
    /// `alert`, `event`, `energy` or `wake`.
    pub demand: &'static str,
    /// What was asked, in seconds or percent.
    pub asked: f64,
    /// What the plan comes to.
    pub met: Option<f64>,
    /// `s` or `%`.
    pub unit: &'static str,
    /// What a plan with twice as much allowed saves, in amperes.
    pub twice_saves_a: f64,
    /// What a plan without it saves, in amperes.
    pub without_saves_a: f64,
}

/// When the running sums of a channel roll over at full scale, in nominal seconds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sum {
    /// Which channel.
    pub channel: u8,
    /// Charge.
    pub charge_s: f64,
    /// Energy.
    pub energy_s: f64,
    /// Count of scans, or of ticks of the host's clock.
    pub scans_s: f64,
}

/// Mean currents, in amperes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Draws {
    /// By the part.
    pub part_a: f64,
    /// Through the bus's pull-ups.
    pub pull_ups_a: f64,
    /// By the host for its reads.
    pub host_a: f64,
    /// All of them.
    pub total_a: f64,
}

/// Another way to run it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Comparison {
    /// From one scan to the next, nominal, in seconds.
    pub scan_period_s: f64,
    /// From one sample to the next, in seconds.
    pub read_every_s: f64,
    /// What it costs.
    pub draws: Draws,
}

/// One single-channel monitor per rail, beside the part at the same scan rate: its fastest.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Singles {
    /// How many.
    pub count: u64,
    /// What each draws at that rate, as stated, in amperes.
    pub each_a: f64,
    /// All of them.
    pub total_a: f64,
    /// What the part draws at that rate; none where it does not scan by itself.
    pub part_a: Option<f64>,
}

impl Planned {
    pub(super) fn new<const N: usize>(
        info: &PartInfo,
        question: &Question,
        plan: &Plan<N>,
        demands: Vec<Demanded>,
        full_rate: Option<(u32, u64, Spent)>,
    ) -> Self {
        let channels = Channel::first(N as u8).filter(|it| plan.scan.range(*it).is_some());
        let channels: Vec<_> = channels.collect();
        let duty = Duty::new(info, &plan.scan, plan.interval_us);
        let on_bus_us = plan.sample.bus_us(plan.bus_hz);
        let rollovers = channels.iter().filter_map(|channel| {
            let sums = duty.rollovers(*channel)?;
            Some(Sum {
                channel: channel.number(),
                charge_s: seconds(sums.charge_us),
                energy_s: seconds(sums.energy_us),
                scans_s: seconds(sums.scans_us),
            })
        });
        let count = channels.len() as u64;
        let each_a = amps(question.single);
        Self {
            part: info.name,
            rollovers: rollovers.collect(),
            channels: channels.iter().map(|channel| channel.number()).collect(),
            demands,
            mode: match plan.scan.run {
                Run::SingleShot => "single_shot",
                _ => "continuous",
            },
            scan_period_s: match plan.config.mode() {
                Mode::Continuous(_) => Some(seconds(plan.scan.period_us(info).into())),
                _ => None,
            },
            averaging: plan.scan.averaging_log2,
            mean_s: seconds(duty.mean_us()),
            debounce: plan.debounce,
            compared_by: match plan.compared_by {
                Source::Part => "part",
                Source::Driver => "driver",
            },
            read_every_s: seconds(plan.interval_us),
            longest_interval_s: plan.longest_interval_us.map(seconds),
            bus_hz: plan.bus_hz,
            sample_on_bus_s: seconds(on_bus_us),
            sample_s: seconds(plan.sample.us(plan.bus_hz)),
            bus_share: on_bus_us as f64 / plan.interval_us as f64,
            limit_to_edge_s: seconds(plan.seen_us),
            limit_to_event_s: seconds(plan.told_us),
            energy_percent: plan.energy_ppm.map(|ppm| f64::from(ppm) / 1e4),
            draws: Draws::new(&plan.spent),
            part_greatest_a: amps(duty.supply(&info.supply)),
            full_rate: full_rate.map(|(period_us, interval_us, spent)| Comparison {
                scan_period_s: seconds(period_us.into()),
                read_every_s: seconds(interval_us),
                draws: Draws::new(&spent),
            }),
            singles: Singles {
                count,
                each_a,
                total_a: count as f64 * each_a,
                part_a: full_rate.map(|(_, _, spent)| amps(spent.part)),
            },
        }
    }
}

impl Demanded {
    pub(super) fn new<const N: usize>(
        demand: Demand,
        demands: &Demands<'_>,
        plan: &Plan<N>,
        twice_saves_a: f64,
        without_saves_a: f64,
    ) -> Self {
        let percent = |ppm: u32| f64::from(ppm) / 1e4;
        let time = |us: Option<u64>| us.map_or(0.0, seconds);
        let (name, asked, met, unit) = match demand {
            Demand::Alert => (
                "alert",
                time(demands.alert_us),
                Some(seconds(plan.told_us)),
                "s",
            ),
            Demand::Event => (
                "event",
                time(demands.event_us),
                Some(seconds(plan.seen_us)),
                "s",
            ),
            Demand::Energy => {
                let asked = demands.energy_ppm.map_or(0.0, percent);
                ("energy", asked, plan.energy_ppm.map(percent), "%")
            }
            Demand::Wake => (
                "wake",
                time(demands.wake_us),
                Some(seconds(plan.interval_us)),
                "s",
            ),
        };
        Self {
            demand: name,
            asked,
            met,
            unit,
            twice_saves_a,
            without_saves_a,
        }
    }
}

impl Draws {
    fn new(spent: &Spent) -> Self {
        Self {
            part_a: amps(spent.part),
            pull_ups_a: amps(spent.pull_ups),
            host_a: amps(spent.host),
            total_a: amps(spent.total()),
        }
    }
}

fn seconds(us: u64) -> f64 {
    us as f64 / 1e6
}
