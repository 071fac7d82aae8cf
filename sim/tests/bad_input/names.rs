//! What a rail may be called, and what of a file reaches the terminal.

use crate::bad_input::case::{Case, RECORDING, VALID};

fn named(name: &str, test: &str) -> Case {
    let scenario = VALID.replacen("name = \"LOGIC\"", &format!("name = {name}"), 1);
    Case::new(test, &scenario, Some(RECORDING))
}

#[test]
fn a_name_is_one_line_of_some_length() {
    for (name, test, about) in [
        ("\"\"", "name_empty", "must not be empty"),
        ("\"  \"", "name_blank", "must not be empty"),
        ("\"A\\nB\"", "name_line_end", "control characters"),
        ("\"A\\u001b[31mB\"", "name_escape", "control characters"),
        ("\"A\\u009bB\"", "name_second_escape", "control characters"),
        (
            "\"A-name-of-25-characters-x\"",
            "name_long",
            "24 characters",
        ),
    ] {
        named(name, test).refuses(&["scenario.toml"], "scenario.toml:7", about);
    }
    let longest = named("\"A-name-of-24-characters-\"", "name_longest");
    let shown = longest.run(&["scenario.toml"]).stdout;
    assert!(String::from_utf8_lossy(&shown).contains("A-name-of-24-characters- (channel 0)"));
}

#[test]
fn a_title_is_one_line() {
    let scenario = VALID.replacen("title = \"t\"", "title = \"a\\rb\"", 1);
    let case = Case::new("title", &scenario, Some(RECORDING));
    case.refuses(&["scenario.toml"], "scenario.toml:1", "control characters");
    let titled = |length| {
        let title = format!("title = \"{}\"", "x".repeat(length));
        VALID.replacen("title = \"t\"", &title, 1)
    };
    let case = Case::new("long", &titled(201), Some(RECORDING));
    case.refuses(&["scenario.toml"], "scenario.toml:1", "200");
    let case = Case::new("longest", &titled(200), Some(RECORDING));
    assert!(case.run(&["scenario.toml"]).status.success());
}

/// A recording's cell and a header's names are repeated in messages: spelt out, and not at length.
#[test]
fn nothing_of_a_file_reaches_the_terminal_raw() {
    let row = format!("0,\u{1b}[2J{}\n", "9".repeat(1 << 20));
    let case = Case::new("cell", VALID, Some(&row));
    case.refuses(&["scenario.toml"], "load.csv:1", "not a number");
    let errors = case.run(&["scenario.toml"]).stderr;
    assert!(errors.len() < 300 && !errors.contains(&0x1b));

    let by_name = VALID.replacen("file =", "value_column = \"amps\"\nfile =", 1);
    let header = format!("{}\u{7}\n0,1\n", "column,".repeat(1_000));
    let case = Case::new("header", &by_name, Some(&header));
    case.refuses(&["scenario.toml"], "load.csv:1", "no column is called");
    let errors = case.run(&["scenario.toml"]).stderr;
    assert!(errors.len() < 300 && !errors.contains(&0x07));
}

#[test]
fn limits_that_cross_are_told_with_both_lines() {
    let limits = "[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 0.01\noutput = \"A\"\n\
                  [[rail.alert]]\nkind = \"under_current\"\nlimit_a = 0.02\noutput = \"A\"\n";
    let case = Case::new("crossed", &format!("{VALID}{limits}"), Some(RECORDING));
    case.refuses(
        &["scenario.toml"],
        "scenario.toml:36",
        "at line 32, is 0.01",
    );
    // Both within one step of 400 nA: only the driver knows.
    let close = limits
        .replace("limit_a = 0.01\n", "limit_a = 0.0100003\n")
        .replace("limit_a = 0.02", "limit_a = 0.0100001");
    let case = Case::new("close", &format!("{VALID}{close}"), Some(RECORDING));
    case.refuses(
        &["scenario.toml"],
        "scenario.toml:32",
        "leave no code between them",
    );
}

#[test]
fn a_table_that_is_left_out_is_named() {
    let (rest, _) = VALID.split_once("[rail.load]").expect("it has one");
    let case = Case::new("no_load", rest, Some(RECORDING));
    let about = "[rail.load] is missing";
    case.refuses(&["scenario.toml"], "scenario.toml:6", about);
}
