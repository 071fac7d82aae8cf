//! The program `crake-sim`: runs scenarios of power rails on a virtual board, on a laptop.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    match crake_sim::cli::Args::try_parse() {
        Ok(args) => crake_sim::cli::main(&args),
        Err(error) => crake_sim::cli::refuse(&error),
    }
}
