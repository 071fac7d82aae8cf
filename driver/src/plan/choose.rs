use super::candidate::Candidate;
use super::{Demand, Demands, Host, Spent, Unmet};
use crate::bus::Traffic;
use crate::config::{Config, Mode, Run, Scan, ScanRate};
use crate::info::{PartInfo, Source, Supply};
use crate::monitor::Call;

/// A way to run a part that meets the demands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plan<const N: usize> {
    /// Channels and full scales as they were given; mode and averaging as planned. A mean is over
    /// before the next sample is taken, and as long as that allows.
    pub config: Config<N>,
    /// The same as the part has it.
    pub scan: Scan<N>,
    /// Debounce of limits, in conversions: as great as the shortest event allows, 1 where none was
    /// demanded.
    pub debounce: u8,
    /// Who compares with limits. Where it is the driver, no output tells of them.
    pub compared_by: Source,
    /// From one sample to the next, in microseconds.
    pub interval_us: u64,
    /// Within so long no rollover can hide; `None` where nothing counts.
    pub longest_interval_us: Option<u64>,
    /// Clock frequency of the bus.
    pub bus_hz: u32,
    /// What one sample puts on the bus.
    pub sample: Traffic,
    /// [`Duty::seen_within_us`](super::Duty::seen_within_us) of limits with this debounce.
    pub seen_us: u64,
    /// From a limit passed to the event in the firmware, in microseconds, where transfers come
    /// through at the first try.
    pub told_us: u64,
    /// Greatest bound of a rail's energy over a day in parts per million of it; `None` where no
    /// rail was given, or nothing counts.
    pub energy_ppm: Option<u32>,
    /// What it costs, by such figures of the part's supply as were given.
    pub spent: Spent,
}

/// Clock frequencies of a bus that are tried: the modes of UM10204.
const BUS_HZ: [u32; 3] = [100_000, 400_000, 1_000_000];

/// The cheapest way to run a part that meets the demands: each mode and scan rate is tried on each
/// bus clock. Channels and full scales come from `config`, whose mode and averaging do not matter.
/// What the part draws is [`PartInfo::supply`] or
/// [`Part::SUPPLY_TYPICAL`](crate::part::Part::SUPPLY_TYPICAL).
///
/// `traffic` is [`Monitor::traffic`](crate::Monitor::traffic). Touches no bus. It tries
/// at most so many ways as scan rates and one, times three.
///
/// # Errors
/// [`Unmet`] names the demand, or the two, that nothing meets; [`Unmet::Config`] and
/// [`Unmet::Refused`] a configuration that the part cannot have.
pub fn choose<const N: usize>(
    (info, supply): (&PartInfo, &Supply),
    config: &Config<N>,
    demands: &Demands<'_>,
    host: &Host,
    mut traffic: impl FnMut(Call<'_>, &Config<N>) -> Option<Traffic>,
) -> Result<Plan<N>, Unmet> {
    let mut scratch = Scan::NONE;
    let idle = config.averaging(0).with_mode(Mode::Idle);
    idle.resolve(info, &mut scratch).map_err(Unmet::Config)?;
    let mut each = |visit: &mut dyn FnMut(&Candidate<'_, N>)| {
        candidates((info, supply), config, demands, host, &mut traffic, visit);
    };
    let found = cheapest(&mut each, demands);
    found.ok_or_else(|| reason(&mut each, demands))
}

/// Shows each way to run the part.
fn candidates<const N: usize>(
    (info, supply): (&PartInfo, &Supply),
    config: &Config<N>,
    demands: &Demands<'_>,
    host: &Host,
    traffic: &mut dyn FnMut(Call<'_>, &Config<N>) -> Option<Traffic>,
    visit: &mut dyn FnMut(&Candidate<'_, N>),
) {
    let rates = info.scan_periods_us.iter();
    let rates = rates.map(|us| Mode::Continuous(ScanRate::every_microseconds(*us)));
    for mode in rates.chain([Mode::SingleShot]) {
        let config = config.averaging(0).with_mode(mode);
        let mut scan = Scan::NONE;
        if config.resolve(info, &mut scan).is_err() {
            continue;
        }
        let (Some(sample), Some(service)) = (
            traffic(Call::Sample, &config),
            traffic(Call::Service, &config),
        ) else {
            continue;
        };
        // The worst of all kinds that limits are about, on any channel.
        let mut compared_by = Source::Part;
        for channel in crate::Channel::first(N as u8) {
            for kind in demands.kinds {
                let by = info.compared_by(channel.number(), *kind, 1, true);
                if scan.range(channel).is_some() && by == Source::Driver {
                    compared_by = Source::Driver;
                }
            }
        }
        for bus_hz in BUS_HZ {
            if bus_hz <= host.bus_hz_max {
                visit(&Candidate {
                    info,
                    supply,
                    config,
                    scan,
                    compared_by,
                    bus_hz,
                    host,
                    sample,
                    service,
                });
            }
        }
    }
}

type Each<'e, const N: usize> = &'e mut dyn FnMut(&mut dyn FnMut(&Candidate<'_, N>));

fn cheapest<const N: usize>(each: Each<'_, N>, demands: &Demands<'_>) -> Option<Plan<N>> {
    let mut best: Option<Plan<N>> = None;
    each(&mut |candidate| {
        if let Some(plan) = candidate.plan(demands)
            && best.is_none_or(|best| plan.is_better(&best))
        {
            best = Some(plan);
        }
    });
    best
}

/// Why nothing meets the demands.
fn reason<const N: usize>(each: Each<'_, N>, demands: &Demands<'_>) -> Unmet {
    if cheapest(each, &Demands::NONE).is_none() {
        return Unmet::Refused;
    }
    for demand in Demand::ALL {
        let alone = demands.only(demand, demand);
        if demands.has(demand) && cheapest(each, &alone).is_none() {
            let nearest = nearest(each, &alone, demand);
            return Unmet::Alone { demand, nearest };
        }
    }
    let mut first = Demand::ALL.as_slice();
    while let [one, rest @ ..] = first {
        for other in rest {
            let both = demands.has(*one) && demands.has(*other);
            if both && cheapest(each, &demands.only(*one, *other)).is_none() {
                return Unmet::Crossed(*one, *other);
            }
        }
        first = rest;
    }
    Unmet::Together
}

fn nearest<const N: usize>(
    each: Each<'_, N>,
    demands: &Demands<'_>,
    demand: Demand,
) -> Option<u64> {
    let mut nearest = None;
    each(&mut |candidate| {
        let Some(found) = candidate.nearest(demands, demand) else {
            return;
        };
        nearest = Some(match (nearest, demand) {
            (None, _) => found,
            (Some(before), Demand::Wake) => found.max(before),
            (Some(before), _) => found.min(before),
        });
    });
    nearest
}

impl<const N: usize> Plan<N> {
    /// Cheaper; at the same cost one that scans by itself.
    fn is_better(&self, other: &Self) -> bool {
        let key = |plan: &Self| (plan.spent.total(), matches!(plan.scan.run, Run::SingleShot));
        key(self) < key(other)
    }
}
