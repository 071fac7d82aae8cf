//! Scenario files, the main job and what the program prints.

mod alerts;
mod bad_input;
mod fault;
mod registers;
mod report;
mod scenario;
mod scenario_errors;
mod standing;
mod trace;
