//! What the program prints and writes, against the document that describes it.

mod company;
mod files;
mod individuals;
mod judgement;
mod refused;
mod tables;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
const SKIFF: &str = "examples/survey-skiff.toml";

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .current_dir(ROOT)
        .arg("run")
        .args(arguments)
        .output()
        .unwrap()
}

/// The object that the program prints; it must end well.
fn json(arguments: &[&str]) -> Value {
    let output = run(&[arguments, &["--json"]].concat());
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

fn scratch(name: &str) -> PathBuf {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("report")
        .join(name);
    // What an earlier run of this test has left.
    let _ = fs::remove_dir_all(&directory);
    fs::create_dir_all(&directory).unwrap();
    directory
}

/// The paths of all values, entries of arrays as `[]`; an array of plain numbers is one value.
fn paths(value: &Value, path: &str, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(entries) => {
            for (key, value) in entries {
                let path = if path.is_empty() {
                    key.clone()
                } else {
                    format!("{path}.{key}")
                };
                paths(value, &path, into);
            }
        }
        Value::Array(entries) if entries.iter().any(Value::is_object) => {
            for entry in entries {
                paths(entry, &format!("{path}[]"), into);
            }
        }
        _ => {
            into.insert(path.to_owned());
        }
    }
}

/// What stands in backticks in the first column of the tables under a heading of docs/report.md.
fn documented(heading: &str) -> BTreeSet<String> {
    let text = fs::read_to_string(Path::new(ROOT).join("docs/report.md")).unwrap();
    let (_, section) = text.split_once(&format!("## {heading}\n")).unwrap();
    let section = section.split("\n## ").next().unwrap();
    let cells = section
        .lines()
        .filter_map(|line| line.strip_prefix("| `")?.split(" | ").next());
    cells
        .flat_map(|cell| cell.split(", "))
        .map(|name| name.trim_matches('`').to_owned())
        .collect()
}

/// The skiff's 20 s with every kind of array that an object can have.
fn all_keys() -> BTreeSet<String> {
    let directory = scratch("keys");
    let skiff = fs::read_to_string(Path::new(ROOT).join(SKIFF)).unwrap();
    let skiff = skiff.replace("../tests", &format!("{ROOT}/tests"));
    // Contradicted by its own load.
    let skiff = skiff.replace("step_a = 1.94", "step_a = 1.9");
    let faults = "\n[[fault]]\nkind = \"arbitration_lost\"\nfrom_s = 10\nuntil_s = 12\n";
    let scenario = directory.join("scenario.toml");
    fs::write(&scenario, skiff + faults).unwrap();
    let mut found = BTreeSet::new();
    let object = json(&[scenario.to_str().unwrap(), "--for", "20"]);
    paths(&object, "", &mut found);
    found
}

#[test]
fn every_key_of_the_object_is_documented_and_every_documented_key_is_there() {
    let found = all_keys();
    assert_eq!(found, documented("The object"));
    for key in [
        "rails[].name",
        "rails[].energy_j.by_part_clock",
        "rails[].charge_c.bound",
        "conversions",
        "bus.busy_s",
        "monitor.energy_j",
        "seed",
    ] {
        assert!(found.contains(key), "{key}");
    }
}

fn without_wall(value: &Value) -> Value {
    match value {
        Value::Object(entries) => entries
            .iter()
            .filter(|(key, _)| !key.starts_with("wall"))
            .map(|(key, value)| (key.clone(), without_wall(value)))
            .collect(),
        Value::Array(entries) => entries.iter().map(without_wall).collect(),
        plain => plain.clone(),
    }
}

#[test]
fn one_seed_gives_the_same_object_and_the_same_bytes() {
    let directory = scratch("twice");
    let run = |name: &str, seed: &str| {
        let out = directory.join(name);
        let object = json(&[
            SKIFF,
            "--for",
            "60",
            "--seed",
            seed,
            "--out",
            out.to_str().unwrap(),
        ]);
        (
            without_wall(&object),
            fs::read(out.join("readings.csv")).unwrap(),
        )
    };
    let (one, again, other) = (run("one", "5"), run("again", "5"), run("other", "6"));
    assert!(one == again);
    assert_ne!(one.0, other.0);
    assert_ne!(one.1, other.1);
    assert_eq!((&one.0["seed"], &other.0["seed"]), (&5.into(), &6.into()));
}

#[test]
fn readings_have_the_documented_columns_and_end_with_the_totals() {
    let directory = scratch("readings");
    let object = json(&[SKIFF, "--for", "30", "--out", directory.to_str().unwrap()]);
    let text = fs::read_to_string(directory.join("readings.csv")).unwrap();
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    let columns: BTreeSet<String> = header.iter().map(|name| (*name).to_owned()).collect();
    assert_eq!(columns, documented("readings.csv"));
    let rows: Vec<Vec<&str>> = lines.map(|line| line.split(',').collect()).collect();
    // Samples taken for an alert are in no row.
    let number = |key: &str| object[key].as_f64().unwrap();
    let readings = (number("duration_s") / number("read_every_s")).ceil() as usize;
    assert_eq!(rows.len(), readings * 4);
    let column = |name: &str| header.iter().position(|has| *has == name).unwrap();
    for (row, rail) in rows[rows.len() - 4..]
        .iter()
        .zip(object["rails"].as_array().unwrap())
    {
        assert_eq!(rail["name"], row[column("rail")]);
        for total in ["charge_c", "energy_j"] {
            let last: f64 = row[column(total)].parse().unwrap();
            assert_eq!(rail[total]["measured"].as_f64(), Some(last));
        }
    }
    // The host's clock is within 20 ppm, and a reading every 0.997 s; an alert that is being served
    // comes first.
    for (number, row) in rows.iter().step_by(4).enumerate().take(readings - 1) {
        let time: f64 = row[column("time_s")].parse().unwrap();
        let due = 0.997 * (number + 1) as f64;
        assert!((time - due).abs() < 0.02, "{time} s instead of {due} s");
    }
    assert!(rows.iter().all(|row| row[column("clipped")] == "0"));
}

/// A load of 3 A on a range that ends at 2.62144 A, on a rail that flows one way and on one that
/// flows both ways.
#[test]
fn clipped_totals_are_limits_in_table_object_and_readings() {
    let directory = scratch("clipped");
    let rail = |name: &str, channel: u8, flow: &str| {
        format!(
            r#"[[rail]]
name = "{name}"
channel = {channel}
[rail.sense]
resistance_ohm = 0.01
tolerance_percent = 0
temperature_coefficient_ppm_per_k = 0
thermal_resistance_k_per_w = 0
sense_full_scale_v = 0.025
rail_full_scale_v = 6.5
[rail.source]
kind = "constant"
voltage_v = 5
impedance_ohm = 0.02
[rail.load]
kind = "constant"
current_a = 3
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "{flow}"
greatest_a = 3
"#
        )
    };
    let head =
        "title = \"clipped\"\nduration_s = 5\n[part]\nmodel = \"corncrake\"\nscan_rate = 500\n";
    let text = [head, &rail("ONE", 0, "forward"), &rail("BOTH", 3, "both")].concat();
    let scenario = directory.join("scenario.toml");
    fs::write(&scenario, text).unwrap();
    let (scenario, out) = (scenario.to_str().unwrap(), directory.to_str().unwrap());

    let object = json(&[scenario, "--out", out]);
    for (rail, saturation) in [(0, "at_least"), (1, "unknown")] {
        for total in ["energy_j", "charge_c"] {
            let figure = &object["rails"][rail][total];
            assert_eq!(figure["saturation"], saturation, "{figure}");
            assert_eq!(figure["within"], true);
            // 3 A against 2.62 A: as a value it would be false.
            assert!(
                -figure["difference"].as_f64().unwrap() > figure["bound"].as_f64().unwrap(),
                "{figure}"
            );
        }
    }
    let table = String::from_utf8(run(&[scenario]).stdout).unwrap();
    for (line, count) in [
        ("clipped: at least this, less the bound", 2),
        ("clipped: may be more or less, without bound", 2),
    ] {
        assert_eq!(table.matches(line).count(), count, "{table}");
    }
    let readings = fs::read_to_string(directory.join("readings.csv")).unwrap();
    assert!(readings.lines().skip(1).all(|row| row.ends_with(",1")));
}
