//! The program's `registers`, against the bench's own look inside the part, which knows nothing of
//! descriptions; and what it refuses.

mod after_a_run;
mod alone;
mod documented;

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

use crake_sim::bench::{Bench, Part};
use crake_sim::part::corncrake::Snapshot;
use crake_sim::run::{self, Observer, OnBench, Row};
use crake_sim::scenario::Scenario;
use serde_json::Value;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
const SKIFF: &str = "examples/survey-skiff.toml";

/// An ideal part and constant rails: what stands in a register stays there while the others are
/// read. 20 mA × 0.5 Ω are 10 mV; 3.3 V less 10 mV; the limit of 30 mA is never passed.
const STILL: &str = r#"title = "still"
duration_s = 5
[part]
model = "corncrake"
scan_rate = 100
errors = "none"
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
kind = "constant"
current_a = 0.02
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "forward"
greatest_a = 0.03
[[rail.alert]]
kind = "over_current"
limit_a = 0.03
debounce = 2
output = "B"
[[rail]]
name = "BACK"
channel = 2
[rail.sense]
resistance_ohm = 0.1
tolerance_percent = 1
temperature_coefficient_ppm_per_k = 50
thermal_resistance_k_per_w = 20
sense_full_scale_v = 0.06
rail_full_scale_v = 60
[rail.source]
kind = "constant"
voltage_v = 48
impedance_ohm = 0
[rail.load]
kind = "constant"
current_a = -0.25
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "both"
greatest_a = 0.5
"#;

fn program(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .current_dir(ROOT)
        .arg("registers")
        .args(arguments)
        .output()
        .unwrap()
}

fn printed(arguments: &[&str]) -> String {
    let output = program(arguments);
    let errors = String::from_utf8(output.stderr).unwrap();
    assert_eq!((errors.as_str(), output.status.code()), ("", Some(0)));
    String::from_utf8(output.stdout).unwrap()
}

fn json(arguments: &[&str]) -> Value {
    serde_json::from_str(&printed(&[arguments, &["--json"]].concat())).unwrap()
}

/// The scenario above as a file.
fn still(name: &str) -> String {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("registers");
    fs::create_dir_all(&directory).unwrap();
    let path: PathBuf = directory.join(name);
    fs::write(&path, STILL).unwrap();
    path.to_str().unwrap().to_owned()
}

/// The register of this name.
fn register<'a>(state: &'a Value, name: &str) -> &'a Value {
    let registers = state["registers"].as_array().unwrap();
    let found = registers.iter().find(|register| register["name"] == name);
    found.unwrap_or_else(|| panic!("no register {name}"))
}

/// The field of this name in the register of that one.
fn field<'a>(state: &'a Value, name: &str, field: &str) -> &'a Value {
    let fields = register(state, name)["fields"].as_array().unwrap();
    let found = fields.iter().find(|other| other["name"] == field);
    found.unwrap_or_else(|| panic!("{name} has no field {field}"))
}
