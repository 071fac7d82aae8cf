use crake::board::{Load, LoadSteps, Rail, SenseResistor};
use crake::config::{FullScale, Kind};
use crake::plan::{Host, RailUse};
use crake::units::{Current, Resistance, Tolerance, Voltage};

use super::{PartName, Plan, text};
use crate::plan::Question;
use crate::plant::Plant;
use crate::run;
use crate::scenario::Scenario;

/// What the arguments ask, or what is wrong with them; and what a scenario's rails are called, by
/// channel.
pub(super) fn of(args: &Plan) -> Result<(PartName, Question, Vec<String>), String> {
    let demands = [
        args.alert_within,
        args.event,
        args.energy_percent,
        args.wake_every,
    ];
    if demands.iter().all(Option::is_none) {
        return Err(
            "nothing is demanded; give at least one of --alert-within, --event, --energy-percent \
             and --wake-every"
                .to_owned(),
        );
    }
    if args.energy_percent.is_some() && args.scenario.is_none() && args.voltage.is_none() {
        return Err(
            "--energy-percent: of which rails is not known; give --scenario, or --voltage, \
             --current and --resistance"
                .to_owned(),
        );
    }
    if args.bus_max.is_some_and(|hz| hz < 100_000) {
        return Err("--bus-max: must be at least 100000: a standard-mode bus".to_owned());
    }
    let mut question = Question {
        channels: Vec::new(),
        alert_us: args.alert_within.map(microseconds),
        event_us: args.event.map(microseconds),
        energy_ppm: args.energy_percent.map(|nano| (nano / 100_000) as u32),
        wake_us: args.wake_every.map(microseconds),
        kinds: vec![Kind::OverCurrent],
        rails: Vec::new(),
        host: Host {
            active: Current::from_nanoamps(signed(args.host_active)),
            pull_up: Resistance::from_nanoohms(args.pull_up),
            supply: Voltage::from_nanovolts(signed(args.supply)),
            ..Host::TYPICAL
        },
        single: Current::from_nanoamps(signed(args.single)),
    };
    let mut names = Vec::new();
    let part = match &args.scenario {
        Some(path) => {
            let scenario = Scenario::load(path).map_err(text)?;
            let [plan] = &scenario.parts[..] else {
                return Err(
                    "--scenario: it has several parts; plan for the rails of one at a time"
                        .to_owned(),
                );
            };
            let part = PartName::of(plan.kind.info)?;
            names = by_channel(&scenario);
            match part {
                PartName::Moorhen => from_scenario::<2>(&mut question, &scenario)?,
                PartName::Corncrake | PartName::Gallinule => {
                    from_scenario::<4>(&mut question, &scenario)?;
                }
            }
            part
        }
        None => {
            from_flags(&mut question, args)?;
            args.part
        }
    };
    if let Some(hz) = args.bus_max {
        question.host.bus_hz_max = hz;
    }
    if let Some(wake) = args.host_wake {
        question.host.wake_us = u32::try_from(wake.div_ceil(1_000)).unwrap_or(u32::MAX);
    }
    Ok((part, question, names))
}

fn by_channel(scenario: &Scenario) -> Vec<String> {
    let mut names = Vec::new();
    for rail in &scenario.rails {
        let place = usize::from(rail.channel);
        names.resize(names.len().max(place + 1), String::new());
        names[place].clone_from(&rail.name);
    }
    names
}

/// All channels alike.
fn from_flags(question: &mut Question, args: &Plan) -> Result<(), String> {
    let most = match args.part {
        PartName::Corncrake | PartName::Gallinule => 4,
        PartName::Moorhen => 2,
    };
    let channels = args.channels.unwrap_or(most);
    if channels == 0 || channels > most {
        let part = args.part;
        return Err(format!(
            "--channels: {channels}: a {part:?} has {most}; take 1 to {most}"
        ));
    }
    // The finest ranges, where nothing is said; a Gallinule has one on each channel.
    let mut full_scale = FullScale::new(Voltage::ZERO, Voltage::ZERO);
    if let (Some(voltage), Some(current), Some(resistance)) =
        (args.voltage, args.current, args.resistance)
    {
        let step = args.step.unwrap_or_default();
        let greatest_na = current.saturating_add(step);
        let across_nv = u128::from(greatest_na) * u128::from(resistance) / 1_000_000_000;
        if args.part != PartName::Gallinule {
            full_scale = FullScale::new(
                Voltage::from_nanovolts(i64::try_from(across_nv).unwrap_or(i64::MAX)),
                Voltage::from_nanovolts(signed(voltage)),
            );
        }
        let resistance = Resistance::from_nanoohms(resistance);
        if !(Rail::RESISTANCE_MIN..=Rail::RESISTANCE_MAX).contains(&resistance) {
            return Err(format!(
                "--resistance: {resistance}: a sense resistor must lie between 0.0001 and 10 ohm"
            ));
        }
        let resistor = match args.part {
            PartName::Gallinule => SenseResistor::inside(),
            _ => SenseResistor::new(resistance, Tolerance::from_percent(1)),
        };
        let greatest = Current::from_nanoamps(signed(greatest_na));
        let load = Load::smooth(greatest).with_steps(LoadSteps {
            per_hour: args.steps_per_hour.unwrap_or_default(),
            step: Current::from_nanoamps(signed(step)),
        });
        let rail = RailUse {
            rail: Rail::new(resistor).with_load(load),
            voltage: Voltage::from_nanovolts(signed(voltage)),
            current: Current::from_nanoamps(signed(current)),
        };
        question.rails = vec![Some(rail); usize::from(channels)];
    }
    question.channels = vec![Some(full_scale); usize::from(channels)];
    Ok(())
}

/// Its rails at what they come to on average, its alerts, its host and its bus.
fn from_scenario<const N: usize>(
    question: &mut Question,
    scenario: &Scenario,
) -> Result<(), String> {
    let (rails, config) = run::described::<N>(scenario, 0);
    question.channels = vec![None; N];
    question.rails = vec![None; N];
    let mut kinds = Vec::new();
    for plan in &scenario.rails {
        let place = usize::from(plan.channel);
        question.channels[place] = config.full_scale(crake::Channel::new(plan.channel));
        let truth = plan.rail().map_err(text)?.truth(scenario.duration_ns);
        let (na_ns, nj) = (truth.charge_half_na_ns / 2, truth.energy().as_nanojoules());
        let current_na = na_ns / i128::from(scenario.duration_ns);
        // Power over current: the voltage at which the mean power flows.
        let joules = nj.unsigned_abs() as f64 / 1e9;
        let coulombs = na_ns.unsigned_abs() as f64 / 1e18;
        let volts = if coulombs > 0.0 {
            joules / coulombs
        } else {
            0.0
        };
        question.rails[place] = Some(RailUse {
            rail: rails[place],
            voltage: Voltage::from_nanovolts((volts * 1e9) as i64),
            current: Current::from_nanoamps(i64::try_from(current_na).unwrap_or(i64::MAX)),
        });
        kinds.extend(plan.alerts.iter().map(run::kind));
    }
    if !kinds.is_empty() {
        question.kinds = kinds;
    }
    let host = &mut question.host;
    host.clock = Tolerance::from_ppm(scenario.host.clock_limit_ppb.div_ceil(1_000));
    host.wake_us = u32::try_from(scenario.host.latency_ns.div_ceil(1_000)).unwrap_or(u32::MAX);
    host.bus_hz_max = scenario.bus_hz;
    Ok(())
}

fn microseconds(ns: u64) -> u64 {
    ns / 1_000
}

fn signed(nano: u64) -> i64 {
    i64::try_from(nano).unwrap_or(i64::MAX)
}
