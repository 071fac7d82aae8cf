//! What `--out` leaves behind.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::report::{SKIFF, documented, json, run, scratch, without_wall};

fn rows(path: &Path) -> Vec<Vec<String>> {
    let text = fs::read_to_string(path).unwrap();
    let row = |line: &str| line.split(',').map(str::to_owned).collect();
    text.lines().map(row).collect()
}

#[test]
fn the_report_is_saved_as_it_is_printed() {
    let directory = scratch("saved");
    let out = directory.join("out");
    let arguments = [SKIFF, "--for", "10", "--out", out.to_str().unwrap()];
    let output = run(&arguments);
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(fs::read(out.join("report.txt")).unwrap(), output.stdout);
    let saved = fs::read(out.join("report.json")).unwrap();
    let saved: Value = serde_json::from_slice(&saved).unwrap();
    assert_eq!(
        without_wall(&saved),
        without_wall(&json(&[SKIFF, "--for", "10"]))
    );
}

/// One row per alert, and an empty cell where there is no figure.
#[test]
fn alerts_stand_in_a_file_of_their_own() {
    let directory = scratch("alerts");
    let object = json(&[SKIFF, "--for", "20", "--out", directory.to_str().unwrap()]);
    let rows = rows(&directory.join("alerts.csv"));
    let columns = rows[0].iter().cloned().collect();
    assert_eq!(documented("alerts.csv"), columns);
    let alerts = object["alerts"].as_array().unwrap();
    assert_eq!((rows.len() - 1, alerts.len()), (9, 9));
    for (row, alert) in rows[1..].iter().zip(alerts) {
        for (column, cell) in rows[0].iter().zip(row) {
            let same = match &alert[column] {
                Value::Null => cell.is_empty(),
                Value::String(text) => cell == text,
                number => cell.parse().ok() == number.as_f64(),
            };
            assert!(same, "{column}: {cell} for {}", alert[column]);
        }
    }
}

/// A reading every 0.997 s: the sixth after one comes 5.982 s later, as near to 6 s as they come.
/// The last is there in any case.
#[test]
fn readings_are_thinned_on_request_alone() {
    let directory = scratch("thinned");
    let read = |name: &str, every: &[&str]| {
        let out = directory.join(name);
        let arguments = [SKIFF, "--for", "30", "--out", out.to_str().unwrap()];
        json(&[&arguments, every].concat());
        rows(&out.join("readings.csv"))
    };
    let whole = read("whole", &[]);
    let thin = read("thin", &["--readings-every", "6.2"]);
    assert_eq!(whole.len(), 1 + 31 * 4);
    // The first, the 7th, 13th, 19th and 25th, and the last.
    let expected = [0, 6, 12, 18, 24, 30].map(|sample| &whole[1 + 4 * sample..5 + 4 * sample]);
    assert_eq!(thin[0], whole[0]);
    assert_eq!(thin[1..], expected.concat());
}
