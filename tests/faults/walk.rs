//! Every fault at every place of every operation: complete, not sampled.

use crake::Channel;

use crate::host::{Ask, FACES, Face, Outcome};
use crate::plan::Plan;
use crate::scene::{FAST, IDLE, SHOT, SLOW};
use crate::tally::Tally;
use crate::trial::Trial;

/// What goes before, and the operation that is walked through.
const OPERATIONS: &[(&[Ask], Ask)] = &[
    (&[], Ask::Init(&FAST)),
    (&[], Ask::Init(&SHOT)),
    (&[Ask::Init(&SLOW), Ask::Sample], Ask::Init(&FAST)),
    (&[Ask::Init(&FAST), Ask::Sample], Ask::Configure(&SLOW)),
    (&[Ask::Init(&FAST), Ask::Sample], Ask::Configure(&SHOT)),
    (&[Ask::Init(&SLOW), Ask::Sample], Ask::Configure(&IDLE)),
    (&[Ask::Init(&SHOT), Ask::Sample], Ask::Configure(&SLOW)),
    (&[Ask::Init(&FAST)], Ask::Sample),
    (&[Ask::Init(&SLOW), Ask::Sample], Ask::Sample),
    (&[Ask::Init(&SHOT), Ask::Sample], Ask::Sample),
    (&[Ask::Init(&IDLE)], Ask::Sample),
    (&[Ask::Init(&FAST), Ask::Sample], Ask::Resume(&FAST)),
    (&[Ask::Init(&SLOW)], Ask::Resume(&SLOW)),
    (&[Ask::Init(&SHOT), Ask::Sample], Ask::Resume(&SHOT)),
    (&[Ask::Init(&FAST)], Ask::SetLimits(&FAST)),
    (
        &[Ask::Init(&SLOW), Ask::SetLimits(&SLOW)],
        Ask::SetLimits(&SLOW),
    ),
    (ARMED, Ask::SetLimits(&FAST)),
    (ARMED, Ask::ReadAlerts),
    (ARMED, Ask::Service),
    (SERVED, Ask::Service),
    (SERVED, Ask::Configure(&SLOW)),
    (ARMED, Ask::Sample),
    (&[Ask::Init(&SHOT), Ask::SetLimits(&SHOT)], Ask::Service),
    (&[Ask::Init(&FAST)], Ask::StartCapture(Channel::C0)),
    (CAPTURED, Ask::FetchCapture),
    (CAPTURED, Ask::Configure(&SLOW)),
];

/// Some flags stand in the part when it goes on.
const ARMED: &[Ask] = &[
    Ask::Init(&FAST),
    Ask::SetLimits(&FAST),
    Ask::Sample,
    Ask::Sample,
    Ask::Sample,
];
/// One condition lasts and is masked.
const SERVED: &[Ask] = &[
    Ask::Init(&FAST),
    Ask::SetLimits(&FAST),
    Ask::Sample,
    Ask::Sample,
    Ask::Service,
];
const CAPTURED: &[Ask] = &[Ask::Init(&FAST), Ask::StartCapture(Channel::C0)];

/// The most transfers of an operation, given how many it takes without faults: each as often as it
/// is tried, and a block with another tag three times.
const TIMES_MAX: usize = 3 * 3;

fn scene(face: Face, before: &[Ask]) -> Trial {
    let mut trial = Trial::new(face);
    for &ask in before {
        let outcome = trial.ask(ask, None);
        assert!(
            matches!(outcome, Outcome::Done | Outcome::Sampled(_)),
            "{ask:?} without faults: {outcome:?}"
        );
    }
    trial
}

/// Carries one plan out; gives the transfers that the operation made.
fn carry_out(face: Face, before: &[Ask], ask: Ask, plan: Option<Plan>) -> Trial {
    let mut trial = scene(face, before);
    trial.ask(ask, plan);
    trial
}

#[test]
fn every_fault_at_every_transfer_and_every_await() {
    let mut tally = Tally::default();
    for (before, ask) in OPERATIONS {
        for face in FACES {
            let calm = carry_out(face, before, *ask, None);
            let mut plans = Plan::of_transfers(&calm.shapes);
            if face == Face::Async {
                plans.extend(Plan::of_awaits(calm.waited));
            }
            for plan in plans {
                tally.run(
                    || format!("{face:?} {before:?}, then {ask:?} with {plan:?}"),
                    || {
                        let mut trial = carry_out(face, before, *ask, Some(plan));
                        let (made, most) = (trial.shapes.len(), TIMES_MAX * calm.shapes.len());
                        assert!(made <= most, "{made} transfers, at most {most}");
                        trial.recover();
                    },
                );
            }
        }
    }
    tally.finish();
}
