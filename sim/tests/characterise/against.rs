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
