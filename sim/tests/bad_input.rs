//! The program refuses bad input with one message that names the place, exit status 2, and writes
//! nothing.
#![cfg(feature = "cli")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const VALID: &str = r#"title = "t"
duration_s = 2
[part]
model = "corncrake"
scan_rate = 2000
[[rail]]
name = "LOGIC"
channel = 0
[rail.sense]
resistance_ohm = 0.5
tolerance_percent = 1
temperature_coefficient_ppm_per_k = 50
thermal_resistance_k_per_w = 20
sense_full_scale_v = 0.025
rail_full_scale_v = 6.5
[rail.source]
kind = "constant"
voltage_v = 3.3
impedance_ohm = 0.5
[rail.load]
kind = "recorded"
file = "load.csv"
interpolation = "linear"
at_end = "hold"
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "forward"
greatest_a = 0.03
"#;
/// For [`refused`]: nothing is replaced.
const SAME: (&str, &str) = ("title", "title");
const RECORDING: &str = "0,0.01\n1,0.02\n2,0.01\n";

/// A directory of its own with a scenario and its recording in it, and what came of running it.
struct Case {
    directory: PathBuf,
}

impl Case {
    fn new(name: &str, scenario: &str, recording: Option<&str>) -> Self {
        let directory = Path::new(env!("CARGO_TARGET_TMPDIR"))
            .join("bad_input")
            .join(name);
        // What an earlier run of this test has left.
        let _ = fs::remove_dir_all(&directory);
        fs::create_dir_all(&directory).unwrap();
        fs::write(directory.join("scenario.toml"), scenario).unwrap();
        if let Some(recording) = recording {
            fs::write(directory.join("load.csv"), recording).unwrap();
        }
        Self { directory }
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_crake-sim"))
            .current_dir(&self.directory)
            .args(["run"])
            .args(arguments)
            .output()
            .unwrap()
    }

    /// Every file under the directory with its bytes.
    fn contents(&self) -> Vec<(PathBuf, Option<Vec<u8>>)> {
        let (mut found, mut open) = (Vec::new(), vec![self.directory.clone()]);
        while let Some(directory) = open.pop() {
            for entry in fs::read_dir(directory).unwrap() {
                let path = entry.unwrap().path();
                let bytes = path.is_file().then(|| fs::read(&path).unwrap());
                if bytes.is_none() {
                    open.push(path.clone());
                }
                found.push((path, bytes));
            }
        }
        found.sort();
        found
    }

    /// Runs with these arguments, which must fail with one line that begins with the place and
    /// tells of `about`.
    fn refuses(&self, arguments: &[&str], place: &str, about: &str) {
        let before = self.contents();
        let output = self.run(arguments);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert!(
            errors.starts_with(&format!("crake-sim: {place}: ")) && errors.contains(about),
            "{errors}instead of {place}: ... {about}"
        );
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert_eq!(output.status.code(), Some(2), "{errors}");
        assert!(output.stdout.is_empty(), "{errors}");
        assert_eq!(self.contents(), before, "{errors}and something was written");
    }
}

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
    assert_eq!(names, ["readings.csv", "trace.vcd", "transactions.jsonl"]);
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
        "there is no file load.csv",
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

#[test]
fn arguments_that_are_none() {
    let case = Case::new("arguments", VALID, Some(RECORDING));
    for arguments in [
        &["scenario.toml", "--seed", "x"][..],
        &["scenario.toml", "--for", "0"],
        &["scenario.toml", "--no-such-flag"],
        &[],
    ] {
        let output = case.run(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty() && !output.stderr.is_empty());
    }
}
