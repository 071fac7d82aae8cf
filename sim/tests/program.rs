//! Scenario files, the main job and what the program prints.

mod alerts;
mod any_part;
mod bad_input;
mod characterise;
mod fault;
mod help;
mod lasting;
mod page;
mod plan;
mod registers;
mod report;
mod scenario;
mod scenario_errors;
mod schema;
mod shunt;
mod standing;
mod trace;

/// What `run --out` leaves in its directory, in the order of names.
const WRITTEN: [&str; 8] = [
    "alerts.csv",
    "faults.csv",
    "readings.csv",
    "report.html",
    "report.json",
    "report.txt",
    "trace.vcd",
    "transactions.jsonl",
];
