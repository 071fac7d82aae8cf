//! The parts that the same firmware runs on.

use crake::alert::Outputs;
use crake::part::{Spec, corncrake, moorhen};
use crake_sim::part::{corncrake as corncrake_model, moorhen as moorhen_model};

use super::boat::{Fitting, Outcome, Plan, sail};

/// How a part sails: its data, how many rails it takes, and the mission on it.
pub type Sailing = (&'static Spec, usize, fn(&Plan, u64) -> Outcome);

/// All parts.
pub fn all() -> [Sailing; 2] {
    [
        (&corncrake::SPEC, 4, on_corncrake),
        (&moorhen::SPEC, 2, on_moorhen),
    ]
}

fn on_corncrake(plan: &Plan, seed: u64) -> Outcome {
    let fitting = Fitting {
        order: corncrake_model::Corncrake::drawn(0x32),
        map: corncrake::Corncrake::new(),
        spec: &corncrake::SPEC,
        rounds_per_second: 2_000,
        resistors: true,
        outputs: &|bench, part| {
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
        order: moorhen_model::Moorhen::drawn(0x17),
        map: moorhen::Moorhen::new(),
        spec: &moorhen::SPEC,
        rounds_per_second: 40,
        resistors: true,
        outputs: &|bench, part| {
            use moorhen_model::Output;
            vec![(bench.alert(part, Output::Alert), Outputs::A | Outputs::B)]
        },
    };
    sail::<_, _, 2>(fitting, plan, seed)
}
