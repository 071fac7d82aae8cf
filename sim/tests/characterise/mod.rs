//! `characterise`: what it says of logs whose truth is known.

mod against;
mod bad;
mod known;
mod suggested;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
const SKIFF: &str = "examples/survey-skiff.toml";

fn program(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
    command.current_dir(ROOT).args(arguments).output().unwrap()
}

/// The object that a command prints; it must end well.
#[track_caller]
fn json(arguments: &[&str]) -> Value {
    let output = program(&[arguments, &["--json"]].concat());
    let message = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{message}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn scratch(name: &str) -> PathBuf {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("characterise")
        .join(name);
    // What an earlier run of this test has left.
    let _ = fs::remove_dir_all(&directory);
    fs::create_dir_all(&directory).unwrap();
    directory
}

/// A log of this name and text.
fn log(name: &str, text: &str) -> String {
    let path = scratch(name).join("log.csv");
    fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

fn number(value: &Value, path: &str) -> f64 {
    let number = value.pointer(path).and_then(Value::as_f64);
    number.unwrap_or_else(|| panic!("{path} in {value:#}"))
}
