//! The page that `run --out` writes, against the other files of the same run; and that of a log.
//! `.ci/page` opens both in a browser.

mod log;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
const HOSTILE: &str = "sim/tests/page/hostile.toml";
const NAMES: [&str; 2] = ["<script>", "\"><img src=x onerror=a>"];

/// Runs a scenario and gives its directory and its page.
fn run(name: &str, arguments: &[&str]) -> (PathBuf, String) {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("page")
        .join(name);
    let output = Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .current_dir(ROOT)
        .arg("run")
        .args(arguments)
        .args(["--overwrite", "--out", directory.to_str().unwrap()])
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{errors}");
    let page = fs::read_to_string(directory.join("report.html")).unwrap();
    (directory, page)
}

/// What the charts of a page are drawn from.
fn figures(page: &str) -> Vec<Value> {
    let pieces = page.split("<script type=\"application/json\">").skip(1);
    let data = pieces.map(|piece| piece.split("</script>").next().unwrap());
    data.map(|data| serde_json::from_str(data).unwrap())
        .collect()
}

fn numbers(list: &Value) -> Vec<f64> {
    let numbers = list.as_array().unwrap().iter();
    numbers.map(|number| number.as_f64().unwrap()).collect()
}

fn object(directory: &Path) -> Value {
    serde_json::from_slice(&fs::read(directory.join("report.json")).unwrap()).unwrap()
}

fn alike(one: f64, other: f64, digits: i32) -> bool {
    (one - other).abs() <= other.abs() * 10f64.powi(-digits)
}

/// Every reading is in the charts, and each bound of a total at the end is the report's.
#[test]
fn charts_show_the_readings() {
    let (directory, page) = run("readings", &["examples/survey-skiff.toml", "--for", "20"]);
    let mut rows = csv::Reader::from_path(directory.join("readings.csv")).unwrap();
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    let report = object(&directory);
    let figures = figures(&page);
    for rail in report["rails"].as_array().unwrap() {
        let name = rail["name"].as_str().unwrap();
        let of_rail = format!("{name}: readings and totals");
        let figure = figures
            .iter()
            .find(|figure| figure["caption"] == of_rail)
            .unwrap();
        let rows: Vec<_> = rows.iter().filter(|row| &row[1] == name).collect();
        assert_eq!(rows.len(), 21, "{name}");
        let panels = figure["panels"].as_array().unwrap();
        let times = numbers(&panels[0]["curves"][0]["t"]);
        // Columns of readings.csv: voltage, current, power, charge, energy.
        for (panel, column) in panels.iter().zip(2..7) {
            let values = numbers(&panel["curves"][0]["v"]);
            assert_eq!((values.len(), times.len()), (21, 21));
            for ((value, time), row) in values.iter().zip(&times).zip(&rows) {
                let read: f64 = row[column].parse().unwrap();
                assert!(alike(*value, read, 7), "{name}: {value} for {read}");
                assert_eq!(*time, row[0].parse::<f64>().unwrap());
            }
        }
        for (panel, total) in panels[3..].iter().zip(["charge_c", "energy_j"]) {
            let bounds = numbers(&panel["curves"][0]["b"]);
            let bound = rail[total]["bound"].as_f64().unwrap();
            assert!(alike(*bounds.last().unwrap(), bound, 3), "{name} {total}");
            // It never shrinks.
            assert!(bounds.windows(2).all(|pair| pair[0] <= pair[1]), "{name}");
        }
        let marks = |panel: &Value| panel["marks"].as_array().unwrap().len();
        let alerts = report["alerts"].as_array().unwrap().iter();
        let alerts = alerts.filter(|alert| alert["rail"] == name).count();
        assert_eq!(panels.iter().map(marks).sum::<usize>(), alerts);
    }
}

/// A reading's bound has all that the datasheet leaves open (section 7, rail range of 16.384 V:
/// gain 0.15 %, offset 2.5 mV, six times 0.4 mV of noise), and rounding to codes of 0.25 mV.
#[test]
fn a_readings_bound_is_the_datasheets() {
    let (_, page) = run("budget", &["examples/survey-skiff.toml", "--for", "5"]);
    let figures = figures(&page);
    let voltage = &figures[0]["panels"][0]["curves"][0];
    let (values, bounds) = (numbers(&voltage["v"]), numbers(&voltage["b"]));
    assert_eq!(values.len(), 6);
    for (value, bound) in values.iter().zip(bounds) {
        let least = (0.0015 * value + 2.5e-3 + 6.0 * 0.4e-3) / (1.0 - 0.0015);
        assert!(
            (least..least + 3.0 * 0.25e-3).contains(&bound),
            "{bound} for {least}"
        );
    }
}

/// One scenario and one seed give the same bytes.
#[test]
fn a_page_is_the_same_every_time() {
    let (_, one) = run("first", &[HOSTILE, "--for", "5"]);
    let (_, other) = run("second", &[HOSTILE, "--for", "5"]);
    assert!(one == other);
}

/// Markup in names, title and scenario is text in the page, a cell in the files and plain on the
/// terminal.
#[test]
fn names_that_would_be_markup_are_harmless() {
    let (directory, page) = run("hostile", &[HOSTILE]);
    assert!(!page.contains("<script>stray") && !page.contains("<img"));
    // One element for each figure, and the script itself: no more, no less.
    let figures = figures(&page);
    assert_eq!(page.matches("<script").count(), figures.len() + 1);
    assert_eq!(page.matches("</script").count(), figures.len() + 1);
    assert_eq!(page.matches("</title>").count(), 1);
    assert_eq!(page.matches("</pre>").count(), 1);
    for (figure, name) in figures
        .iter()
        .filter(|figure| figure["link"] == "run")
        .zip(NAMES)
    {
        assert_eq!(figure["caption"], format!("{name}: readings and totals"));
    }
    for (file, column) in [("readings.csv", 1), ("alerts.csv", 1)] {
        let mut rows = csv::Reader::from_path(directory.join(file)).unwrap();
        for row in rows.records().map(Result::unwrap) {
            assert!(NAMES.contains(&&row[column]), "{file}: {row:?}");
        }
    }
    let printed = fs::read_to_string(directory.join("report.txt")).unwrap();
    for name in NAMES {
        assert!(printed.contains(&format!("\n{name} (channel ")));
    }
    assert!(!printed.chars().any(|it| it.is_control() && it != '\n'));
}

/// Nothing in a page asks for anything from elsewhere, and its policy forbids it.
#[test]
fn a_page_needs_no_network() {
    let (_, page) = run("alone", &[HOSTILE, "--for", "5"]);
    assert!(page.contains("default-src 'none'"));
    for asks in ["src=\"", "@import", "url(", "<link", "fetch("] {
        assert!(!page.contains(asks), "{asks}");
    }
    // The one address is a name: of the namespace of SVG.
    let addresses: Vec<_> = page.match_indices("://").collect();
    assert_eq!(addresses.len(), 1);
}

/// A zoomed stretch around the first three alerts of each limit.
#[test]
fn alerts_are_seen_close() {
    let (directory, page) = run("close", &[HOSTILE]);
    let alerts = object(&directory)["alerts"].as_array().unwrap().clone();
    let mut reactions = 0;
    for kind in ["over_current", "under_voltage"] {
        let first: Vec<_> = alerts
            .iter()
            .filter(|alert| alert["kind"] == kind)
            .take(3)
            .collect();
        let figures = figures(&page);
        let caption = format!("<script> {}: ", kind.replace('_', "-"));
        let is_close = |figure: &&Value| figure["caption"].as_str().unwrap().starts_with(&caption);
        let close: Vec<_> = figures.iter().filter(is_close).collect();
        assert_eq!((first.len(), close.len()), (3, 3));
        for (alert, figure) in first.iter().zip(close) {
            let panel = &figure["panels"][0];
            let marks = panel["marks"].as_array().unwrap().iter();
            let marks: Vec<f64> = marks.map(|mark| mark["t"].as_f64().unwrap()).collect();
            // Times count from the event; where the report has no reaction there is no mark.
            let mut expected = vec![0.0];
            for key in ["edge_to_event_s", "crossing_to_edge_s"] {
                let took = alert[key].as_f64();
                expected.extend(took.map(|took| expected.last().unwrap() - took));
            }
            expected.reverse();
            assert_eq!(marks.len(), expected.len());
            let near = |(one, other): (&f64, &f64)| (one - other).abs() < 1e-9;
            assert!(
                marks.iter().zip(&expected).all(near),
                "{marks:?} for {expected:?}"
            );
            reactions += marks.len();
            // The rail of the scenario: 0.5 A or 3 A behind 50 mΩ, and straight edges of 1 ms.
            let values = numbers(&panel["curves"][0]["v"]);
            let (rest, pulse) = if kind == "over_current" {
                (0.5, 3.0)
            } else {
                (4.975, 4.85)
            };
            assert_eq!((values[0], *values.last().unwrap()), (rest, pulse));
        }
    }
    // Six events, and both reactions of nearly all of them.
    assert!(reactions >= 15, "{reactions}");
}
