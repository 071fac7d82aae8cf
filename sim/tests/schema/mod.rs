//! JSON Schemas: of what the program prints, held against what it prints; of the scenario file,
//! held against the reader.

mod outputs;
mod scenario;

use std::process::Command;

use jsonschema::Validator;
use serde_json::Value;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

fn printed(arguments: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
    let output = command.current_dir(ROOT).args(arguments).output().unwrap();
    assert!(output.status.success(), "{arguments:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn schema(name: &str) -> Value {
    serde_json::from_str(&printed(&["schema", name])).unwrap()
}

/// By a library that knows nothing of this project.
fn validator(schema: &Value) -> Validator {
    jsonschema::draft202012::meta::validate(schema).unwrap();
    jsonschema::draft202012::new(schema).unwrap()
}
