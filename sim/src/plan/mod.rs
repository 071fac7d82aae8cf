//! What a way to run a part costs, against others, and what each demand costs: the driver's own
//! arithmetic (`crake::plan`) on the driver's own calls, put side by side.

mod report;
mod snippet;

pub use report::{Comparison, Demanded, Draws, Planned, Singles, Sum};
pub use snippet::{rust, toml};

use crake::board::{Board, Rail, SenseResistor};
use crake::bus::Traffic;
use crake::config::{Config, FullScale, Kind, Mode, Scan, ScanRate};
use crake::info::{PartInfo, Supply};
use crake::part::Part;
use crake::plan::{Demand, Demands, Duty, Host, Plan, RailUse, Spent, Unmet, choose};
use crake::totals::longest_interval_us;
use crake::units::{Current, Resistance, Tolerance};
use crake::{Call, Channel, Monitor};

use crate::bench::Bench;

/// What is asked of a plan.
#[derive(Clone, Debug)]
pub struct Question {
    /// What is to be measured, by channel; `None` where nothing is.
    pub channels: Vec<Option<FullScale>>,
    /// From a limit passed to the event in the firmware, in microseconds.
    pub alert_us: Option<u64>,
    /// The shortest excursion that has to be seen, in microseconds.
    pub event_us: Option<u64>,
    /// Greatest bound of a rail's energy over a day, in parts per million.
    pub energy_ppm: Option<u32>,
    /// The host wakes this often, in microseconds.
    pub wake_us: Option<u64>,
    /// Kinds of limits that alerts are about.
    pub kinds: Vec<Kind>,
    /// Rails that energy is about, by channel.
    pub rails: Vec<Option<RailUse>>,
    /// The host.
    pub host: Host,
    /// What one single-channel monitor draws at the part's fastest scan rate.
    pub single: Current,
}

impl Question {
    /// The driver's demands.
    #[must_use]
    pub fn demands(&self) -> Demands<'_> {
        Demands {
            alert_us: self.alert_us,
            event_us: self.event_us,
            energy_ppm: self.energy_ppm,
            wake_us: self.wake_us,
            kinds: &self.kinds,
            rails: &self.rails,
        }
    }

    fn config<const N: usize>(&self) -> Config<N> {
        let of = |channel: usize| self.channels.get(channel).copied().flatten();
        let nothing = FullScale::new(crake::units::Voltage::ZERO, crake::units::Voltage::ZERO);
        let all = std::array::from_fn(|channel| of(channel).unwrap_or(nothing));
        Channel::first(N as u8)
            .filter(|channel| of(channel.index()).is_none())
            .fold(Config::single_shot(all), |config, channel| {
                config.without(channel)
            })
    }
}

/// The cheapest way to run a part, and what stands beside it.
///
/// # Errors
/// The driver's: no way to run the part meets a demand, or two of them at once.
pub fn plan<P: Part + Clone, const N: usize>(
    part: P,
    question: &Question,
) -> Result<Planned, Unmet> {
    let (info, supply) = (P::INFO, &P::SUPPLY_TYPICAL);
    // No call depends on a sense resistor.
    let resistor = SenseResistor::new(Resistance::from_ohms(1), Tolerance::ZERO);
    let board = Board::new(info, &[Rail::new(resistor); N]);
    let bench = Bench::new(0);
    let monitor = Monitor::new(bench.i2c(), bench.delay(), part, &board);
    let config = question.config::<N>();
    let host = &question.host;
    let chosen = |demands: &Demands<'_>| {
        choose((info, supply), &config, demands, host, |call, config| {
            monitor.traffic(call, config)
        })
    };
    let demands = question.demands();
    let plan = chosen(&demands)?;
    let total = plan.spent.total();
    let saved = |demands: Demands<'_>| {
        // What is laxer can be met as well.
        let other = chosen(&demands).map_or(total, |plan| plan.spent.total());
        amps(total.saturating_sub(other))
    };
    let demanded = Demand::ALL
        .into_iter()
        .filter(|demand| demands.has(*demand));
    let demanded = demanded.map(|demand| {
        let twice = saved(demands.relaxed(demand));
        Demanded::new(
            demand,
            &demands,
            &plan,
            twice,
            saved(demands.without(demand)),
        )
    });
    let demanded: Vec<_> = demanded.collect();
    Ok(Planned::new(
        info,
        question,
        &plan,
        demanded,
        full_rate((info, supply), &plan, host, |config| {
            monitor.traffic(Call::Sample, config)
        }),
    ))
}

/// The same channels at the part's fastest scan rate, read as often, or as often as that needs.
fn full_rate<const N: usize>(
    (info, supply): (&PartInfo, &Supply),
    plan: &Plan<N>,
    host: &Host,
    sample: impl Fn(&Config<N>) -> Option<Traffic>,
) -> Option<(u32, u64, Spent)> {
    let period_us = *info.scan_periods_us.iter().min()?;
    let mode = Mode::Continuous(ScanRate::every_microseconds(period_us));
    let mut scan: Scan<N> = Scan::NONE;
    let config = plan.config.with_mode(mode);
    config.resolve(info, &mut scan).ok()?;
    let safe_us = longest_interval_us(info, &scan, host.clock);
    let interval_us = safe_us.map_or(plan.interval_us, |safe_us| {
        plan.interval_us.min(safe_us / 2)
    });
    let duty = Duty::new(info, &scan, interval_us);
    let spent = Spent::new(&duty, supply, &sample(&config)?, plan.bus_hz, host);
    Some((period_us, interval_us, spent))
}

fn amps(current: Current) -> f64 {
    current.as_nanoamps() as f64 / 1e9
}
