//! Declarations that a scenario's own rails contradict are told, with the true figures; true ones
//! are not.

use std::process::Command;

use super::text::{declared, scenario, source};
use super::{documented, skiff};
use crake_sim::scenario::{Contradiction, Declared, Flow, Scenario};

pub(super) const PULSES: &str = "[rail.load]\nkind = \"pulses\"\nlow_a = 0.5\nhigh_a = 2\nperiod_s = 1\n\
                      width_s = 0.1\nfirst_s = 0.5\n";

/// What is found of one rail.
pub(super) fn found(
    duration_s: &str,
    source: &str,
    load: &str,
    declared: &str,
) -> Vec<Contradiction> {
    let text = scenario(duration_s, &[("ONE", &[source, load, declared].concat())]);
    let scenario = Scenario::parse(&text, "case.toml").unwrap();
    scenario.contradictions().unwrap()
}

/// The same as it is told.
pub(super) fn told(duration_s: &str, source: &str, load: &str, declared: &str) -> Vec<String> {
    let found = found(duration_s, source, load, declared);
    found.iter().map(ToString::to_string).collect()
}

/// What is told of pulses from 0.5 A to 2 A, twice a second, at 12 V behind 1 Ω.
fn of_pulses(duration_s: &str, from: &str, to: &str) -> Vec<String> {
    told(
        duration_s,
        &source("12", "1"),
        PULSES,
        &declared((from, to)),
    )
}

#[test]
fn shipped_and_documented_declarations_are_not_contradicted() {
    for mut scenario in [skiff(), documented()] {
        assert_eq!(scenario.contradictions(), Ok(vec![]));
        scenario.duration_ns /= 10;
        assert_eq!(scenario.contradictions(), Ok(vec![]));
    }
    assert_eq!(of_pulses("3600", "", ""), [""; 0]);
}

/// Each figure that is just true is not told, and one that is just false is.
#[test]
fn each_figure_is_held_against_the_rail() {
    let number = "rail \"ONE\": steps_per_hour = 7199, but its current jumps 7200 times in an hour";
    for (from, true_one, false_one, message) in [
        (
            "steps_per_hour = 9000",
            "steps_per_hour = 7200",
            "steps_per_hour = 7199",
            number,
        ),
        (
            "step_a = 9",
            "step_a = 1.5",
            "step_a = 1.49",
            "rail \"ONE\": step_a = 1.49, but its current jumps by 1.5 A at 0.5 s",
        ),
        (
            "greatest_a = 9",
            "greatest_a = 2",
            "greatest_a = 1.9",
            "rail \"ONE\": greatest_a = 1.9, but its current comes to 2 A at 0.5 s",
        ),
        (
            "[0, 16]",
            "[10, 11.5]",
            "[10.1, 11.5]",
            "rail \"ONE\": voltage_v from 10.1 on, but it comes to 10 V at 0.5 s",
        ),
        (
            "[0, 16]",
            "[10, 11.5]",
            "[10, 11.4]",
            "rail \"ONE\": voltage_v up to 11.4, but it comes to 11.5 V at 0 s",
        ),
    ] {
        assert_eq!(of_pulses("7200", from, true_one), [""; 0]);
        assert_eq!(of_pulses("7200", from, false_one), [message]);
        // Seconds tell the heights as much.
        assert_eq!(of_pulses("5", from, true_one), [""; 0]);
        if message != number {
            assert_eq!(of_pulses("5", from, false_one), [message]);
        }
    }
    // Ten jumps in 5 s are more than 6000 an hour make, and one, but not more than 7000.
    let edit = |number: &str| format!("steps_per_hour = {number}");
    let of_five = |number: &str| of_pulses("5", &edit("9000"), &edit(number));
    assert_eq!(of_five("7000"), [""; 0]);
    assert_eq!(of_five("6000"), [number.replace("7199", "6000")]);
}

#[test]
fn a_flow_that_comes_back_is_told() {
    let load = "[rail.load]\nkind = \"steps\"\ninitial_a = 1\nsteps = [[2, -0.25], [3, 0]]\n";
    let flow = |word: &str| {
        let declared = declared(("flow = \"both\"", &format!("flow = \"{word}\"")));
        told("5", &source("12", "0"), load, &declared)
    };
    assert_eq!(flow("both"), [""; 0]);
    let message = "rail \"ONE\": flow = \"forward\", but its current comes to -0.25 A at 2 s";
    assert_eq!(flow("forward"), [message]);
    // What comes back counts for the greatest current as well.
    let load = load.replace("-0.25", "-2.5");
    let greatest = |amps: &str| {
        let declared = declared(("greatest_a = 9", &format!("greatest_a = {amps}")));
        told("5", &source("12", "0"), &load, &declared)
    };
    assert_eq!(greatest("2.5"), [""; 0]);
    let message = "rail \"ONE\": greatest_a = 2.4, but its current comes to 2.5 A at 2 s";
    assert_eq!(greatest("2.4"), [message]);
    // Loads that share a source round to whole nanoamperes: ten are none.
    let back = |amps: &str| {
        let load = format!("[rail.load]\nkind = \"constant\"\ncurrent_a = {amps}\n");
        let declared = declared(("flow = \"both\"", "flow = \"forward\""));
        found("5", &source("12", "0"), &load, &declared)
    };
    assert_eq!(back("-0.00000001"), []);
    let told = back("-0.000000011");
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!((told[0].declared, told[0].found), (0.0, -1.1e-8));
}

/// Pulses of 1.5 A through 1 Ω, twenty jumps in 10 s, and a source that steps once; and a rail at
/// which nothing happens.
#[test]
fn what_is_not_declared_is_what_the_rail_does() {
    let jumping = "[rail.source]\nkind = \"steps\"\ninitial_v = 12\nsteps = [[2, 11]]\n\
                   impedance_ohm = 1\n";
    let none = "[rail.load]\ncurrent_a = 0\n";
    let (busy, idle) = (
        [jumping, PULSES].concat(),
        [&source("12", "1"), none].concat(),
    );
    let text = scenario("10", &[("ONE", &busy), ("TWO", &idle)]);
    let scenario = Scenario::parse(&text, "case.toml").unwrap();
    let line = |name: &str| {
        let line = text.lines().position(|line| line.contains(name));
        // That of [[rail]], before it.
        line.unwrap() as u64
    };
    let volt = 1_000_000_000;
    let expected = Declared {
        line: line("ONE"),
        steps_per_hour: 20 * 360,
        step_na: 1_500_000_000,
        voltage_steps: Some((360, volt)),
        flow: Flow::Forward,
        greatest_na: 2_000_000_000,
        mean: None,
        voltage_nv: Some((9 * volt, 23 * volt / 2)),
    };
    assert_eq!(scenario.rails[0].declared, expected);
    let expected = Declared {
        line: line("TWO"),
        steps_per_hour: 0,
        step_na: 0,
        voltage_steps: None,
        flow: Flow::Forward,
        greatest_na: 1,
        mean: None,
        voltage_nv: Some((12 * volt, 12 * volt)),
    };
    assert_eq!(scenario.rails[1].declared, expected);
}

/// A ramp to 10 A in 10 s comes to 5 A in 5 s; what is later does not count.
#[test]
fn what_comes_after_the_end_is_not_told() {
    let load = "[rail.load]\nkind = \"ramp\"\nstart_s = 0\nfrom_a = 0\nend_s = 10\nto_a = 10\n";
    let told = |greatest: &str| {
        let declared = declared(("greatest_a = 9", &format!("greatest_a = {greatest}")));
        told("5", &source("12", "0"), load, &declared)
    };
    assert_eq!(told("5"), [""; 0]);
    let message = "rail \"ONE\": greatest_a = 4.5, but its current comes to 5 A at 5 s";
    assert_eq!(told("4.5"), [message]);
}

/// 20 W from 9 V behind 1 Ω do not go: as the resistance that takes them at 8 V it pulls its input
/// down to 6.857 V.
#[test]
fn a_converter_whose_input_gives_in_is_told() {
    let pack = |impedance: &str| {
        let none = "[rail.load]\nkind = \"constant\"\ncurrent_a = 0\n";
        [&source("9", impedance), none, &declared(("", ""))].concat()
    };
    let logic = "[rail.source]\nkind = \"converter\"\ninput = \"PACK\"\nvoltage_v = 5\n\
                 efficiency = 1\ninput_down_to_v = 8\nimpedance_ohm = 0\n\
                 [rail.load]\nkind = \"constant\"\ncurrent_a = 4\n";
    let logic = [logic, &declared(("", ""))].concat();
    let found = |text: &str| {
        let scenario = Scenario::parse(text, "case.toml").unwrap();
        scenario.contradictions().unwrap()
    };
    // 9 V that do not give in are what a converter down to 9 V is made for.
    let just = logic.replace("down_to_v = 8", "down_to_v = 9");
    assert_eq!(
        found(&scenario("5", &[("PACK", &pack("0")), ("LOGIC", &just)])),
        []
    );
    let text = scenario("5", &[("PACK", &pack("1")), ("LOGIC", &logic)]);
    let found = found(&text);
    let [found] = found.as_slice() else {
        panic!("{found:?}");
    };
    // 64 V² / 20 W = 3.2 Ω beside 1 Ω: 9 V × 3.2/4.2.
    assert_eq!(
        (found.rail.as_str(), found.key, found.declared),
        ("LOGIC", "input_down_to_v", 8.0)
    );
    assert!((found.found - 9.0 * 3.2 / 4.2).abs() < 1e-8, "{found}");
    let told = format!(
        "rail \"LOGIC\": input_down_to_v = 8, but its converter's input comes to {} V at 0 s",
        found.found
    );
    assert_eq!(found.to_string(), told);
    let line = text
        .lines()
        .position(|line| line.starts_with("input = "))
        .unwrap();
    assert_eq!(found.line, line as u64 + 1);
}

/// The program says it before the run with the place, and in table and object.
#[test]
fn a_run_tells_what_is_contradicted() {
    let rest = [
        &source("12", "1"),
        PULSES,
        &declared(("step_a = 9", "step_a = 1")),
    ]
    .concat();
    let text = scenario("3", &[("ONE", &rest)]);
    let line = 1 + text
        .lines()
        .position(|line| line == "[rail.load_declared]")
        .unwrap();
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("contradicted.toml");
    std::fs::write(&path, text).unwrap();
    let run = |more: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
        let output = command.arg("run").arg(&path).args(more).output().unwrap();
        assert_eq!(
            output.status.code(),
            Some(0),
            "totals are within their bounds all the same"
        );
        let told = String::from_utf8(output.stderr).unwrap();
        let message = "rail \"ONE\": step_a = 1, but its current jumps by 1.5 A at 0.5 s";
        assert_eq!(
            told,
            format!("crake-sim: {}:{line}: {message}\n", path.display())
        );
        String::from_utf8(output.stdout).unwrap()
    };
    let table = run(&[]);
    let told = "\ndeclared   rail \"ONE\": step_a = 1, but its current jumps by 1.5 A at 0.5 s\n\
                verdict    holds: ";
    assert!(table.contains(told), "{table}");
    let doubt = "; bounds lean on what is declared, and that is contradicted\n";
    assert!(table.ends_with(doubt), "{table}");
    let object: serde_json::Value = serde_json::from_str(&run(&["--json"])).unwrap();
    let told = serde_json::json!([{
        "rail": "ONE", "line": line, "key": "step_a", "declared": 1.0, "found": 1.5, "time_s": 0.5
    }]);
    assert_eq!(object["contradictions"], told);
}
