//! The tables of docs/moorhen-datasheet.md.

pub(crate) use crate::moorhen::common::sheet::{number, value};

use crate::moorhen::common::sheet;

const DOCUMENT: &str = include_str!("../../../docs/moorhen-datasheet.md");

/// The cells of every row of the tables whose first line begins with `header`.
pub(crate) fn table(header: &str) -> Vec<Vec<&'static str>> {
    sheet::table(DOCUMENT, header)
}

/// A row of section 3's register table.
pub(crate) struct Row {
    pub(crate) pointer: u8,
    pub(crate) name: &'static str,
    pub(crate) signed: bool,
    pub(crate) readable: bool,
    pub(crate) writable: bool,
    pub(crate) idle_only: bool,
    /// None where there is nothing to read.
    pub(crate) reset: Option<u16>,
}

pub(crate) fn registers() -> Vec<Row> {
    let rows = table("| pointer | name |").into_iter();
    rows.map(|row| Row {
        pointer: number(row[0]) as u8,
        name: row[1],
        signed: row[2] == "yes",
        readable: row[3].contains('R'),
        writable: row[3].contains('W'),
        idle_only: row[3].ends_with("idle"),
        reset: (row[4] != "-").then(|| number(row[4]) as u16),
    })
    .collect()
}

pub(crate) fn pointer(name: &str) -> u8 {
    let registers = registers();
    let row = registers.iter().find(|row| row.name == name);
    row.unwrap_or_else(|| panic!("no register {name}")).pointer
}

/// The word that a register of one command takes, as the register table says.
pub(crate) fn command(name: &str) -> u16 {
    let rows = table("| pointer | name |");
    let row = rows.iter().find(|row| row[1] == name).expect("a register");
    let text = row[5].strip_prefix("value ").expect("a value");
    number(text.split(':').next().expect("a value")) as u16
}

/// The bit of a table whose meaning begins with `meaning`, as a word.
fn bit(header: &str, meaning: &str) -> u16 {
    let rows = table(header);
    let row = rows.iter().find(|row| row[1].starts_with(meaning));
    1 << number(row.unwrap_or_else(|| panic!("{meaning}"))[0])
}

/// The bit in STATUS, section 3.4.
pub(crate) fn busy() -> u16 {
    bit("| STATUS bit | meaning |", "BUSY")
}

/// The bit in STATUS, section 3.4.
pub(crate) fn done() -> u16 {
    bit("| STATUS bit | meaning |", "DONE")
}

/// The bit in CONFIGURATION that enables a channel, section 3.2.
pub(crate) fn enable(channel: usize) -> u16 {
    bit("| bit | meaning |", &format!("channel {channel} "))
}

/// Both channels enabled.
pub(crate) fn both() -> u16 {
    enable(0) | enable(1)
}

/// An input in the order of conversion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Input {
    pub(crate) channel: usize,
    pub(crate) is_sense: bool,
    /// Its bit in CONFIGURATION, STATUS, ALERT_FLAGS and MASK, as a word.
    pub(crate) bit: u16,
}

impl Input {
    /// The table of section 3.1.
    pub(crate) fn all() -> Vec<Self> {
        let rows = table("| bit | input |").into_iter();
        let inputs = rows.map(|row| {
            let (what, channel) = row[1].split_once(" of channel ").expect("an input");
            Self {
                channel: channel.parse().expect("a channel"),
                is_sense: what == "sense",
                bit: 1 << number(row[0]),
            }
        });
        inputs.collect()
    }

    /// The bits of all inputs.
    pub(crate) fn bits() -> u16 {
        Self::all().iter().fold(0, |bits, input| bits | input.bit)
    }

    fn of(self) -> &'static str {
        if self.is_sense { "sense" } else { "rail" }
    }

    pub(crate) fn result(self) -> u8 {
        pointer(&format!("{}_{}", self.of().to_uppercase(), self.channel))
    }

    pub(crate) fn limit(self) -> u8 {
        let of = self.of().to_uppercase();
        pointer(&format!("{of}_LIMIT_{}", self.channel))
    }

    /// LSB in nanovolts by range code, from the tables of section 3.2.
    pub(crate) fn lsb_nv(self, range: usize) -> f64 {
        si(table(&format!("| {} range code | LSB |", self.of()))[range][1])
    }

    /// Least and greatest code, section 4.
    pub(crate) fn ends(self) -> (i64, i64) {
        let codes = table("| quantity | bits | signed |");
        let row = codes.iter().find(|row| row[0] == self.of());
        let row = row.expect("a quantity");
        (number(row[3]), number(row[4]))
    }
}

/// A quantity like `±14 mV` or `0.60 %` in billionths of its base unit.
pub(crate) fn si(text: &str) -> f64 {
    let (number, unit) = text
        .trim_start_matches('±')
        .split_once(' ')
        .expect("a unit");
    let number: f64 = number.parse().expect("a number");
    let scale = match unit {
        "nA" => 1.0,
        "µV" | "µA" | "µs" => 1e3,
        "mV" => 1e6,
        "V" => 1e9,
        "%" => 1e7,
        _ => panic!("unit {unit}"),
    };
    number * scale
}

/// The nanoseconds of a row of section 5's first table.
pub(crate) fn timing_ns(what: &str) -> u64 {
    let rows = table("| what | nominal | unit |");
    let row = rows
        .iter()
        .find(|row| row[0].starts_with(what))
        .unwrap_or_else(|| panic!("{what}"));
    assert_eq!(row[2], "µs");
    (row[1].parse::<f64>().expect("a number") * 1e3) as u64
}
