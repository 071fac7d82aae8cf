//! The conformance kit: `crake-sim conformance` as a program, on this project's parts and on wrong
//! maps of them; and as a library, on small scripted parts with one habit each.

mod dotterel;
mod habits;

use std::collections::BTreeSet;
use std::process::Command;

use serde_json::Value;

fn printed(arguments: &[&str]) -> Value {
    let program = env!("CARGO_BIN_EXE_crake-sim");
    let mut command = Command::new(program);
    let output = command.args(arguments).output().expect("the program");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("one JSON object")
}

/// Parts that pass, with no check that passes without having tried anything; wrong maps, each found
/// by the check that is about the mistake, with something to say.
#[test]
fn the_object_tells_of_parts_and_of_wrong_maps() {
    let object = printed(&["conformance", "--json"]);
    let schema = printed(&["schema", "conformance"]);
    let validator = jsonschema::draft202012::new(&schema).expect("a schema");
    let mistakes = validator.iter_errors(&object).map(|it| it.to_string());
    assert_eq!(mistakes.collect::<Vec<_>>(), [""; 0]);
    // It is about this object: without one of its keys it is another.
    for key in ["parts", "mutants"] {
        let mut less = object.clone();
        less.as_object_mut().expect("an object").remove(key);
        assert!(!validator.is_valid(&less), "without {key}");
    }
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let parts = object["parts"].as_array().expect("parts");
    let mut checks = BTreeSet::new();
    for part in parts {
        assert_eq!(part["failed"], 0, "{part}");
        for result in part["results"].as_array().expect("results") {
            checks.insert(text(&result["name"]));
            let tried = result["tried"].as_u64() > Some(0);
            assert!(tried || result["result"] != "passed", "{result}");
        }
    }
    // The first has something to check everywhere.
    assert_eq!(parts[0]["name"], "Corncrake");
    assert_eq!(parts[0]["not_applicable"], 0);
    let mutants = object["mutants"].as_array().expect("mutants");
    assert!(mutants.len() >= 60);
    for mutant in mutants {
        assert!(checks.contains(&text(&mutant["expected"])), "{mutant}");
        assert_eq!(mutant["caught_by"], mutant["expected"], "{mutant}");
        assert!(!text(&mutant["finding"]).is_empty(), "{mutant}");
    }
}
