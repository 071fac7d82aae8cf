//! The program `crake-sim`: runs scenarios of power rails on a virtual board, on a laptop.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    crake_sim::cli::main(&crake_sim::cli::Args::parse())
}
