//! The kit on the maps of this project, and on wrong ones: `crake-sim old-conformance` as a program.
//! Its object is that of the new one, with a unit besides, and its status says what it found. (Not as a
//! library: the kit is generic, and to compile it twice takes a minute.)

use std::collections::BTreeSet;
use std::process::Command;

use serde_json::Value;

fn object() -> Value {
    let program = env!("CARGO_BIN_EXE_crake-sim");
    let output = Command::new(program)
        .args(["old-conformance", "--json"])
        .output()
        .expect("the program");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("one JSON object")
}

/// Three parts that pass, some with checks that do not apply, and no check that passes without
/// having tried anything; wrong maps of each, found by the check that is about the mistake.
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
            let tried = result["tried"].as_u64() > Some(0);
            assert!(tried || result["result"] != "passed", "{result}");
        }
    }
    // The first has something to check everywhere.
    assert_eq!(parts[0]["not_applicable"], 0);
    let mutants = object["mutants"].as_array().expect("mutants");
    assert!(mutants.len() > 80);
    for mutant in mutants {
        assert!(checks.contains(&text(&mutant["expected"])), "{mutant}");
        assert_eq!(mutant["caught_by"], mutant["expected"], "{mutant}");
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
