//! A dozen operations in a row, faults in every other one, at random.
//!
//! `FAULTS_SEED=17 cargo test --test faults sequences` does one again, and shows it.

use crake::Channel;
use crake_sim::rng::Rng;

use crate::host::{Ask, FACES, Face};
use crate::plan::{ERRORS, Fault, Place, Plan};
use crate::scene::{FAST, IDLE, SHOT, SLOW};
use crate::tally::Tally;
use crate::trial::Trial;

const SEEDS: u64 = 2_000;
const OPERATIONS: usize = 12;

#[test]
fn sequences() {
    let seeds = match std::env::var("FAULTS_SEED") {
        Ok(seed) => {
            let seed = seed.parse().expect("a number");
            seed..=seed
        }
        Err(_) => 1..=SEEDS,
    };
    let shows = seeds.clone().count() == 1;
    let mut tally = Tally::default();
    for seed in seeds {
        for face in FACES {
            tally.run(
                || format!("{face:?}, FAULTS_SEED={seed} cargo test --test faults sequences"),
                || run(face, seed, shows),
            );
        }
    }
    tally.finish();
}

fn run(face: Face, seed: u64, shows: bool) {
    let mut rng = Rng::new(seed).stream("faults");
    let mut trial = Trial::new(face);
    for _ in 0..OPERATIONS {
        let ask = draw_ask(&mut rng, &trial);
        let plan = (rng.below(2) == 0).then(|| draw_plan(&mut rng, face));
        if shows {
            println!("{ask:?} with {plan:?}");
        }
        let outcome = trial.ask(ask, plan);
        if shows {
            println!("    {outcome:?}");
        }
        if rng.below(4) == 0 {
            trial.scene.part.power_up();
        }
    }
    trial.recover();
}

fn draw_ask(rng: &mut Rng, trial: &Trial) -> Ask {
    let setting = [&FAST, &SLOW, &SHOT, &IDLE][rng.below(4) as usize];
    match rng.below(26) {
        0..=2 => Ask::Init(setting),
        3..=4 => Ask::Configure(setting),
        // Mostly with what the part was told last, which may come through.
        5..=6 => Ask::Resume(trial.told.unwrap_or(setting)),
        7 => Ask::Resume(setting),
        8 => Ask::Powered(rng.below(3) > 0),
        9..=12 => Ask::SetLimits(trial.knows.unwrap_or(setting)),
        13..=14 => Ask::ReadAlerts,
        15..=17 => Ask::Service,
        18 => Ask::StartCapture(Channel::C0),
        19 => Ask::FetchCapture,
        20 => Ask::ProofTest,
        21 => Ask::AlertResponse,
        _ => Ask::Sample,
    }
}

fn draw_plan(rng: &mut Rng, face: Face) -> Plan {
    let place = Place::Transfer(rng.below(20) as usize);
    let times = [1, 2, 3, 8][rng.below(4) as usize];
    let error = ERRORS[rng.below(4) as usize];
    let answers = rng.below(2) == 0;
    let (byte, bytes) = (rng.below(112) as usize, rng.below(6) as usize);
    let fault = match rng.below(11) {
        0 => Fault::Refused(error),
        1 => Fault::AnswerLost(error),
        2 => Fault::Turned {
            byte,
            bits: 1 + rng.below(255) as u8,
        },
        3 => Fault::Flat(rng.next_u64() as u8),
        4 => Fault::Partial {
            bytes,
            bits: rng.below(8) as u8,
        },
        5 => Fault::Reset { answers },
        6 => Fault::ResetInside { bytes, answers },
        7 => Fault::PowerLoss,
        8 => Fault::Stranger,
        9 => Fault::Away(rng.below(20_000) as u32),
        _ => Fault::ClockJump(rng.integer(-1_000..=1_000_000)),
    };
    let awaits = rng.below(400) as usize;
    match (face, rng.below(3)) {
        (Face::Async, 0) => Plan {
            place: Place::Await(awaits),
            times: 1,
            fault: Fault::Drop,
        },
        (Face::Async, 1) if matches!(fault, Fault::Reset { .. }) => Plan {
            place: Place::Await(awaits),
            times: 1,
            fault,
        },
        _ => Plan {
            place,
            times,
            fault,
        },
    }
}
