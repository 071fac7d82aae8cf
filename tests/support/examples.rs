//! The worked examples of section 10.

use crate::{markdown::Document, number::integer};
use std::collections::BTreeMap;

/// One of what is seen on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Token {
    /// START.
    Start,
    /// Repeated START.
    Restart,
    /// A byte, address bytes included.
    Byte(u8),
    /// STOP.
    Stop,
}

/// A transfer from START to STOP.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Transfer(pub Vec<Token>);

impl Transfer {
    /// The bytes that follow each START, address byte first.
    #[must_use]
    pub fn parts(&self) -> Vec<Vec<u8>> {
        let mut parts = Vec::new();
        for token in &self.0 {
            match *token {
                Token::Start | Token::Restart => parts.push(Vec::new()),
                Token::Byte(byte) => parts
                    .last_mut()
                    .expect("a START before the first byte")
                    .push(byte),
                Token::Stop => {}
            }
        }
        parts
    }

    /// From text such as `S 64 00 Sr 65 9E P`, over any number of lines.
    ///
    /// # Panics
    /// Where the text is something else.
    #[must_use]
    pub fn parse(text: &str) -> Self {
        let token = |word| match word {
            "S" => Token::Start,
            "Sr" => Token::Restart,
            "P" => Token::Stop,
            byte => Token::Byte(
                u8::from_str_radix(byte, 16).unwrap_or_else(|_| panic!("'{byte}' in '{text}'")),
            ),
        };
        Self(text.split_whitespace().map(token).collect())
    }
}

/// A row of the table of worked examples.
#[derive(Clone, Debug)]
pub struct Example {
    /// The number in the first column.
    pub number: u32,
    /// What the transfer does.
    pub what: String,
    /// What is on the wire.
    pub transfer: Transfer,
    /// Whether the part refuses it.
    pub refused: bool,
    values: BTreeMap<String, i128>,
}

impl Example {
    /// A value of the last column, by name. Where it has a unit, it is in the unit that the name is
    /// listed with: nV, nA, nW, nC, nJ, nΩ.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<i128> {
        self.values.get(name).copied()
    }
}

/// The rows of the table of worked examples, in order.
#[must_use]
pub fn examples(document: &Document) -> Vec<Example> {
    let table = document.table("10 ", &["#", "what", "bytes", "values"]);
    let example = |row: &[String]| {
        let refused = row[3] == "refused";
        let pairs = row[3].split("; ").filter(|_| !refused).map(|pair| {
            let (name, value) = pair
                .split_once(" = ")
                .unwrap_or_else(|| panic!("example {}: '{pair}'", row[0]));
            let number = value.split(' ').next().unwrap_or(value);
            (name.to_owned(), integer(number))
        });
        Example {
            number: row[0]
                .parse()
                .unwrap_or_else(|_| panic!("example '{}'", row[0])),
            what: row[1].clone(),
            transfer: Transfer::parse(row[2].trim_matches('`')),
            refused,
            values: pairs.collect(),
        }
    };
    table.rows().map(example).collect()
}

#[cfg(test)]
mod tests {
    use super::{Token, examples};
    use crate::markdown::Document;

    #[test]
    fn examples_are_numbered_and_complete() {
        let examples = examples(&Document::corncrake());
        let numbers = examples.iter().map(|example| example.number);
        assert!(numbers.eq(1..=32));
        for example in &examples {
            let tokens = &example.transfer.0;
            assert_eq!(tokens.first(), Some(&Token::Start), "{}", example.what);
            assert_eq!(tokens.last(), Some(&Token::Stop), "{}", example.what);
        }
        let sense = examples
            .iter()
            .find(|example| example.what == "read SENSE_1")
            .expect("an example");
        assert_eq!(sense.value("current"), Some(4_200_000_000));
        assert_eq!(
            sense.transfer.parts(),
            [vec![0x64, 0x61], vec![0x65, 0x01, 0x48, 0x20, 0x44]]
        );
        assert_eq!(examples.iter().filter(|example| example.refused).count(), 1);
    }
}
