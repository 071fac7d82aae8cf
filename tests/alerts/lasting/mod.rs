//! Conditions that last, at random: every kind of limit, both outputs, all scan rates, and what
//! rails do. What has to be told is reckoned from the rails themselves; see `history`.
//!
//! `LASTING_SEED=17 cargo test --test alerts lasting` does one case again, and shows it.

mod case;
mod firmware;
mod history;
mod judge;

use std::time::Duration;

use crake::alert::{AlertQueue, Lasting, Limit, Limits, Outputs, Threshold};
use crake::units::Current;
use crake::{Channel, ShuntMonitor};
use crake_sim::part::corncrake::Output;
use embedded_hal::digital::PinState;

use crate::fixture::{CONFIG, Fixture};
use case::Case;

const SEEDS: u64 = 400;

#[test]
fn events_are_the_excursions_and_the_bus_stays_free() {
    let seeds = match std::env::var("LASTING_SEED") {
        Ok(seed) => {
            let seed = seed.parse().expect("a number");
            seed..=seed
        }
        Err(_) => 1..=SEEDS,
    };
    let shows = seeds.clone().count() == 1;
    let mut seen = judge::Seen::default();
    for seed in seeds {
        let case = Case::new(seed);
        if shows {
            println!("{case:#?}");
        }
        let run = firmware::run(&case);
        let mut judged = judge::judge(&case, &run);
        for failure in judged.failures.drain(..) {
            let replay = format!("LASTING_SEED={seed} cargo test --test alerts lasting");
            println!("{failure}\n  {replay}");
            seen.failed += 1;
        }
        seen.add(judged);
    }
    println!("{seen:?}");
    assert_eq!(seen.failed, 0);
    if !shows {
        // All this came about, so none of it was tested in vain.
        assert!(seen.told > 3_000 && seen.merged > 300, "{seen:?}");
        assert!(seen.unfound > 200 && seen.masked > 1_000, "{seen:?}");
        assert!(seen.busiest > 0.02, "{seen:?}");
    }
}

/// A flag that was served stands again with the next conversion beyond the limit: hardware on its
/// output sees it go for a scan at most (2 ms), and no mask is written.
#[test]
fn a_wired_output_is_let_go_for_one_scan_at_a_look() {
    let again = Lasting::LookAgain(Duration::from_millis(100));
    let limits = [Limit::new(
        Channel::C0,
        Threshold::OverCurrent(Current::from_milliamps(10)),
    )
    .lasting(again)
    .to(Outputs::A)];
    let limits = Limits::new(&limits).wired(Outputs::A);
    let fixture = Fixture::new();
    let line = fixture.bench.line();
    line.wire(&fixture.part, Output::A);
    fixture.hands[0].set(20_000_000, 0);
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
    fixture.scans(2);
    line.set_recording(true);
    for _ in 0..20 {
        queue.service(&mut monitor).expect("a part that answers");
        let due = queue.next_in().expect("it lasts");
        assert_eq!(due, Duration::from_millis(100));
        fixture.bench.run_for(due);
    }
    let edges = line.edges();
    assert_eq!(edges.len(), 40, "let go and pulled at each look");
    for pair in edges.chunks(2) {
        assert_eq!([pair[0].to, pair[1].to], [PinState::High, PinState::Low]);
        assert!(pair[1].at_ns - pair[0].at_ns <= 2_000_000);
    }
}
