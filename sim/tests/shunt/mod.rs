//! `crake-sim shunt`: what it prints, writes and refuses.

mod board;
mod board_moorhen;
mod document;
mod refused;
mod written;

use std::path::Path;
use std::process::{Command, Output};

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// The example of the help: 12 V, 50 mA to 5 A, 5 % at the least, 60 mV, means of 16.
const EXAMPLE: &str =
    "--voltage 12 --least 0.05 --greatest 5 --error 5 --burden 0.06 --averaging 4";

/// Runs the command at the root of the repository.
fn shunt(arguments: &str) -> Output {
    shunt_with(arguments.split_whitespace())
}

fn shunt_with<'a>(arguments: impl IntoIterator<Item = &'a str>) -> Output {
    Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .current_dir(Path::new(ROOT))
        .arg("shunt")
        .args(arguments)
        .output()
        .unwrap()
}

fn printed(arguments: &str) -> String {
    let output = shunt(arguments);
    let errors = String::from_utf8(output.stderr).unwrap();
    assert_eq!((errors.as_str(), output.status.code()), ("", Some(0)));
    String::from_utf8(output.stdout).unwrap()
}
