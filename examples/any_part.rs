//! One firmware, any part: the supervisor of examples/supervisor/, unchanged, in front of parts that differ in everything.
//!
//! ```sh
//! cargo run --example any_part
//! ```
//!
//! Corncrake latches, sums and compares by itself. Moorhen has two channels, no sums, no power and upper limits alone: the driver makes up the rest, with every look that
//! the firmware takes, and its totals and its reaction are as coarse as that.

#[path = "../tests/any_part/boat.rs"]
mod boat;
#[path = "../tests/any_part/fleet.rs"]
mod fleet;

use boat::{Outcome, Plan};
use crake::old::alert::Watch;
use crake::old::part::{Source, Spec};
use skiff_supervisor::{Config, name};

fn main() {
    let plan = Plan {
        drive_amps: vec![(1_000.0, 8.0), (3_000.0, 11.0)],
        cell_volts: vec![(5_000.0, 3.2), (6_000.0, 3.7)],
        until_ms: 10_000,
    };
    for (spec, rails, sail) in fleet::all() {
        tell(spec, rails, &sail(&plan, 1));
    }
}

fn tell(spec: &Spec, rails: usize, outcome: &Outcome) {
    let who = |source| match source {
        Source::Part => "part",
        Source::Driver => "driver",
    };
    println!("{}, {rails} rails", spec.name);
    println!(
        "  sums by the {}, power by the {}",
        who(spec.sums),
        who(spec.power)
    );
    for watch in &Config::SKIFF.limits()[..rails] {
        let judged_by = who(spec.judged_by(watch));
        println!("  {}: compared by the {judged_by}", described(watch));
    }
    for record in &outcome.records {
        println!("  {record}");
    }
    for (channel, account, truth) in &outcome.rails {
        println!(
            "  {:<5}  {:>12} ± {:<10}  truly {:>9.3} J",
            name(*channel),
            account.energy,
            account.energy_bound.total(),
            truth.energy_sixth_na_nv_ns as f64 / 6.0 * 1e-27,
        );
    }
    println!(
        "  accounted for on no rail: {} us at the most\n",
        outcome.gap_us
    );
}

fn described(watch: &Watch) -> String {
    format!("{} of {}", watch.limit().kind(), name(watch.channel()))
}
