//! A board's log beside the bench.

use super::*;

/// The board's resistor of MODEM is twice the declared one: half of its current is not there.
#[test]
fn a_sense_resistor_of_twice_its_value_is_told_with_rail_and_ratio() {
    let directory = scratch("twice");
    let skiff = fs::read_to_string(format!("{ROOT}/{SKIFF}")).unwrap();
    let skiff = skiff.replace("../tests", &format!("{ROOT}/tests"));
    let fault = "\n[[fault]]\nkind = \"sense_value\"\nrail = \"MODEM\"\nresistance_ohm = 0.04\n";
    let board = directory.join("board.toml");
    fs::write(&board, skiff + fault).unwrap();
    let out = directory.to_str().unwrap();
    let run = [
        "run",
        board.to_str().unwrap(),
        "--seed",
        "7",
        "--for",
        "60",
        "--out",
        out,
    ];
    // The verdict fails: the totals lie outside their bounds.
    assert_eq!(program(&run).status.code(), Some(1));
    let path = directory.join("readings.csv");
    let path = path.to_str().unwrap();
    let output = program(&["characterise", path, "--against", SKIFF, "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        said.contains("log and bench differ by more than both bounds"),
        "{said}"
    );
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let differences = told["differences"].as_array().unwrap();
    assert_eq!(differences.len(), 12);
    for one in differences {
        let differs = one["rail"] == "MODEM" && one["of"] != "voltage_v";
        assert_eq!(one["differs"], differs, "{one:#}");
        if differs {
            let (ratio, bound) = (number(one, "/ratio"), number(one, "/ratio_bound"));
            assert!(
                (ratio - 2.0).abs() <= bound && bound < 0.3,
                "{ratio} ± {bound}"
            );
        }
    }
    let printed = program(&["characterise", path, "--against", SKIFF]);
    let printed = String::from_utf8(printed.stdout).unwrap();
    assert_eq!(printed.matches("DIFFERS").count(), 2, "{printed}");
}

/// Another individual of the same board agrees.
#[test]
fn another_board_of_the_same_kind_agrees() {
    let directory = scratch("same");
    let out = directory.to_str().unwrap();
    json(&["run", SKIFF, "--seed", "9", "--for", "60", "--out", out]);
    let path = directory.join("readings.csv");
    json(&["characterise", path.to_str().unwrap(), "--against", SKIFF]);
}

/// The skiff, but for its duration, and 60 s of readings of the whole one.
fn shorter(name: &str, duration_s: u32) -> (String, PathBuf) {
    let directory = scratch(name);
    let out = directory.to_str().unwrap();
    json(&["run", SKIFF, "--for", "60", "--out", out]);
    let skiff = fs::read_to_string(format!("{ROOT}/{SKIFF}")).unwrap();
    let skiff = skiff.replace("../tests", &format!("{ROOT}/tests"));
    let (before, after) = skiff.split_once("duration_s = ").unwrap();
    let (_, after) = after.split_once('\n').unwrap();
    let scenario = directory.join("scenario.toml");
    fs::write(
        &scenario,
        format!("{before}duration_s = {duration_s}\n{after}"),
    )
    .unwrap();
    (scenario.to_str().unwrap().to_owned(), directory)
}

fn refusal(arguments: &[&str]) -> String {
    let output = program(arguments);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    String::from_utf8(output.stderr).unwrap()
}

/// A log that outlasts the scenario is refused; its first seconds are compared. Shifted by a day it
/// begins with the scenario, and is as long.
#[test]
fn a_log_longer_than_the_scenario_is_refused() {
    let (scenario, directory) = shorter("longer", 20);
    let path = directory.join("readings.csv");
    let shifted = directory.join("shifted.csv");
    let text = fs::read_to_string(&path).unwrap();
    let later = |line: &str| match line.split_once(',') {
        Some(("time_s", _)) | None => format!("{line}\n"),
        Some((at, rest)) => format!("{:.6},{rest}\n", at.parse::<f64>().unwrap() + 86_400.0),
    };
    fs::write(&shifted, text.lines().map(later).collect::<String>()).unwrap();
    for (path, begin_s) in [(path, 0.0), (shifted, 86_400.0)] {
        let against = [
            "characterise",
            path.to_str().unwrap(),
            "--against",
            &scenario,
        ];
        assert_eq!(
            refusal(&against),
            "crake-sim: --against: the log lasts 59 s, the scenario 20 s: take the first of the \
             log with --for 20, or give the scenario a longer duration_s\n"
        );
        let told = json(&[&against[..], &["--for", "20"]].concat());
        assert_eq!(told["differences"].as_array().unwrap().len(), 12);
        for rail in 0..4 {
            let to_s = number(&told, &format!("/rails/{rail}/to_s")) - begin_s;
            assert!((19.0..=21.0).contains(&to_s), "{to_s}");
        }
    }
}

/// A rail that only the log has is refused by name; those that only the scenario has are named,
/// and what both have is compared.
#[test]
fn rails_that_only_one_side_has_are_named() {
    let (scenario, directory) = shorter("rails", 60);
    let path = directory.join("readings.csv");
    let text = fs::read_to_string(&path).unwrap();
    let rows = text
        .lines()
        .filter(|row| row.contains("rail") || row.contains(",LOGIC,"));
    let rows: String = rows.map(|row| format!("{row}\n")).collect();
    fs::write(&path, &rows).unwrap();
    let against = [
        "characterise",
        path.to_str().unwrap(),
        "--against",
        &scenario,
    ];
    let told = json(&against);
    let differences = told["differences"].as_array().unwrap();
    assert_eq!(differences.len(), 3);
    assert!(differences.iter().all(|one| one["rail"] == "LOGIC"));
    let lacking = ["DRIVE", "CELL", "MODEM"];
    assert_eq!(told["not_logged"], serde_json::json!(lacking));
    let printed = String::from_utf8(program(&against).stdout).unwrap();
    for rail in lacking {
        let line = format!("  {rail} is not in the log and not compared: log it, or take it out");
        assert!(printed.contains(&line), "{printed}");
    }

    fs::write(&path, rows + "61,RADIO,3.3,1,3.3,0,0,0\n").unwrap();
    assert_eq!(
        refusal(&against),
        "crake-sim: --against: the scenario has no rail \"RADIO\" as the log does; it has \
         \"DRIVE\", \"CELL\", \"LOGIC\", \"MODEM\": rename one of them, with --rail where the log \
         has no names\n"
    );
}
