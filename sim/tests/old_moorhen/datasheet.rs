//! The tables of docs/old/moorhen-datasheet.md.

pub(crate) use crate::old_moorhen::common::sheet::{number, value};

use crate::old_moorhen::common::sheet;

const DOCUMENT: &str = include_str!("../../../docs/old/moorhen-datasheet.md");

/// The cells of every row of the tables whose first line begins with `header`.
pub(crate) fn table(header: &str) -> Vec<Vec<&'static str>> {
    sheet::table(DOCUMENT, header)
}

/// A row of section 3's register table.
pub(crate) struct Row {
    pub(crate) pointer: u8,
    pub(crate) name: &'static str,
    pub(crate) readable: bool,
    pub(crate) writable: bool,
    /// None where there is nothing to read.
    pub(crate) reset: Option<u16>,
}

pub(crate) fn registers() -> Vec<Row> {
    let rows = table("| pointer | name |").into_iter();
    rows.map(|row| Row {
        pointer: number(row[0]) as u8,
        name: row[1],
        readable: row[2].contains('R'),
        writable: row[2].contains('W'),
        reset: (row[3] != "-").then(|| number(row[3]) as u16),
    })
    .collect()
}

pub(crate) fn pointer(name: &str) -> u8 {
    let registers = registers();
    let row = registers.iter().find(|row| row.name == name);
    row.unwrap_or_else(|| panic!("no register {name}")).pointer
}

/// An input in the order of conversion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Input {
    pub(crate) channel: usize,
    pub(crate) is_sense: bool,
    /// Its bit in RANGES, MASK, CAUSES and PROGRESS, as a word.
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

    pub(crate) fn name(self) -> &'static str {
        if self.is_sense { "SENSE" } else { "BUS" }
    }

    pub(crate) fn result(self) -> u8 {
        pointer(&format!("{}_{}", self.name(), self.channel))
    }

    pub(crate) fn limit(self) -> u8 {
        pointer(&format!("{}_LIMIT_{}", self.name(), self.channel))
    }

    /// LSB in nanovolts by range bit, from the tables of section 3.3.
    pub(crate) fn lsb_nv(self, range: usize) -> f64 {
        let of = if self.is_sense { "sense" } else { "bus" };
        si(table(&format!("| {of} range bit | LSB |"))[range][1])
    }

    /// Least and greatest code, section 4.
    pub(crate) fn ends(self) -> (i64, i64) {
        let of = if self.is_sense { "sense" } else { "bus" };
        let codes = table("| quantity | bits | signed |");
        let row = codes.iter().find(|row| row[0] == of).expect("a quantity");
        let bits: u32 = row[1].parse().expect("bits");
        match row[2] {
            "yes" => (-(1 << (bits - 1)), (1 << (bits - 1)) - 1),
            _ => (0, (1 << bits) - 1),
        }
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
        .expect("a row");
    assert_eq!(row[2], "µs");
    (row[1].parse::<f64>().expect("a number") * 1e3) as u64
}
