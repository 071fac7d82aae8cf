//! What the program prints, and what it refuses.

use std::process::{Command, Output};

use crake_sim::run::{Silent, run};
use crake_sim::scenario::Scenario;
use serde_json::Value;

const SKIFF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/survey-skiff.toml");

fn plan(arguments: &str) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
    program.arg("plan").args(arguments.split_whitespace());
    program.output().expect("it runs")
}

fn text(arguments: &str) -> String {
    let output = plan(arguments);
    assert!(output.status.success(), "{arguments}: {output:?}");
    String::from_utf8(output.stdout).expect("text")
}

fn json(arguments: &str) -> Value {
    serde_json::from_str(&text(&format!("{arguments} --json"))).expect("one object")
}

/// By hand, from the datasheet's sections 6 and 8: 100 scans a second see an over-current of 20 ms,
/// and draw 9 µA + 301 µA × 0.5 ms ÷ 10 ms; 2000 a second draw 310 µA, and four monitors of 360 µA
/// 1.44 mA.
#[test]
fn a_plan_is_told() {
    let plan = json("--alert-within 0.05 --event 0.02 --wake-every 60");
    assert_eq!(plan["scan_period_s"], 0.01);
    assert_eq!(plan["debounce"], 1);
    assert_eq!(plan["compared_by"], "part");
    assert_eq!(plan["limit_to_edge_s"], 0.010_28);
    assert_eq!(plan["draws"]["part_a"], 24.05e-6);
    // 15 µA + 405 µA × 0.05.
    assert_eq!(plan["part_greatest_a"], 35.25e-6);
    assert_eq!(plan["full_rate"]["draws"]["part_a"], 310e-6);
    assert_eq!(plan["singles"]["total_a"], 4.0 * 360e-6);
    assert_eq!(plan["rollovers"][3]["charge_s"], 671_088.64);
    // Without the event 10 scans a second will do where an alert may take 250 ms.
    let late = json("--alert-within 0.25 --event 0.02");
    let saves = &late["demands"][1]["without_saves_a"];
    let saves = saves.as_f64().expect("amperes");
    assert!((saves - (24.05e-6 - 10.505e-6)).abs() < 20e-9, "{saves}");
    let table = text("--alert-within 0.05 --event 0.02 --wake-every 60");
    for line in [
        "mode                          continuous, a scan every 10.0 ms",
        "limit to output's edge        10.3 ms at the most",
        "sum of charge rolls over in   7.77 days at full scale",
        "this plan                          24.1 µA       32 nA      222 nA     24.3 µA",
    ] {
        assert!(table.contains(line), "{line}\n{table}");
    }
}

/// The lines are a scenario that runs as planned, and the constants are those of the guide, which
/// is compiled.
#[test]
fn the_choice_goes_into_a_scenario_and_into_firmware() {
    let asked = "--event 0.005 --alert-within 0.02 --wake-every 0.5";
    let lines = text(&format!("{asked} --toml"));
    let rails = "title = \"t\"\nduration_s = 2\n".to_owned()
        + &lines
        + "[[rail]]\nname = \"MAIN\"\nsense.resistance_ohm = 0.01\nsource.voltage_v = 5\n\
           load.current_a = 1\n";
    let scenario = Scenario::parse(&rails, "plan.toml").expect("a scenario");
    assert_eq!(scenario.parts[0].scans_per_second, 500);
    assert_eq!(scenario.bus_hz, 400_000);
    let report = run(&scenario, 1, &mut Silent).expect("it runs");
    assert!(report.verdict.holds);
    let guide = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/low-power.md");
    let guide = std::fs::read_to_string(guide).expect("the guide");
    let constants = text("--alert-within 0.05 --event 0.02 --wake-every 60 --rust");
    assert!(guide.contains(constants.trim_end()), "{constants}");
}

/// Rails of a scenario at what they come to: LOGIC's bound rules (README: 0.467 J of 3.31 J).
#[test]
fn a_scenarios_rails_are_planned_for() {
    let asked = format!("--scenario {SKIFF} --energy-percent 14");
    let percent = json(&asked)["energy_percent"].as_f64().expect("percent");
    let of_an_hour = 0.467 / 3.30834 * 100.0;
    assert!(
        (percent - of_an_hour).abs() < of_an_hour * 0.05,
        "{percent}"
    );
}

const CABIN: &str = r#"title = "A cabin"
duration_s = 100
[[part]]
name = "CABIN"
model = "moorhen"
[[rail]]
name = "LAMP"
part = "CABIN"
sense.resistance_ohm = 0.03
source.voltage_v = 12
load.current_a = 1
"#;

/// The part is the scenario's: docs/moorhen-datasheet.md has two channels and single shots alone.
/// The mean is the scenario's, too: what it allows for energy is what the flags do.
#[test]
fn a_scenario_of_another_part_is_planned_for_that_part() {
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("plan_cabin.toml");
    std::fs::write(&path, CABIN).expect("it is written");
    let path = path.to_str().expect("a path");
    let plan = json(&format!("--scenario {path} --energy-percent 5"));
    assert_eq!(plan["part"], "Moorhen");
    assert_eq!(plan["mode"], "single_shot");
    assert_eq!(plan["channels"], serde_json::json!([0]));
    assert!(plan["energy_percent"].as_f64().expect("percent") <= 5.0);
    let by_flags = json(
        "--part moorhen --channels 1 --voltage 12 --current 1 --resistance 0.03 --energy-percent 5",
    );
    assert_eq!(by_flags["part"], "Moorhen");
    let several = CABIN.replace("[[part]]", "[[part]]\nname = \"DECK\"\n[[part]]");
    std::fs::write(path, several).expect("it is written");
    let output = plan_of(path);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{errors}");
    assert!(
        errors.contains("--scenario: it has several parts"),
        "{errors}"
    );
}

fn plan_of(path: &str) -> Output {
    plan(&format!("--scenario {path} --event 1"))
}

#[test]
fn what_cannot_be_is_one_line_that_names_the_demand() {
    let skiff = format!("--scenario {SKIFF} --energy-percent 1");
    let errors = String::from_utf8(plan(&skiff).stderr).expect("text");
    assert!(errors.ends_with("(LOGIC is the worst)\n"), "{errors}");
    let device = "--part gallinule --voltage 12 --current 0.5 --resistance 1 --energy-percent 1";
    let errors = String::from_utf8(plan(device).stderr).expect("text");
    assert!(errors.contains("it measures amperes by itself"), "{errors}");
    // What is named can be asked for.
    assert!(plan("--alert-within 0.008564").status.success());
    assert!(plan("--event 0.000635").status.success());
    for (arguments, about) in [
        ("", "nothing is demanded"),
        ("--event 0", "--event"),
        ("--event -1", "--event"),
        ("--event soon", "--event"),
        (
            "--alert-within 0.001",
            "--alert-within: on a Corncrake it is at least 0.008564 s",
        ),
        (
            "--event 0.0001",
            "--event: on a Corncrake it is at least 0.000635 s",
        ),
        (
            "--wake-every 90000",
            "--wake-every: on a Corncrake it is at most 86400 s",
        ),
        (
            "--part moorhen --alert-within 0.05 --wake-every 1",
            "--alert-within and --wake-every",
        ),
        (
            &skiff,
            "--energy-percent: on a Corncrake it is at least 13.7",
        ),
        ("--energy-percent 5", "--energy-percent: of which rails"),
        ("--channels 5 --event 1", "--channels: 5: a Corncrake has 4"),
        ("--channels 0 --event 1", "--channels"),
        ("--bus-max 10 --event 1", "--bus-max"),
        ("--part heron --event 1", "--part"),
        ("--scenario none.toml --event 1", "none.toml"),
        ("--event 1 --part moorhen --toml", "--rust"),
        (
            "--voltage 5 --current 1 --resistance 20 --energy-percent 5",
            "--resistance: 20.000 Ω",
        ),
    ] {
        let output = plan(arguments);
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments}: {errors}");
        assert!(
            errors.starts_with("crake-sim: ") && errors.contains(about),
            "{errors}"
        );
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert!(output.stdout.is_empty());
    }
}
