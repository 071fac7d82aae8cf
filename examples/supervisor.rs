//! A short mission of the survey skiff, on the laptop: its firmware (examples/supervisor/) against
//! the bench. Always the same output.
//!
//! ```sh
//! cargo run --example supervisor
//! ```
//!
//! The firmware watches and switches; it does not protect. Fuses, battery protection circuits and
//! certified devices do.

#[path = "../tests/supervisor/skiff.rs"]
#[allow(dead_code)] // The tests use more of it.
mod skiff;

use skiff::Skiff;
use skiff_supervisor::{CELL, DRIVE, LOGIC, MODEM, RAILS, name};

fn main() {
    let thruster = [
        (0.0, 1.0),
        (2_000.0, 6.0),
        (4_000.0, -3.0), // braking: the current flows back
        (5_000.0, 2.0),
        (15_000.0, 11.0), // something is caught in the propeller
        (15_500.0, 4.0),
    ];
    // Without load; MODEM's 1.5 A take 0.15 V off.
    let cell = [(0.0, 3.6), (7_000.0, 3.42), (9_000.0, 3.7)];
    let modem = [(0.0, 0.06), (6_000.0, 1.5)];
    let plan = Skiff::plan()
        .amps(DRIVE, &thruster)
        .inrush(10.0, 8.0)
        .volts(CELL, &cell)
        .amps(MODEM, &modem)
        .cell_feeds_modem(100);
    let mut skiff = plan.launch(7);

    println!("inrush at each closing, braking at 4 s, CELL weak from 7 to 9 s");
    tell(&mut skiff, 12_000);

    println!("the part's supply dips");
    skiff.part.brown_out();
    tell(&mut skiff, 14_000);

    println!("DRIVE's contacts weld; at 15 s its propeller is blocked");
    skiff.contacts(DRIVE).stick(true);
    tell(&mut skiff, 17_000);
    command(&mut skiff);

    println!("somebody frees the contacts");
    skiff.contacts(DRIVE).mend();
    tell(&mut skiff, 18_000);
    command(&mut skiff);
    tell(&mut skiff, 20_000);

    totals(&skiff);
}

/// Runs on until so many milliseconds, and tells what the firmware noticed and did.
fn tell(skiff: &mut Skiff, until_ms: u64) {
    skiff.run_to_ms(until_ms);
    for record in skiff.take_records() {
        println!("{record}");
    }
}

fn command(skiff: &mut Skiff) {
    match skiff.command_drive_on() {
        Ok(()) => println!("the helmsman switches DRIVE on"),
        Err(refused) => println!("the helmsman tries to switch DRIVE on: refused, {refused:?}"),
    }
}

fn totals(skiff: &Skiff) {
    let totals = skiff.supervisor.totals();
    println!("\nrail            charge         bound          energy         bound");
    for channel in [DRIVE, CELL, LOGIC, MODEM] {
        let (Some(charge), Some(energy)) = (totals.charge(channel), totals.energy(channel)) else {
            continue;
        };
        println!(
            "{:<6}  {:>14}  {:>12}  {:>14}  {:>12}",
            name(channel),
            charge.value,
            charge.bound,
            energy.value,
            energy.bound,
        );
    }
    let gap = totals.gap();
    println!(
        "{RAILS} rails; {} to {} us not counted on any (the dip)",
        gap.least_us, gap.greatest_us
    );
}
