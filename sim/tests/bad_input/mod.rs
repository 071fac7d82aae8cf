//! The program refuses bad input with one message that names the place, exit status 2, and writes
//! nothing.

mod arguments;
mod case;
mod files;
mod malformed;
mod names;
mod start;

use std::fs;

use case::{Case, RECORDING, SAME, VALID};

/// A scenario in which `what` is replaced, run with an output directory that is there and one that
/// is not.
fn refused(name: &str, what: (&str, &str), recording: Option<&str>, place: &str, about: &str) {
    assert!(VALID.contains(what.0), "{name}");
    let case = Case::new(name, &VALID.replacen(what.0, what.1, 1), recording);
    fs::create_dir(case.directory.join("there")).unwrap();
    fs::write(
        case.directory.join("there/readings.csv"),
        "of an earlier run",
    )
    .unwrap();
    for out in ["there", "new"] {
        case.refuses(&["scenario.toml", "--out", out, "--json"], place, about);
    }
    case.refuses(&["scenario.toml"], place, about);
}

#[test]
fn the_scenario_that_is_spoilt_below_is_a_good_one() {
    let case = Case::new("good", VALID, Some(RECORDING));
    let output = case.run(&["scenario.toml", "--out", "a/b"]);
    let errors = String::from_utf8(output.stderr).unwrap();
    assert_eq!((errors.as_str(), output.status.code()), ("", Some(0)));
    let written = fs::read_dir(case.directory.join("a/b")).unwrap();
    let mut names: Vec<_> = written.map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, crate::WRITTEN);
}

#[test]
fn an_unknown_key() {
    refused(
        "unknown",
        ("scan_rate = 2000", "scan_rate = 2000\nspeed = 3"),
        Some(RECORDING),
        "scenario.toml:6",
        "unknown key speed",
    );
}

#[test]
fn a_recording_that_is_not_there() {
    refused(
        "missing",
        SAME,
        None,
        "scenario.toml:22",
        "load.csv is not there",
    );
}

#[test]
fn times_that_go_back() {
    refused(
        "back",
        SAME,
        Some("0,0.01\n1,0.02\n1,0.01\n"),
        "load.csv:3",
        "time 1",
    );
}

#[test]
fn a_value_that_is_no_number() {
    refused(
        "nan",
        SAME,
        Some("0,0.01\n1,NaN\n2,0.01\n"),
        "load.csv:2",
        "NaN",
    );
}

#[test]
fn a_sense_resistor_of_no_resistance() {
    refused(
        "resistor",
        ("resistance_ohm = 0.5", "resistance_ohm = 0"),
        Some(RECORDING),
        "scenario.toml:10",
        "resistance_ohm = 0: ",
    );
}

#[test]
fn two_rails_of_one_name() {
    let (_, rail) = VALID.split_once("[[rail]]").unwrap();
    let second = format!(
        "{VALID}[[rail]]{}",
        rail.replacen("channel = 0", "channel = 1", 1)
    );
    let case = Case::new("names", &second, Some(RECORDING));
    case.refuses(
        &["scenario.toml", "--out", "new"],
        "scenario.toml:31",
        "\"LOGIC\"",
    );
}

#[test]
fn a_scenario_that_is_not_there() {
    let case = Case::new("no_scenario", VALID, Some(RECORDING));
    case.refuses(
        &["other.toml", "--out", "new"],
        "other.toml",
        "cannot be read",
    );
}

/// A file in the way, which stops even a superuser.
#[test]
fn an_output_that_cannot_be_written() {
    let case = Case::new("out", VALID, Some(RECORDING));
    case.refuses(
        &["scenario.toml", "--out", "load.csv/new"],
        "load.csv/new/readings.csv",
        "cannot be written",
    );
}
