//! What the tables say, against the document that explains their headings and against the object.

use std::collections::BTreeSet;
use std::fs;

use serde_json::Value;

use crate::report::{SKIFF, documented, json, run, scratch};

fn table(arguments: &[&str]) -> String {
    let output = run(arguments);
    assert_eq!(output.status.code(), Some(0));
    String::from_utf8(output.stdout).unwrap()
}

/// Cells of a line, which two spaces part.
fn cells(line: &str) -> Vec<&str> {
    let cells = line.split("  ").map(str::trim);
    cells.filter(|cell| !cell.is_empty()).collect()
}

/// Everything that is no number, no name and no alert's line is a heading: each is explained, and
/// nothing is explained that is not there.
#[test]
fn every_heading_is_explained() {
    let table = table(&[SKIFF, "--for", "20"]);
    let mut found = BTreeSet::new();
    // Title, and the line of the seed.
    for line in table.lines().skip(2) {
        let is_alert = line.starts_with("         ") && line.contains("MODEM");
        let is_rail = line.contains("(channel ");
        for cell in cells(line) {
            // `MODEM`, `A` and the like stand in an alert's line, sentences after a heading.
            let is_sentence = cell.starts_with("holds: ");
            if !is_alert && !is_rail && !is_sentence && !cell.contains(char::is_numeric) {
                found.insert(cell.to_owned());
            }
        }
    }
    // Where something was lost, and where there are faults only.
    let others = ["not in the totals", "faults", "failures", "times", "what"];
    found.extend(others.map(str::to_owned));
    assert_eq!(found, documented("The tables"));
    for heading in ["bound ±", "limit to edge (bound)", "load steps", "verdict"] {
        assert!(found.contains(heading), "{heading}");
    }
}

/// A number as a table shows it, with its prefix and unit.
fn shown(cell: &str) -> f64 {
    let (number, unit) = cell.split_once(' ').unwrap_or_else(|| panic!("{cell}"));
    let prefix = match unit.chars().next() {
        Some('G') => 1e9,
        Some('M') => 1e6,
        Some('k') => 1e3,
        Some('m') => 1e-3,
        Some('µ') => 1e-6,
        Some('n') => 1e-9,
        _ => 1.0,
    };
    prefix * number.parse::<f64>().unwrap_or_else(|_| panic!("{cell}"))
}

fn near(cell: &str, value: &Value, scale: f64) {
    let value = value.as_f64().unwrap() / scale;
    // Three digits at the least.
    let off = (shown(cell) - value).abs();
    assert!(off <= 0.006 * value.abs(), "{cell} for {value}");
}

/// Every figure of every rail stands in its place, as the object has it.
#[test]
fn the_tables_show_what_the_object_has() {
    let arguments = [SKIFF, "--for", "20", "--seed", "3"];
    let (object, table) = (json(&arguments), table(&arguments));
    let mut blocks = table.split("\n\n").skip(1);
    for rail in object["rails"].as_array().unwrap() {
        let lines: Vec<&str> = blocks.next().unwrap().lines().collect();
        let name = rail["name"].as_str().unwrap();
        assert_eq!(lines[0], format!("{name} (channel {})", rail["channel"]));
        let row = |first: usize, name: &str| {
            let found = lines[first..].iter().map(|line| cells(line));
            let found = found.into_iter().find(|cells| cells[0] == name);
            found.unwrap_or_else(|| panic!("{name}"))
        };
        for (name, key) in [("energy", "energy_j"), ("charge", "charge_c")] {
            let (figure, cells) = (&rail[key], row(2, name));
            near(cells[1], &figure["measured"], 1.0);
            near(cells[2], &figure["measured"], 3_600.0);
            near(cells[3], &figure["truth"], 1.0);
            near(cells[4], &figure["difference"], 1.0);
            near(cells[5], &figure["bound"], 1.0);
            let of = |key: &str| figure[key].as_f64().unwrap();
            let used = 100.0 * of("difference").abs() / of("bound");
            let shown: f64 = cells[6].trim_end_matches(" %").trim().parse().unwrap();
            assert!((shown - used).abs() <= 0.5, "{shown} of {used}");
            let headings = row(4, "bound of");
            let parts = row(5, name);
            assert_eq!(headings.len(), 10);
            for (heading, cell) in headings.iter().zip(&parts).skip(1) {
                near(cell, &figure["bound_parts"][heading.replace(' ', "_")], 1.0);
            }
        }
        for (name, key) in [
            ("voltage", "voltage_v"),
            ("current", "current_a"),
            ("power", "power_w"),
        ] {
            let cells = row(7, name);
            for (cell, what) in cells[1..].iter().zip(["least", "mean", "greatest"]) {
                near(cell, &rail[key][what], 1.0);
            }
        }
        near(row(7, "current")[4], &rail["mean_current_a"], 1.0);
        near(row(7, "power")[4], &rail["mean_power_w"], 1.0);
    }
    let verdict = cells(table.lines().last().unwrap())[1].to_owned();
    let of = object["verdict"]["of"].as_str().unwrap();
    assert!(verdict.contains(of), "{verdict}");
}

/// Names of one letter and of as many as there may be: columns begin where their headings do.
#[test]
fn long_names_keep_the_columns() {
    let directory = scratch("names");
    let rail = |name: &str| {
        format!(
            r#"[[rail]]
name = "{name}"
sense.resistance_ohm = 0.01
source.voltage_v = 5
load = {{ kind = "steps", initial_a = 0, steps = [[0.5, 2]] }}
[[rail.alert]]
kind = "over_current"
limit_a = 1
output = "A"
"#
        )
    };
    let text = format!(
        "title = \"t\"\nduration_s = 1\n{}{}",
        rail("A"),
        rail("Twenty-four characters €")
    );
    let scenario = directory.join("scenario.toml");
    fs::write(&scenario, text).unwrap();
    let table = table(&[scenario.to_str().unwrap()]);
    let alerts: Vec<&str> = table
        .lines()
        .skip_while(|line| !line.starts_with("alerts"))
        .take(3)
        .collect();
    let place = |line: &str, text: &str| line.split(text).next().unwrap().chars().count();
    let kind = place(alerts[0], "kind");
    for line in &alerts[1..] {
        assert_eq!(place(line, "over-current"), kind, "{table}");
        assert_eq!(line.chars().count(), alerts[0].chars().count(), "{table}");
    }
}
