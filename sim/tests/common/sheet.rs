//! Reads the tables of a datasheet, so that no expected value stands twice, and plays its worked
//! transfers.

use crake_sim::bench::Wire;

/// The cells of every row of the tables of a document whose first line begins with `header`.
pub(crate) fn table(document: &'static str, header: &str) -> Vec<Vec<&'static str>> {
    let rows: Vec<_> = document
        .match_indices(&format!("\n{header}"))
        .flat_map(|(start, _)| {
            document[start + 1..]
                .lines()
                .skip(2)
                .take_while(|line| line.starts_with('|'))
        })
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert!(!rows.is_empty(), "the datasheet has no table '{header}'");
    rows
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

/// Plays a transfer of the document. True if every byte from the host was acknowledged; bytes from
/// the part must be those of the document.
pub(crate) fn play(wire: &Wire, transfer: &str) -> bool {
    let tokens: Vec<&str> = transfer.split_whitespace().collect();
    let (mut reading, mut address_follows, mut all_acknowledged) = (false, false, true);
    for (i, token) in tokens.iter().enumerate() {
        match *token {
            "S" | "Sr" => {
                wire.start();
                address_follows = true;
            }
            "P" => wire.stop(),
            hex => {
                let byte = u8::from_str_radix(hex, 16).expect("a byte");
                if reading && !address_follows {
                    let more = !matches!(tokens[i + 1], "P" | "Sr");
                    assert_eq!(wire.receive(more), byte, "byte {i} of {transfer}");
                } else {
                    all_acknowledged &= wire.send(byte);
                    reading = address_follows && byte & 1 == 1;
                }
                address_follows = false;
            }
        }
    }
    all_acknowledged
}
