//! Keys and samples of docs/registers.md are what the program prints.

use super::*;

/// The paths of all values, entries of arrays as `[]`; an array of plain numbers is one value.
fn paths(value: &Value, path: &str, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(entries) => {
            for (key, value) in entries {
                let dot = if path.is_empty() { "" } else { "." };
                paths(value, &format!("{path}{dot}{key}"), into);
            }
        }
        Value::Array(entries) if entries.iter().any(Value::is_object) => {
            for entry in entries {
                paths(entry, &format!("{path}[]"), into);
            }
        }
        Value::Null if [".names", ".formats"].iter().any(|key| path.ends_with(key)) => {}
        Value::Array(entries) if entries.is_empty() => {}
        _ => {
            into.insert(path.to_owned());
        }
    }
}

/// What stands in backticks in the first column of the tables under a heading of docs/registers.md.
fn documented(heading: &str) -> BTreeSet<String> {
    let text = fs::read_to_string(Path::new(ROOT).join("docs/registers.md")).unwrap();
    let (_, section) = text.split_once(&format!("## {heading}\n")).unwrap();
    let section = section.split("\n## ").next().unwrap();
    let rows = section.lines().filter_map(|line| line.strip_prefix("| `"));
    rows.map(|row| row.split('`').next().unwrap().to_owned())
        .collect()
}

#[test]
fn every_key_is_documented_and_every_documented_key_is_there() {
    for (several, heading) in [
        (
            [
                &[SKIFF, "--at", "1"][..],
                &["--part", "gallinule", "--state"],
            ],
            "The state as an object",
        ),
        (
            [&["--part", "corncrake"], &["--part", "gallinule"]],
            "The list as an object",
        ),
    ] {
        let mut found = BTreeSet::new();
        for arguments in several {
            paths(&json(arguments), "", &mut found);
        }
        assert_eq!(found, documented(heading));
    }
}

/// A line without its bytes, and every number as `#`: those follow the firmware's timing to the
/// microsecond.
fn shape(line: &str, bytes: usize, fields: usize) -> String {
    let name: String = line.chars().take(bytes).collect();
    let fields: String = line.chars().skip(fields).collect();
    let digit = |c: char| c.is_ascii_digit() || c == '.' || c == '-';
    let words = fields.split(' ').map(|word| {
        if let Some(pattern) = word.strip_prefix("0x") {
            return format!(
                "#{}",
                pattern.trim_start_matches(|c: char| c.is_ascii_hexdigit())
            );
        }
        let number = word.starts_with(digit);
        let end = word.trim_start_matches(digit);
        if number {
            format!("#{end}")
        } else {
            word.to_owned()
        }
    });
    name + &words.collect::<Vec<_>>().join(" ")
}

/// The samples in the document are some of what the program prints, but for numbers. `…` stands for
/// what is left out.
#[test]
fn the_samples_in_the_document() {
    let text = fs::read_to_string(Path::new(ROOT).join("docs/registers.md")).unwrap();
    let samples = text.split("```text\n").skip(1);
    let samples: Vec<_> = samples
        .map(|text| text.split_once("```").unwrap().0)
        .collect();
    let commands = [
        &[SKIFF, "--at", "20"][..],
        &["--part", "gallinule", "--state"],
    ];
    assert_eq!(samples.len(), commands.len());
    for (sample, command) in samples.iter().zip(commands) {
        let printed = printed(command);
        let mut lines = printed.lines();
        assert_eq!(lines.next(), sample.lines().next());
        let head = lines.nth(2).unwrap();
        let (bytes, fields) = (head.find("bytes").unwrap(), head.find("fields").unwrap());
        let shape = |line| shape(line, bytes, fields);
        let shapes: Vec<_> = lines.map(shape).collect();
        let rows = sample.lines().skip(4).filter(|line| *line != "…");
        let rows: Vec<_> = rows.collect();
        assert!(rows.len() > 15);
        for row in rows {
            assert!(shapes.contains(&shape(row)), "{row}");
        }
    }
}
