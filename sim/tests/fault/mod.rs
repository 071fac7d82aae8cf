//! Faults as data, each by what a user sees of it: the driver's error, a reading, a line, a report.

mod fixture;
mod inputs;
mod run;
mod supply;
mod transfers;
