//! The tables of docs/pmbus-device.md.

use crate::pmbus::common::sheet;

const DOCUMENT: &str = include_str!("../../../docs/pmbus-device.md");

/// The cells of every row of the tables whose first line begins with `header`, without the marks of
/// bytes and words.
pub(crate) fn table(header: &str) -> Vec<Vec<&'static str>> {
    let mut rows = sheet::table(DOCUMENT, header);
    for cell in rows.iter_mut().flatten() {
        *cell = cell.trim_matches('`');
    }
    rows
}

/// Bytes written as `84 73`.
pub(crate) fn bytes(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|hex| u8::from_str_radix(hex, 16).expect("a byte"))
        .collect()
}

/// A word written as `EAC0`.
pub(crate) fn word(text: &str) -> u16 {
    u16::from_str_radix(text, 16).expect("a word")
}

/// A row of B3's two tables of commands.
pub(crate) struct Row {
    pub(crate) code: u8,
    pub(crate) name: &'static str,
    pub(crate) access: &'static str,
    /// Bytes of a plain read, a block's count among them; None where there is none.
    pub(crate) read_len: Option<usize>,
    pub(crate) pages: Vec<u8>,
    /// Cells of the column "reset", one for each page, or one for all.
    pub(crate) reset: Vec<&'static str>,
}

pub(crate) fn commands() -> Vec<Row> {
    table("| code | name | access | bytes | pages | reset |")
        .into_iter()
        .map(|row| {
            let common = row[4] == "common";
            let read_len = match row[3].strip_prefix("block of ") {
                Some(count) => Some(1 + count.parse::<usize>().expect("a count")),
                None => row[3].parse().ok().filter(|_| row[2].contains('R')),
            };
            Row {
                code: u8::from_str_radix(row[0], 16).expect("a code"),
                name: row[1],
                access: row[2],
                read_len,
                pages: match common {
                    true => vec![0, 1, 2, 3],
                    false => row[4]
                        .split(", ")
                        .map(|page| page.parse().expect("a page"))
                        .collect(),
                },
                reset: row[5].split(", ").collect(),
            }
        })
        .collect()
}
