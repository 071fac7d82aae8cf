//! What is written is tried: Rust that is compiled here and run on the bench, a scenario that runs.

use core::time::Duration;
use std::fs;
use std::path::PathBuf;

use crake::part::corncrake::{Address, Corncrake};
use crake::part::moorhen;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::part::{corncrake as model, moorhen as other};
use crake_sim::plant::{Constant, Rail, Source};
use crake_sim::scenario::Scenario;

use super::*;

/// The directory with what was written.
fn written(name: &str, arguments: &str) -> PathBuf {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&directory);
    let out = ["--out", directory.to_str().unwrap()];
    let output = shunt_with(arguments.split_whitespace().chain(out));
    assert!(output.status.success(), "{output:?}");
    assert_eq!(
        fs::read(directory.join("shunt.txt")).unwrap(),
        output.stdout
    );
    directory
}

/// 12 V and 50 mA.
fn rail() -> Rail {
    let constant = |value| Constant::new(value).unwrap();
    Rail::new(Source::of(constant(12_000_000_000)), constant(50_000_000)).unwrap()
}

/// Through 11 mΩ ± 1 %, in each channel: within 5 % at 50 mA, as was asked.
#[test]
fn board_and_configuration_are_firmware() {
    let directory = written("shunt_board", EXAMPLE);
    let text = fs::read_to_string(directory.join("board.rs")).unwrap();
    assert_eq!(text, include_str!("board.rs"));

    let bench = Bench::new(7);
    let part = bench.part(model::Corncrake::new(0x32)).unwrap();
    let resistor = SenseResistor::ideal(11_000_000).individual(0.01, 0.0);
    part.rail(0, rail(), resistor).unwrap();
    let chip = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(bench.i2c(), bench.delay(), chip, &board::BOARD);
    monitor.init(&board::CONFIG).unwrap();
    bench.run_for(Duration::from_millis(10));
    let reading = monitor.sample().unwrap().reading(Channel::C0).unwrap();
    let off_na = (reading.current.as_nanoamps() - 50_000_000).abs();
    assert!((100_000..=2_500_000).contains(&off_na), "{off_na}");
}

#[test]
fn board_and_configuration_of_another_part() {
    let arguments = "--voltage 12 --least 0.5 --greatest 5 --error 20 --part moorhen --both-ways \
                     --filter-resistance 10 --filter-capacitance 1e-7";
    let directory = written("shunt_moorhen", arguments);
    let text = fs::read_to_string(directory.join("board.rs")).unwrap();
    assert_eq!(text, include_str!("board_moorhen.rs"));
    // Scenarios have no Moorhen.
    assert!(!directory.join("scenario.toml").exists());

    let bench = Bench::new(7);
    let part = bench.part(other::Moorhen::new(0x17)).unwrap();
    let resistor = SenseResistor::ideal(13_000_000);
    part.rail(0, rail(), resistor).unwrap();
    let chip = moorhen::Moorhen::new(moorhen::Address::Strap0);
    let mut monitor = Monitor::new(bench.i2c(), bench.delay(), chip, &board_moorhen::BOARD);
    monitor.init(&board_moorhen::CONFIG).unwrap();
    let reading = monitor.sample().unwrap().reading(Channel::C0).unwrap();
    assert!(reading.current.as_milliamps().abs_diff(50) < 100);
}

#[test]
fn the_scenario_holds_on_the_bench() {
    let directory = written("shunt_scenario", EXAMPLE);
    let path = directory.join("scenario.toml");
    let scenario = Scenario::load(&path).unwrap();
    let sense = &scenario.rails[0].sense;
    assert_eq!(sense.resistance_nohm, 11_000_000);
    assert_eq!(sense.tolerance_ppm, 10_000);
    let mut run = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
    let output = run.arg("run").arg(&path).arg("--json").output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(report["verdict"]["holds"], true);
    // 10 s each of 50 mA and 5 A.
    assert!((report["rails"][0]["charge_c"]["truth"].as_f64().unwrap() - 50.5).abs() < 0.01);
}

/// Rails of a scenario keep what it says of them: DRIVE's 8.1 A both ways and 16.2 V, LOGIC's
/// 0.5 %.
#[test]
fn a_scenario_says_the_rest() {
    let directory = written(
        "shunt_skiff",
        "--scenario examples/survey-skiff.toml --decades 2 --error 10",
    );
    let object = fs::read_to_string(directory.join("shunt.json")).unwrap();
    let object: serde_json::Value = serde_json::from_str(&object).unwrap();
    let rails = object["rails"].as_array().unwrap();
    let names: Vec<_> = rails
        .iter()
        .map(|rail| rail["rail"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["DRIVE", "CELL", "LOGIC", "MODEM"]);
    let asked = &rails[0]["demands"];
    assert_eq!(
        (&asked["greatest_a"], &asked["least_a"], &asked["voltage_v"]),
        (&8.1.into(), &0.081.into(), &16.2.into())
    );
    assert_eq!(asked["both_ways"], true);
    assert_eq!(asked["mean_a"], 1.6);
    let rust = fs::read_to_string(directory.join("board.rs")).unwrap();
    assert!(rust.contains(".with_mean(Current::from_milliamps(1_600), 600)"));
    assert_eq!(rails[2]["demands"]["tolerance"], 0.005);
    for rail in rails {
        let budgets = rail["budgets"].as_array().unwrap();
        let first = &budgets[0]["current_a"];
        let parts = first["contributions"].as_array().unwrap().iter();
        let number = |value: &serde_json::Value| value.as_f64().unwrap();
        let sum: f64 = parts.map(|part| number(&part["limit"])).sum();
        assert!((sum / number(&first["worst_case"]) - 1.0).abs() < 1e-12);
        assert!(number(&first["worst_case"]) <= 0.1 * number(&asked_least(rail)));
        assert!((number(&first["expanded"]) / number(&first["standard"]) - 2.0).abs() < 1e-12);
    }
    // Four rails that the bench runs.
    assert_eq!(
        Scenario::load(directory.join("scenario.toml"))
            .unwrap()
            .rails
            .len(),
        4
    );
}

fn asked_least(rail: &serde_json::Value) -> serde_json::Value {
    rail["demands"]["least_a"].clone()
}

/// Two parts: one that this command knows resistors for, one that has none to choose.
const HOUSE: &str = r#"title = "A house and a pump"
duration_s = 100
[[part]]
name = "CABIN"
model = "moorhen"
[[part]]
name = "POWER"
model = "gallinule"
[[rail]]
name = "LAMP \u00E9\u0301'\"\\"
part = "CABIN"
sense.resistance_ohm = 0.03
source.voltage_v = 12
load.current_a = 1
load_declared = { greatest_a = 1.5, steps_per_hour = 0, step_a = 1, flow = "forward", voltage_v = [0, 13] }
[[rail]]
name = "PUMP"
part = "POWER"
source.voltage_v = 12
load.current_a = 1
"#;

/// The part is the scenario's, and stands in what is printed and written.
#[test]
fn a_scenarios_part_measures() {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("shunt_house.toml");
    fs::write(&path, HOUSE).unwrap();
    let file = path.to_str().unwrap();
    let of = |more: &[&'static str]| {
        let asked = ["--scenario", file, "--decades", "1", "--error", "20"];
        shunt_with(asked.into_iter().chain(more.iter().copied()))
    };
    for (more, about) in [
        (&[][..], "those of several parts; name one by --rail"),
        (
            &["--rail", "PUMP"],
            "a Gallinule measures amperes by itself",
        ),
    ] {
        let output = of(more);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{errors}");
        assert!(errors.contains(about), "{errors}");
    }

    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("shunt_house");
    let _ = fs::remove_dir_all(&directory);
    let rail = "LAMP \u{e9}\u{301}'\"\\";
    let out = directory.to_str().unwrap();
    let asked = ["--scenario", file, "--decades", "1", "--error", "20"];
    let output = shunt_with(asked.into_iter().chain(["--rail", rail, "--out", out]));
    assert!(output.status.success(), "{output:?}");
    let tables = String::from_utf8(output.stdout).unwrap();
    assert!(tables.contains("measured by Moorhen"), "{tables}");
    let board = fs::read_to_string(directory.join("board.rs")).unwrap();
    assert!(
        board.contains("use crake::part::moorhen::Moorhen;"),
        "{board}"
    );
    assert!(!directory.join("scenario.toml").exists());

    // A Corncrake's scenario has the name, too.
    let deck = HOUSE.replacen(
        "name = \"CABIN\"\nmodel = \"moorhen\"",
        "name = \"CABIN\"",
        1,
    );
    fs::write(&path, deck).unwrap();
    let asked = asked
        .into_iter()
        .chain(["--rail", rail, "--out", out, "--overwrite"]);
    assert!(shunt_with(asked).status.success());
    let scenario = Scenario::load(directory.join("scenario.toml")).unwrap();
    assert_eq!(scenario.rails[0].name, rail);
}
