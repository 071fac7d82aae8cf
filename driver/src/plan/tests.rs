//! Against figures worked by hand from the datasheets: Corncrake's sections 3 to 8, Moorhen's 4
//! and 7.

use super::{Demand, Demands, Duty, Host, Plan, RailUse, Spent, Unmet, choose};
use crate::Channel;
use crate::board::{Load, LoadSteps, Rail, SenseResistor};
use crate::bus::Traffic;
use crate::config::{Config, FullScale, Mode, Run, Scan, ScanRate};
use crate::info::{PartInfo, Source};
use crate::monitor::Call;
use crate::part::corncrake::Corncrake;
use crate::part::{Part, corncrake, moorhen};
use crate::units::{Current, Resistance, Tolerance, Voltage};

const UP_TO: FullScale = FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(12));

fn scan<const N: usize>(info: &PartInfo, mode: Mode, k: u8) -> Scan<N> {
    let config = Config::single_shot([UP_TO; N]).with_mode(mode).averaging(k);
    let mut scan = Scan::NONE;
    assert_eq!(config.resolve(info, &mut scan), Ok(()));
    scan
}

fn at(scans: u32) -> Mode {
    Mode::Continuous(ScanRate::per_second(scans))
}

fn typical(mode: Mode, k: u8, interval_us: u64) -> i64 {
    let scan = scan::<4>(&corncrake::INFO, mode, k);
    let duty = Duty::new(&corncrake::INFO, &scan, interval_us);
    duty.supply(&Corncrake::SUPPLY_TYPICAL).as_nanoamps()
}

/// 9 µA + 301 µA × 0.5 ms ÷ period; a single shot of 16 scans a second: 2.2 µA + 307.8 µA ×
/// (0.15 + 8) ms.
#[test]
fn the_parts_mean_current() {
    assert_eq!(typical(at(2_000), 0, 0), 310_000);
    assert_eq!(typical(at(500), 0, 0), 84_250);
    assert_eq!(typical(at(100), 3, 0), 24_050);
    assert_eq!(typical(at(1), 0, 0), 9_150); // 9 150.5
    assert_eq!(typical(Mode::SingleShot, 4, 1_000_000), 4_709); // 4 708.57
    assert_eq!(typical(Mode::Idle, 0, 1_000_000), 2_200);
    let scan = scan::<1>(&corncrake::INFO, at(2_000), 0);
    let duty = Duty::new(&corncrake::INFO, &scan, 0);
    // The greatest: 15 µA + 405 µA ÷ 4.
    assert_eq!(duty.supply(&corncrake::INFO.supply).as_nanoamps(), 116_250);
}

/// Section 4: "charge and energy wrap after 2^43 / (2^17 × 2000) s = 33 554 s; SCANS after
/// 134 217 s".
#[test]
fn sums_roll_over_when_the_datasheet_says() {
    let scan = scan::<4>(&corncrake::INFO, at(2_000), 0);
    let duty = Duty::new(&corncrake::INFO, &scan, 0);
    let sums = duty.rollovers(Channel::C3).expect("it counts");
    assert_eq!(sums.charge_us, 33_554_432_000);
    assert_eq!(sums.energy_us, 33_554_432_000 + 512_008); // 2^59 / (2^17 × (2^16 − 1)) × 500 µs
    assert_eq!(sums.scans_us, 134_217_728_000);
    let scan = super::tests::scan::<4>(&corncrake::INFO, Mode::SingleShot, 0);
    assert_eq!(
        Duty::new(&corncrake::INFO, &scan, 1_000).rollovers(Channel::C0),
        None
    );
}

/// (Debounce × period + two conversions) ÷ 0.985, by hand: 634.5, 15 355.3 µs. Moorhen at an
/// interval of 10 ms: 3 × 10 ms, a shot of 90 µs and 4 × 170 µs ÷ 0.97.
#[test]
fn an_excursion_is_seen_within() {
    let fast = scan::<4>(&corncrake::INFO, at(2_000), 0);
    let slow = scan::<4>(&corncrake::INFO, at(500), 10);
    let of = |scan, debounce| {
        let duty: Duty<'_, 4> = Duty::new(&corncrake::INFO, scan, 7);
        duty.seen_within_us(debounce, Source::Part)
    };
    assert_eq!(of(&fast, 1), 635);
    assert_eq!(of(&fast, 0), 635);
    assert_eq!(of(&slow, 7), 14_341); // 14.125 ms ÷ 0.985 = 14 340.1
    // Means of 16 that the driver compares: 31 × 0.5 ms and two conversions, ÷ 0.985 = 15 862.9 µs.
    let means = scan::<4>(&corncrake::INFO, at(2_000), 4);
    let duty = Duty::new(&corncrake::INFO, &means, 100_000);
    assert_eq!(duty.seen_within_us(1, Source::Driver), 100_000 + 15_863);
    let shot = scan::<2>(&moorhen::INFO, Mode::SingleShot, 0);
    let seen_us = Duty::new(&moorhen::INFO, &shot, 10_000).seen_within_us(3, Source::Part);
    assert!((30_791..=30_793).contains(&seen_us), "{seen_us}");
}

/// A sample of 1000 clocks and 500 µs, a service of 2000 and 500 µs.
#[allow(clippy::unnecessary_wraps)] // as a monitor's is
fn traffic<const N: usize>(call: Call<'_>, _: &Config<N>) -> Option<Traffic> {
    let clocks = if matches!(call, Call::Sample) {
        1_000
    } else {
        2_000
    };
    Some(Traffic {
        clocks,
        waits_us: 500,
    })
}

fn planned(demands: &Demands<'_>) -> Result<Plan<4>, Unmet> {
    let config = Config::single_shot([UP_TO; 4]);
    choose(
        (&corncrake::INFO, &Corncrake::SUPPLY_TYPICAL),
        &config,
        demands,
        &Host::TYPICAL,
        traffic,
    )
}

/// At 400 kHz sample and service take 3 and 5.5 ms, and the host 0.1 ms to wake: of 20 ms 11.4 are
/// left. 500 scans a second see within 2.16, 4.19, 6.22, 8.25 and 10.28 ms; 100 a second within
/// 10.28 ms, and are cheaper.
#[test]
fn the_slowest_rate_that_tells_in_time_is_chosen() {
    let alert = |alert_us| Demands {
        alert_us: Some(alert_us),
        ..Demands::NONE
    };
    let plan = planned(&alert(20_000)).expect("a plan");
    assert_eq!(
        (plan.scan.run, plan.debounce, plan.bus_hz),
        (Run::Continuous(2), 1, 400_000)
    );
    assert_eq!((plan.seen_us, plan.told_us), (10_280, 10_280 + 8_600));
    let plan = planned(&alert(18_879)).expect("a plan");
    assert_eq!((plan.scan.run, plan.debounce), (Run::Continuous(1), 1));
    // An event of 9 ms is told in time by a debounce of 4; of 8 ms by one of 3.
    for (event_us, debounce) in [(9_000, 4), (8_000, 3)] {
        let event_us = Some(event_us);
        let both = Demands {
            event_us,
            ..alert(18_879)
        };
        let plan = planned(&both).expect("a plan");
        assert_eq!(
            (plan.scan.run, plan.debounce),
            (Run::Continuous(1), debounce)
        );
    }
    // Half of 2^26 periods of 2 ms, less what both clocks are off by, is longer than a day.
    assert!(plan.interval_us < 67_108_864_000 && plan.interval_us > 65_000_000_000);
    // The mean is over by then.
    assert_eq!(plan.scan.averaging_log2, 10);
}

/// 3.3 V over 4.7 kΩ for 1000 clocks of 2.5 µs, and 4 mA for 3.1 ms, once a second.
#[test]
fn bus_and_host_cost_what_they_draw() {
    let scan = scan::<4>(&corncrake::INFO, at(1), 0);
    let duty = Duty::new(&corncrake::INFO, &scan, 1_000_000);
    let sample = traffic(Call::Sample, &Config::single_shot([UP_TO; 4])).expect("it can be");
    let supply = &Corncrake::SUPPLY_TYPICAL;
    let spent = Spent::new(&duty, supply, &sample, 400_000, &Host::TYPICAL);
    assert_eq!(spent.part.as_nanoamps(), 9_150);
    assert_eq!(spent.pull_ups.as_nanoamps(), 1_756); // 1 755.32 of 702.13 µA × 0.25 %
    assert_eq!(spent.host.as_nanoamps(), 12_400);
    assert_eq!(spent.total().as_nanoamps(), 23_306);
}

#[test]
fn what_cannot_be_names_the_demand() {
    let none = Demands::NONE;
    let alone = |demands: Demands<'_>| match planned(&demands) {
        Err(Unmet::Alone { demand, nearest }) => (demand, nearest),
        other => panic!("{other:?}"),
    };
    let (alert, event) = (
        Demands {
            alert_us: Some(9_000),
            ..none
        },
        Demands {
            event_us: Some(634),
            ..none
        },
    );
    assert_eq!(alone(alert), (Demand::Alert, Some(635 + 8_600)));
    assert_eq!(alone(event), (Demand::Event, Some(635)));
    let wake = Demands {
        wake_us: Some(86_400_000_001),
        ..none
    };
    assert_eq!(alone(wake), (Demand::Wake, Some(86_400_000_000)));
    // Moorhen's driver sums the energy up: nobody looks often enough at once a day.
    let load = Load::smooth(Current::from_amps(2)).with_steps(LoadSteps {
        per_hour: 60,
        step: Current::from_amps(1),
    });
    let resistor = SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(1));
    let rail = RailUse {
        rail: Rail::new(resistor).with_load(load),
        voltage: Voltage::from_volts(10),
        current: Current::from_amps(1),
    };
    let rails = [Some(rail); 2];
    let demands = Demands {
        energy_ppm: Some(60_000),
        wake_us: Some(1_800_000_000),
        rails: &rails,
        ..none
    };
    let config = Config::single_shot([UP_TO; 2]);
    let plan = |demands: &Demands<'_>| {
        choose(
            (&moorhen::INFO, &moorhen::INFO.supply),
            &config,
            demands,
            &Host::TYPICAL,
            traffic,
        )
    };
    assert_eq!(
        plan(&demands).err(),
        Some(Unmet::Crossed(Demand::Energy, Demand::Wake))
    );
    let alone = plan(&demands.without(Demand::Wake)).expect("a plan");
    assert!(alone.energy_ppm.is_some_and(|ppm| ppm <= 60_000));
    let longer = Duty::new(&moorhen::INFO, &alone.scan, alone.interval_us * 102 / 100);
    let budget = longer.energy_of_a_day(Channel::C0, &rail, 3_000, Tolerance::from_ppm(50));
    // 6 % of 10 W over a day, exceeded by an interval that is longer by more than what steps leave.
    let nj = budget.expect("it counts").total().as_nanojoules();
    assert!(nj > 51_840_000_000_000, "{nj}");
}
