//! What is suggested, run back on the bench.

use toml::{Table, Value as Toml};

use super::*;

/// The skiff with what a log suggests in place of its own declarations and limits.
fn spliced(snippet: &str, directory: &Path) -> String {
    let text = fs::read_to_string(format!("{ROOT}/{SKIFF}")).unwrap();
    let mut scenario: Table = text
        .replace("../tests", &format!("{ROOT}/tests"))
        .parse()
        .unwrap();
    let suggested: Table = snippet.parse().unwrap();
    for rail in scenario["rail"].as_array_mut().unwrap() {
        let rail = rail.as_table_mut().unwrap();
        let mut all = suggested["rail"].as_array().unwrap().iter();
        let of = all.find(|of| of["name"] == rail["name"]).unwrap();
        for key in ["load_declared", "alert"] {
            rail.insert(key.to_owned(), of[key].clone());
        }
    }
    let path = directory.join("suggested.toml");
    fs::write(&path, toml::to_string(&Toml::Table(scenario)).unwrap()).unwrap();
    path.to_str().unwrap().to_owned()
}

/// Every scan of five minutes: what it suggests brings no alert, is contradicted by nothing, and
/// makes bounds that hold and are at most a fifth greater than those of the skiff's own
/// declarations.
#[test]
fn what_every_scan_suggests_is_true_and_tight() {
    let directory = scratch("scans");
    let out = directory.to_str().unwrap();
    let own = json(&["run", SKIFF, "--for", "300", "--every-scan", "--out", out]);
    let scans = directory.join("scans.csv");
    let told = json(&["characterise", scans.to_str().unwrap()]);
    let rows = told["rails"][0]["readings"].as_u64().unwrap();
    // 2000 a second, at an oscillator of ±1.5 %.
    assert!((591_000..609_000).contains(&rows), "{rows}");
    let scenario = spliced(told["scenario_snippet"].as_str().unwrap(), &directory);
    let back = json(&["run", &scenario, "--for", "300"]);
    assert_eq!(
        back["alerts"].as_array().unwrap().len(),
        0,
        "{:#}",
        back["alerts"]
    );
    assert_eq!(back["contradictions"].as_array().unwrap().len(), 0);
    assert_eq!(back["verdict"]["holds"], true);
    for (own, back) in own["rails"]
        .as_array()
        .unwrap()
        .iter()
        .zip(back["rails"].as_array().unwrap())
    {
        for total in ["charge_c", "energy_j"] {
            let bound = |rail: &Value| rail[total]["bound"].as_f64().unwrap();
            let ratio = bound(back) / bound(own);
            assert!(ratio <= 1.2, "{} {total}: {ratio}", own["name"]);
        }
    }
    fs::remove_file(scans).unwrap();
}

/// A reading every 0.997 s hides the modem's pulses of 2 ms: the log says so.
#[test]
fn readings_that_hide_pulses_say_so() {
    let directory = scratch("readings");
    json(&[
        "run",
        SKIFF,
        "--for",
        "300",
        "--out",
        directory.to_str().unwrap(),
    ]);
    let path = directory.join("readings.csv");
    let told = json(&["characterise", path.to_str().unwrap()]);
    let unseen = |rail: usize| told["rails"][rail]["unseen"].to_string();
    for rail in 0..4 {
        assert!(
            unseen(rail).contains("what is shorter than 1.99"),
            "{}",
            unseen(rail)
        );
    }
    for rail in [2, 3] {
        assert!(
            unseen(rail).contains("the log's own totals"),
            "{}",
            unseen(rail)
        );
    }
    // The totals are right all the same: 0.06173 A in the mean.
    let total_a = number(&told, "/rails/3/total_current_a");
    assert!((total_a - 0.0617).abs() < 1e-4, "{total_a}");
    assert!(
        told["scenario_snippet"]
            .as_str()
            .unwrap()
            .contains("# cannot be seen: what is")
    );
    let printed = program(&["characterise", path.to_str().unwrap()]);
    let printed = String::from_utf8(printed.stdout).unwrap();
    assert!(
        printed.contains("  cannot be seen: the mean: readings give"),
        "{printed}"
    );
}

/// Names that differ in what no constant can have make constants that differ all the same; what
/// is not used is not imported.
#[test]
fn constants_are_valid_and_unique() {
    let names = ["A-B", "A B", "a_b_2", "A/B", "1st", "é", "ü", "fn", "_"];
    let snippet = |name: &str, head: &str, volts: &str| {
        let rows = names.map(|name| format!("0,{name},1{volts}\n"));
        let told = json(&[
            "characterise",
            &log(name, &(head.to_owned() + &rows.concat())),
        ]);
        told["rust_snippet"].as_str().unwrap().to_owned()
    };
    let text = snippet("constants", "t,rail,i,v\n", ",5");
    assert!(text.contains("use crake::units::{Current, Voltage};\n"));
    let constants = text
        .lines()
        .filter_map(|line| line.strip_prefix("pub const "));
    let mut constants: Vec<_> = constants
        .map(|line| line.split(':').next().unwrap())
        .collect();
    // A load and voltages of each rail, and the limits.
    assert_eq!(constants.len(), 2 * names.len() + 1);
    for name in &constants {
        assert!(
            name.starts_with(|first: char| first.is_ascii_uppercase()),
            "{name}"
        );
        let is_fit = |it: char| it.is_ascii_uppercase() || it.is_ascii_digit() || it == '_';
        assert!(name.chars().all(is_fit), "{name}");
    }
    constants.sort_unstable();
    assert!(
        constants.windows(2).all(|pair| pair[0] != pair[1]),
        "{constants:?}"
    );

    let text = snippet("no-voltage", "t,rail,i\n", "");
    assert!(text.contains("use crake::units::Current;\n") && !text.contains("Voltage"));
}
