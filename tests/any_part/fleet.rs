//! The parts that the same firmware runs on.

use crake::old::alert::Outputs;
use crake::old::part::pmbus::gallinule;
use crake::old::part::{Spec, corncrake, moorhen};
use crake_sim::old::corncrake as corncrake_model;
use crake_sim::part::{moorhen as moorhen_model, pmbus as pmbus_model};

use crake::old::units::Current;
use skiff_supervisor::Config;

use super::boat::{Fitting, Outcome, Plan, sail};

/// How a part sails: its data, how many rails it takes, and the mission on it.
pub type Sailing = (&'static Spec, usize, fn(&Plan, u64) -> Outcome);

/// All parts.
pub fn all() -> [Sailing; 3] {
    [
        (&corncrake::SPEC, 4, on_corncrake),
        (&moorhen::SPEC, 2, on_moorhen),
        (&gallinule::SPEC, 4, on_gallinule),
    ]
}

fn on_corncrake(plan: &Plan, seed: u64) -> Outcome {
    let fitting = Fitting {
        order: corncrake_model::Corncrake::drawn(0x32),
        map: corncrake::Corncrake::new(),
        spec: &corncrake::SPEC,
        rounds_per_second: 2_000,
        resistors: true,
        config: Config::SKIFF,
        outputs: |bench, part| {
            use corncrake_model::Output;
            vec![
                (bench.alert(part, Output::A), Outputs::A),
                (bench.alert(part, Output::B), Outputs::B),
            ]
        },
    };
    sail::<_, _, 4>(fitting, plan, seed)
}

/// Looks every 20 ms, and promises 40 a second.
fn on_moorhen(plan: &Plan, seed: u64) -> Outcome {
    let fitting = Fitting {
        order: moorhen_model::Moorhen::new(0x17),
        map: moorhen::Moorhen::new(),
        spec: &moorhen::SPEC,
        rounds_per_second: 40,
        resistors: true,
        config: Config::SKIFF,
        outputs: |bench, part| {
            use moorhen_model::Output;
            vec![(bench.alert(part, Output::Alert), Outputs::A | Outputs::B)]
        },
    };
    sail::<_, _, 2>(fitting, plan, seed)
}

/// Each page is meant for voltages and currents of its own, and watches what the supervisor gives it.
fn on_gallinule(plan: &Plan, seed: u64) -> Outcome {
    let description = pmbus_model::Description::gallinule();
    let fitting = Fitting {
        order: pmbus_model::Device::new(description, 0x58).expect("the document's own device"),
        map: gallinule::Gallinule::new(),
        spec: &gallinule::SPEC,
        rounds_per_second: 40,
        resistors: false,
        // B4: 50 mA of offset, and steps of 1/64 A.
        config: Config {
            off_current: Current::from_milliamps(200),
            drive_reverse: Current::from_milliamps(-200),
            ..Config::SKIFF
        },
        outputs: |bench, part| {
            vec![(
                bench.alert(part, pmbus_model::SmbAlert),
                Outputs::A | Outputs::B,
            )]
        },
    };
    sail::<_, _, 4>(fitting, plan, seed)
}
