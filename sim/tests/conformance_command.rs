//! `crake-sim conformance` as a program: its object is as docs/conformance.md has it, and its status says what it found.
#![cfg(feature = "cli")]

use std::collections::BTreeSet;
use std::process::Command;

use serde_json::Value;

fn object() -> Value {
    let program = env!("CARGO_BIN_EXE_crake-sim");
    let output = Command::new(program)
        .args(["conformance", "--json"])
        .output()
        .expect("the program");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("one JSON object")
}

/// Three parts that pass, some with checks that do not apply; at least twenty wrong maps, each found by a check that there is.
#[test]
fn the_object_tells_of_parts_and_of_wrong_maps() {
    let object = object();
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let parts = object["parts"].as_array().expect("parts");
    let names: Vec<_> = parts.iter().map(|part| text(&part["name"])).collect();
    assert_eq!(names, ["Corncrake", "Moorhen", "Gallinule"]);
    let mut checks = BTreeSet::new();
    for part in parts {
        assert_eq!(part["failed"], 0, "{part}");
        assert!(part["checks"].as_u64() > Some(20), "{part}");
        for result in part["results"].as_array().expect("results") {
            checks.insert(text(&result["name"]));
        }
    }
    let mutants = object["mutants"].as_array().expect("mutants");
    assert!(mutants.len() >= 20);
    for mutant in mutants {
        assert!(checks.contains(&text(&mutant["caught_by"])), "{mutant}");
        assert!(!text(&mutant["finding"]).is_empty(), "{mutant}");
    }
    let of = |name: &str| {
        mutants
            .iter()
            .filter(|mutant| mutant["part"] == name)
            .count()
    };
    assert!(names.iter().all(|name| of(name) > 0));
}
