//! Every fault at every place of every operation: complete, not sampled.

use crake::Channel;

use crate::host::{Ask, FACES, Face, Outcome};
use crate::plan::Plan;
use crate::scene::{FAST, IDLE, SHOT, SLOW};
use crate::tally::Tally;
use crate::trial::Trial;

#[test]
fn init() {
    walk(&[
        (&[], Ask::Init(&FAST)),
        (&[], Ask::Init(&SHOT)),
        (&[Ask::Init(&SLOW), Ask::Sample], Ask::Init(&FAST)),
    ]);
}

#[test]
fn configure() {
    walk(&[
        (&[Ask::Init(&FAST), Ask::Sample], Ask::Configure(&SLOW)),
        (&[Ask::Init(&FAST), Ask::Sample], Ask::Configure(&SHOT)),
        (&[Ask::Init(&SLOW), Ask::Sample], Ask::Configure(&IDLE)),
        (&[Ask::Init(&SHOT), Ask::Sample], Ask::Configure(&SLOW)),
        (SERVED, Ask::Configure(&SLOW)),
        (CAPTURED, Ask::Configure(&SLOW)),
    ]);
}

#[test]
fn sample() {
    walk(&[
        (&[Ask::Init(&FAST)], Ask::Sample),
        (&[Ask::Init(&SLOW), Ask::Sample], Ask::Sample),
        (&[Ask::Init(&SHOT), Ask::Sample], Ask::Sample),
        (&[Ask::Init(&IDLE)], Ask::Sample),
        (ARMED, Ask::Sample),
    ]);
}

#[test]
fn resume() {
    walk(&[
        (&[Ask::Init(&FAST), Ask::Sample], Ask::Resume(&FAST)),
        (&[Ask::Init(&SLOW)], Ask::Resume(&SLOW)),
        (&[Ask::Init(&SHOT), Ask::Sample], Ask::Resume(&SHOT)),
    ]);
}

#[test]
fn set_limits() {
    walk(&[
        (&[Ask::Init(&FAST)], Ask::SetLimits(&FAST)),
        (
            &[Ask::Init(&SLOW), Ask::SetLimits(&SLOW)],
            Ask::SetLimits(&SLOW),
        ),
        (ARMED, Ask::SetLimits(&FAST)),
    ]);
}

#[test]
fn alerts() {
    walk(&[
        (ARMED, Ask::ReadAlerts),
        (ARMED, Ask::Service),
        (SERVED, Ask::Service),
        (&[Ask::Init(&SHOT), Ask::SetLimits(&SHOT)], Ask::Service),
    ]);
}

#[test]
fn proof_test() {
    walk(&[
        (&[Ask::Init(&FAST), Ask::SetLimits(&FAST)], Ask::ProofTest),
        (SERVED, Ask::ProofTest),
    ]);
}

#[test]
fn alert_response() {
    walk(&[
        (&[Ask::Init(&FAST)], Ask::AlertResponse),
        (ARMED, Ask::AlertResponse),
    ]);
}

#[test]
fn capture() {
    walk(&[
        (&[Ask::Init(&FAST)], Ask::StartCapture(Channel::C0)),
        (CAPTURED, Ask::FetchCapture),
    ]);
}

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
/// is tried, and a block as often again.
const TIMES_MAX: usize = 3 * 3;

/// Carries each operation out with every fault at every place, after what goes before it.
fn walk(operations: &[(&[Ask], Ask)]) {
    let mut tally = Tally::default();
    for &(before, ask) in operations {
        for face in FACES {
            let calm = carry_out(face, before, ask, None);
            let mut plans = Plan::of_transfers(&calm.shapes);
            if face == Face::Async {
                plans.extend(Plan::of_awaits(calm.waited));
            }
            for plan in plans {
                tally.run(
                    || format!("{face:?} {before:?}, then {ask:?} with {plan:?}"),
                    || {
                        let mut trial = carry_out(face, before, ask, Some(plan));
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

fn carry_out(face: Face, before: &[Ask], ask: Ask, plan: Option<Plan>) -> Trial {
    let mut trial = Trial::new(face);
    for &ask in before {
        let outcome = trial.ask(ask, None);
        assert!(
            matches!(outcome, Outcome::Done | Outcome::Sampled(_)),
            "{ask:?} without faults: {outcome:?}"
        );
    }
    trial.ask(ask, plan);
    trial
}
