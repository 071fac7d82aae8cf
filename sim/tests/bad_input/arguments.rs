//! Arguments: one line, exit status 2.

use crate::bad_input::case::{Case, RECORDING, VALID};

#[test]
fn arguments_that_are_none() {
    let case = Case::new("arguments", VALID, Some(RECORDING));
    for (arguments, about) in [
        (&["scenario.toml", "--seed", "x"][..], "--seed"),
        (
            &["scenario.toml", "--seed", "1.5"],
            "must be a whole number from 0 to 2^64 - 1",
        ),
        (
            &["scenario.toml", "--seed", "-1"],
            "must be a whole number from 0 to 2^64 - 1",
        ),
        (&["scenario.toml", "--for", "0"], "must be above 0"),
        (&["scenario.toml", "--for", "-1"], "--for"),
        (&["scenario.toml", "--for", "soon"], "--for"),
        (&["scenario.toml", "--no-such-flag"], "--no-such-flag"),
        (&["scenario.toml", "--overwrite"], "--out"),
        (&["scenario.toml", "--watch"], "--watch needs a terminal"),
        (
            &["scenario.toml", "--watch", "--out", "never"],
            "--watch needs a terminal",
        ),
        (&[], "<SCENARIO>"),
    ] {
        let output = case.run(arguments);
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(
            errors.starts_with("crake-sim: ") && errors.contains(about),
            "{errors}"
        );
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert!(output.stdout.is_empty());
    }
    assert!(!case.directory.join("never").exists());
}

#[test]
fn a_length_may_be_a_fraction_of_a_second() {
    let case = Case::new("fraction", VALID, Some(RECORDING));
    let output = case.run(&["scenario.toml", "--for", "0.5", "--json"]);
    assert!(output.status.success());
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).expect("one object");
    assert_eq!(report["duration_s"], 0.5);
    assert_eq!(report["verdict"]["holds"], true);
}
