//! The first scenario: written by the program, and the least that is one.

use std::fs;
use std::process::Command;

use crate::bad_input::case::Case;

fn new(case: &Case, file: &str) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .current_dir(&case.directory)
        .args(["new", file])
        .output()
        .expect("it starts")
}

/// What the program says of a scenario that must hold.
fn holds(case: &Case, file: &str) -> serde_json::Value {
    let output = case.run(&[file, "--json"]);
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!((errors.as_str(), output.status.code()), ("", Some(0)));
    serde_json::from_slice(&output.stdout).expect("one object")
}

#[test]
fn a_new_scenario_runs_and_stays_as_it_is() {
    let case = Case::new("new", "", None);
    assert!(new(&case, "mine.toml").status.success());
    // Thirty pulses of 1.5 A in 60 s, each of them over 1.2 A.
    let report = holds(&case, "mine.toml");
    assert_eq!(report["alerts"].as_array().map(Vec::len), Some(30));

    fs::write(case.directory.join("mine.toml"), "my own").expect("a file");
    for (file, about) in [("mine.toml", "there already"), ("no/mine.toml", "written")] {
        let before = case.contents();
        let output = new(&case, file);
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2));
        assert!(
            errors.starts_with(&format!("crake-sim: {file}: ")) && errors.contains(about),
            "{errors}"
        );
        assert_eq!((errors.lines().count(), case.contents()), (1, before));
    }
}

/// Every key that it only mentions may be taken as it stands.
#[test]
fn what_a_new_scenario_mentions_is_right() {
    let case = Case::new("new_all", "", None);
    assert!(new(&case, "mine.toml").status.success());
    let path = case.directory.join("mine.toml");
    let text = fs::read_to_string(&path).expect("it was written");
    let mut mentioned = 0;
    let all: String = text
        .lines()
        .map(|line| {
            let key = line.strip_prefix('#').filter(|key| !key.starts_with(' '));
            mentioned += usize::from(key.is_some());
            format!("{}\n", key.unwrap_or(line))
        })
        .collect();
    assert!(mentioned > 20, "{mentioned}");
    fs::write(&path, all).expect("a file");
    holds(&case, "mine.toml");
}

/// docs/scenario.md shows it: one rail, a sense resistor, a load, and a verdict that holds.
#[test]
fn the_least_scenario_has_ten_lines_at_the_most() {
    const DOCUMENT: &str = include_str!("../../../docs/scenario.md");
    let (_, rest) = DOCUMENT
        .split_once("## The least\n")
        .expect("it has a heading");
    let (_, rest) = rest.split_once("```toml\n").expect("it is shown");
    let (text, _) = rest.split_once("```").expect("it ends");
    assert!(text.lines().count() <= 10, "{text}");
    let case = Case::new("least", text, None);
    let report = holds(&case, "scenario.toml");
    let rail = &report["rails"][0];
    // 1 A at 5 V for 10 s, but for the milliseconds until the totals begin; 1 % of the resistor,
    // and less of everything else.
    let near = |what: &str, figure: &serde_json::Value, value: f64| {
        let [truth, bound] = ["truth", "bound"].map(|key| figure[key].as_f64().expect("one"));
        assert!((truth / value - 1.0).abs() < 0.001, "{what}: {truth}");
        assert!(
            bound > 0.01 * value && bound < 0.03 * value,
            "{what}: {bound}"
        );
    };
    near("charge", &rail["charge_c"], 10.0);
    near("energy", &rail["energy_j"], 50.0);
}

/// What is not declared is taken as the load has it: steps as narrow as they are, current both
/// ways.
#[test]
fn a_load_that_is_not_declared_is_declared_as_it_is() {
    let scenario = |declared: &str| {
        format!(
            r#"title = "t"
duration_s = 100
part.scan_rate = 500
[[rail]]
name = "BOTH"
sense.resistance_ohm = 0.01
source = {{ kind = "steps", initial_v = 5, steps = [[30, 4], [60, 6]], impedance_ohm = 0.1 }}
load = {{ kind = "steps", initial_a = 1, steps = [[10, -0.5], [20, 2], [30, 1]] }}
{declared}
"#
        )
    };
    let case = Case::new("undeclared", &scenario(""), None);
    let undeclared = holds(&case, "scenario.toml");
    // Three steps of the current and two of the voltage in 100 s: 108 and 72 an hour. 4 V less 1 A
    // through 0.1 Ω; 6 V less the same.
    let declared = "load_declared = { steps_per_hour = 108, step_a = 2.5, flow = \"both\", \
                    greatest_a = 2, voltage_steps_per_hour = 72, voltage_step_v = 2, \
                    voltage_v = [3.9, 5.9] }";
    let case = Case::new("declared", &scenario(declared), None);
    let declared = holds(&case, "scenario.toml");
    for total in ["charge_c", "energy_j"] {
        assert_eq!(
            undeclared["rails"][0][total]["bound"],
            declared["rails"][0][total]["bound"]
        );
    }
}
