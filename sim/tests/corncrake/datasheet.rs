//! Reads the tables of the datasheet, so that no expected value stands twice.

const DOCUMENT: &str = include_str!("../../../docs/corncrake-datasheet.md");

/// The cells of every row of the tables whose first line begins with `header`.
pub(crate) fn table(header: &str) -> Vec<Vec<&'static str>> {
    let rows: Vec<_> = DOCUMENT
        .match_indices(&format!("\n{header}"))
        .flat_map(|(start, _)| {
            DOCUMENT[start + 1..]
                .lines()
                .skip(2)
                .take_while(|line| line.starts_with('|'))
        })
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert!(!rows.is_empty(), "the datasheet has no table '{header}'");
    rows
}

/// The text between the first fence after `heading` and its end.
pub(crate) fn fenced(heading: &str) -> &'static str {
    let after = &DOCUMENT[DOCUMENT.find(heading).expect("heading")..];
    let body = &after[after.find("```text").expect("fence") + 7..];
    &body[..body.find("```").expect("end of fence")]
}

/// A number of the document: decimal, or hexadecimal after 0x.
pub(crate) fn number(text: &str) -> i64 {
    match text.strip_prefix("0x") {
        Some(hex) => i64::from_str_radix(hex, 16).expect("hexadecimal"),
        None => text.parse().expect("decimal"),
    }
}

/// The value named `name` in a cell like `code = 5; sense range = 1`, without its unit.
pub(crate) fn value(cell: &str, name: &str) -> Option<i64> {
    cell.split("; ")
        .filter_map(|part| part.split_once(" = "))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| number(value.split(' ').next().expect("a value")))
}

/// A row of section 3's register table.
pub(crate) struct Row {
    pub(crate) pointer: u8,
    pub(crate) name: &'static str,
    pub(crate) width: usize,
    pub(crate) readable: bool,
    pub(crate) writable: bool,
    pub(crate) set_up: bool,
    pub(crate) reset: Vec<u8>,
}

/// The register table without FRAME, which is a window.
pub(crate) fn registers() -> Vec<Row> {
    table("| pointer | name |")
        .into_iter()
        .filter(|row| row[1] != "FRAME")
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
                set_up: row[5] == "yes",
                reset,
            }
        })
        .collect()
}
