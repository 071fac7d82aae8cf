//! Mistakes of every kind, in every line of a valid scenario and of its recording: whatever comes,
//! there is one line that names file and line, status 2, and nothing left behind.

use std::fs;

use crate::bad_input::case::{Case, RECORDING, VALID};

/// A mistake: what it is, the two files, and where it must be told.
struct Mistake {
    what: String,
    scenario: Vec<u8>,
    recording: Vec<u8>,
    place: String,
}

impl Mistake {
    fn scenario(what: String, scenario: impl Into<Vec<u8>>, place: String) -> Self {
        Self {
            what,
            scenario: scenario.into(),
            recording: RECORDING.into(),
            place,
        }
    }

    fn recording(what: &str, recording: impl Into<Vec<u8>>, place: &str) -> Self {
        Self {
            what: what.to_owned(),
            scenario: VALID.into(),
            recording: recording.into(),
            place: place.to_owned(),
        }
    }
}

/// The valid file with its line `number`, from 0, replaced.
fn with_line(number: usize, by: &str) -> String {
    let lines = VALID.lines().enumerate();
    lines
        .map(|(at, line)| format!("{}\n", if at == number { by } else { line }))
        .collect()
}

/// Every line, doubled, renamed, retyped, out of range, cut short.
fn line_by_line() -> Vec<Mistake> {
    let mut mistakes = Vec::new();
    for (number, line) in VALID.lines().enumerate() {
        let mut add = |what: &str, by: &str, at: usize| {
            let place = format!("scenario.toml:{}", at + 1);
            let what = format!("{what}: {line}");
            mistakes.push(Mistake::scenario(what, with_line(number, by), place));
        };
        let Some((key, value)) = line.split_once(" = ") else {
            // A second rail has no sense resistor; a table may be there only once.
            let told = number + usize::from(!line.starts_with("[["));
            add("double", &format!("{line}\n{line}"), told);
            add("half a header", &line[..line.len() - 1], number);
            continue;
        };
        add("double", &format!("{line}\n{line}"), number + 1);
        add("rename", &format!("{line}\nx_{key} = {value}"), number + 1);
        add("a date", &format!("{key} = 1979-05-27"), number);
        add("a table", &format!("{key} = {{ a = 1 }}"), number);
        if value.starts_with('"') {
            add("a number", &format!("{key} = 5"), number);
            add("no end", &line[..line.len() - 1], number);
        } else {
            add("a word", &format!("{key} = \"much\""), number);
            add("too low", &format!("{key} = -1e30"), number);
            add("too great", &format!("{key} = 1e30"), number);
            add("no number", &format!("{key} = nan"), number);
        }
    }
    mistakes
}

/// What has no default, left out: told with the line of its table, or of its rail.
fn left_out() -> Vec<Mistake> {
    let needed = [
        "title",
        "duration_s",
        "name",
        "resistance_ohm",
        "voltage_v",
        "file",
        "interpolation",
        "at_end",
        "steps_per_hour",
        "step_a",
        "flow",
        "greatest_a",
    ];
    let without = |key: &&str| {
        let begins = format!("{key} = ");
        let left = VALID.lines().filter(|line| !line.starts_with(&begins));
        let text: String = left.map(|line| format!("{line}\n")).collect();
        assert!(text.len() < VALID.len(), "{key}");
        Mistake::scenario(format!("without {key}"), text, "scenario.toml:".to_owned())
    };
    needed.iter().map(without).collect()
}

/// Bytes that are no text, depth and length.
fn whole_files() -> Vec<Mistake> {
    let utf_16: Vec<u8> = VALID.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let latin_1 = [&b"title = \"\xe9\"\n"[..], &VALID.as_bytes()[12..]].concat();
    let zero = VALID.replacen("LOGIC", "LO\0GIC", 1);
    let titled = |title: String| VALID.replacen("\"t\"", &title, 1);
    let deep = |open: &str, close: &str| titled(open.repeat(100_000) + &close.repeat(100_000));
    let mistakes = [
        ("nothing", Vec::new()),
        ("UTF-16", utf_16),
        ("Latin-1", latin_1),
        ("a zero", zero.into()),
        ("deep arrays", deep("[", "]").into()),
        ("deep tables", deep("{a=", "}").into()),
        ("open arrays", titled("[".repeat(100_000)).into()),
        (
            "a deep key",
            format!("{}a = 1\n", "a.".repeat(100_000)).into(),
        ),
        (
            "a long title",
            titled(format!("\"{}\"", "t".repeat(900_000))).into(),
        ),
        (
            "a long number",
            VALID
                .replacen("= 2\n", &format!("= {}\n", "9".repeat(900_000)), 1)
                .into(),
        ),
        (
            "a long key",
            format!("{} = 1\n{VALID}", "k".repeat(900_000)).into(),
        ),
        (
            "a long file",
            format!("{VALID}{}", "# remark\n".repeat(120_000)).into(),
        ),
    ];
    let place = || "scenario.toml:".to_owned();
    let mistake = |(what, text): (&str, Vec<u8>)| Mistake::scenario(what.to_owned(), text, place());
    mistakes.into_iter().map(mistake).collect()
}

fn recordings() -> Vec<Mistake> {
    vec![
        Mistake::recording("no rows", "", "load.csv: "),
        Mistake::recording("remarks alone", "# a\n# b\n", "load.csv: "),
        Mistake::recording("one column", "0\n1\n", "load.csv:1: "),
        Mistake::recording("a row cut short", "0,0.01\n1,0.02\n2", "load.csv:3: "),
        Mistake::recording("an empty cell", "0,0.01\n1,\n2,0.01\n", "load.csv:2: "),
        Mistake::recording("a word", "0,0.01\none,0.02\n", "load.csv:2: "),
        Mistake::recording("a time twice", "0,0.01\n1,0.02\n1,0.03\n", "load.csv:3: "),
        Mistake::recording("too great", "0,0.01\n1,1e30\n", "load.csv:2: "),
        Mistake::recording("beyond all time", "0,0.01\n1e30,1\n", "load.csv:2: "),
        Mistake::recording("no text", b"0,0.01\n1,\xff\xfe\n".to_vec(), "load.csv"),
        Mistake::recording("a zero", "0,0.01\n1,0\x00\n", "load.csv:2: "),
        Mistake::recording(
            "a long cell",
            "0,".to_owned() + &"9".repeat(900_000),
            "load.csv:1: ",
        ),
    ]
}

#[test]
fn every_mistake_is_told_in_one_line() {
    let case = Case::new("malformed", VALID, Some(RECORDING));
    let groups = [line_by_line(), left_out(), whole_files(), recordings()];
    let mistakes: Vec<Mistake> = groups.into_iter().flatten().collect();
    assert!(mistakes.len() > 150, "{}", mistakes.len());
    let mut wrong = Vec::new();
    for mistake in mistakes {
        fs::write(case.directory.join("scenario.toml"), &mistake.scenario).expect("a file");
        fs::write(case.directory.join("load.csv"), &mistake.recording).expect("a file");
        let before = case.contents();
        let output = case.run(&["scenario.toml", "--out", "new"]);
        let errors = String::from_utf8_lossy(&output.stderr);
        let place = format!("crake-sim: {}", mistake.place);
        let is_one_line = errors.ends_with('\n') && !errors.trim_end().contains(char::is_control);
        let is_right = output.status.code() == Some(2)
            && errors.starts_with(&place)
            && is_one_line
            && errors.len() < 600
            && output.stdout.is_empty()
            && case.contents() == before;
        if !is_right {
            let shown: String = errors.chars().take(600).collect();
            let (what, status) = (&mistake.what, output.status);
            wrong.push(format!("{what}: {status}: {shown}instead of {place}"));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}
