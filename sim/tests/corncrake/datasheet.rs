//! Reads the tables of the datasheet, so that no expected value stands twice.

pub(crate) use crate::corncrake::common::sheet::{number, value};

use crate::corncrake::common::sheet;

const DOCUMENT: &str = include_str!("../../../docs/corncrake-datasheet.md");

/// The cells of every row of the tables whose first line begins with `header`.
pub(crate) fn table(header: &str) -> Vec<Vec<&'static str>> {
    sheet::table(DOCUMENT, header)
}

/// The text between the first fence after `heading` and its end.
pub(crate) fn fenced(heading: &str) -> &'static str {
    let after = &DOCUMENT[DOCUMENT.find(heading).expect("heading")..];
    let body = &after[after.find("```text").expect("fence") + 7..];
    &body[..body.find("```").expect("end of fence")]
}

/// A row of section 3's register table.
pub(crate) struct Row {
    pub(crate) pointer: u8,
    pub(crate) name: &'static str,
    pub(crate) width: usize,
    pub(crate) readable: bool,
    pub(crate) writable: bool,
    pub(crate) idle_only: bool,
    pub(crate) counted: bool,
    pub(crate) reset: Vec<u8>,
}

/// The register table without SAMPLE, which is a window.
pub(crate) fn registers() -> Vec<Row> {
    table("| pointer | name |")
        .into_iter()
        .filter(|row| row[1] != "SAMPLE")
        .map(|row| {
            let width = row[2].parse().expect("width");
            let reset = match row[6] {
                "-" | "zeros" => vec![0; width],
                hex => {
                    let digits = hex.strip_prefix("0x").expect("hexadecimal");
                    assert_eq!(digits.len(), 2 * width, "{}", row[1]);
                    (0..width)
                        .map(|i| u8::from_str_radix(&digits[2 * i..2 * i + 2], 16).expect("digits"))
                        .collect()
                }
            };
            Row {
                pointer: number(row[0]) as u8,
                name: row[1],
                width,
                readable: row[4].contains('R'),
                writable: row[4].contains('W'),
                idle_only: row[4].ends_with("idle"),
                counted: row[5] == "yes",
                reset,
            }
        })
        .collect()
}

/// A time of section 6's first table, in nanoseconds.
pub(crate) fn timing_ns(what: &str) -> u64 {
    let rows = table("| what | nominal | unit |");
    let row = rows
        .iter()
        .find(|row| row[0] == what)
        .unwrap_or_else(|| panic!("{what}"));
    assert_eq!(row[2], "µs");
    (row[1].parse::<f64>().expect("microseconds") * 1_000.0) as u64
}
