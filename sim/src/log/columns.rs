use crake::crc::Crc16;

use super::lines::Lines;
use super::number::{nanoseconds, plain};
use super::{Row, ScenarioError};

/// What a column of a log holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// When.
    Time,
    /// Name of the rail.
    Rail,
    /// Rail voltage.
    Voltage,
    /// Current, positive from source to load.
    Current,
    /// Power.
    Power,
    /// Charge so far.
    Charge,
    /// Energy so far.
    Energy,
    /// 1 if a conversion went over range, else 0.
    Clipped,
    /// Check value of the line before it.
    Check,
}

/// Where a log has what, and how it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mapping {
    /// Columns by their names in the header, each with its unit if the name does not say it; what
    /// is not named here is looked for by its usual name.
    pub columns: Vec<(Column, String, Option<String>)>,
    /// What separates cells.
    pub separator: u8,
    /// What begins a line that is passed over, if anything does.
    pub comment: Option<u8>,
    /// Whether the first line names the columns; else their names are their places, from 0.
    pub is_headed: bool,
    /// Whether torn lines are passed over and counted, and not refused.
    pub pass_over_torn: bool,
}

impl Default for Mapping {
    fn default() -> Self {
        Self {
            columns: Vec::new(),
            separator: b',',
            comment: Some(b'#'),
            is_headed: true,
            pass_over_torn: false,
        }
    }
}

/// Columns by their place in a line, with what a number is multiplied by.
#[derive(Clone, Debug)]
pub(super) struct Places {
    /// Cells of the header, and so of each line.
    cells: usize,
    found: [Option<(usize, f64)>; COLUMNS.len()],
}

/// A column, the word for it, usual names in headers, the greatest magnitude in base units, and
/// units with their size.
struct Kind {
    column: Column,
    word: &'static str,
    usual: &'static [&'static str],
    most: f64,
    units: &'static [(&'static str, f64)],
}

const COLUMNS: [Kind; 9] = [
    Kind {
        column: Column::Time,
        word: "time",
        usual: &["time", "t", "timestamp"],
        // From one to another in nanoseconds, they fit in 63 bits.
        most: 4.6e9,
        units: &[
            ("s", 1.0),
            ("ms", 1e-3),
            ("us", 1e-6),
            ("ns", 1e-9),
            ("min", 60.0),
            ("h", 3600.0),
        ],
    },
    Kind {
        column: Column::Rail,
        word: "rail",
        usual: &["rail"],
        most: 0.0,
        units: &[],
    },
    Kind {
        column: Column::Voltage,
        word: "voltage",
        usual: &["voltage", "v", "u"],
        most: 1e3,
        units: &[
            ("v", 1.0),
            ("mv", 1e-3),
            ("uv", 1e-6),
            ("nv", 1e-9),
            ("kv", 1e3),
        ],
    },
    Kind {
        column: Column::Current,
        word: "current",
        usual: &["current", "i"],
        most: 1e3,
        units: &[
            ("a", 1.0),
            ("ma", 1e-3),
            ("ua", 1e-6),
            ("na", 1e-9),
            ("ka", 1e3),
        ],
    },
    Kind {
        column: Column::Power,
        word: "power",
        usual: &["power", "p"],
        most: 1e6,
        units: &[
            ("w", 1.0),
            ("mw", 1e-3),
            ("uw", 1e-6),
            ("nw", 1e-9),
            ("kw", 1e3),
        ],
    },
    Kind {
        column: Column::Charge,
        word: "charge",
        usual: &["charge", "q"],
        most: 1e15,
        units: &[
            ("c", 1.0),
            ("mc", 1e-3),
            ("uc", 1e-6),
            ("nc", 1e-9),
            ("ah", 3600.0),
            ("mah", 3.6),
            ("uah", 3.6e-3),
        ],
    },
    Kind {
        column: Column::Energy,
        word: "energy",
        usual: &["energy", "e"],
        most: 1e15,
        units: &[
            ("j", 1.0),
            ("mj", 1e-3),
            ("uj", 1e-6),
            ("nj", 1e-9),
            ("wh", 3600.0),
            ("mwh", 3.6),
            ("uwh", 3.6e-3),
            ("kwh", 3.6e6),
        ],
    },
    Kind {
        column: Column::Clipped,
        word: "clipped",
        usual: &["clipped"],
        most: 1.0,
        units: &[],
    },
    Kind {
        column: Column::Check,
        word: "check",
        usual: &["check"],
        most: 0.0,
        units: &[],
    },
];

impl Column {
    /// By its word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        COLUMNS
            .iter()
            .find(|kind| kind.word == word)
            .map(|kind| kind.column)
    }

    /// Words for all of them.
    #[must_use]
    pub fn words() -> Vec<&'static str> {
        COLUMNS.iter().map(|kind| kind.word).collect()
    }
}

/// A unit in small letters; µ as u.
fn spelt(unit: &str) -> String {
    unit.trim().to_lowercase().replace(['µ', 'μ'], "u")
}

/// A header's name as the quantity's name and its unit: `current_ma`, `I [mA]`, `voltage (V)`.
fn parted(name: &str) -> (String, Option<String>) {
    let name = spelt(name);
    let name = name.trim_end_matches([']', ')']);
    match name.rsplit_once(['_', ' ', '[', '(']) {
        Some((before, unit)) => {
            let before = before.trim_end_matches(['_', ' ', '[', '(']);
            (before.to_owned(), Some(unit.to_owned()))
        }
        None => (name.to_owned(), None),
    }
}

impl Mapping {
    /// Finds every column in the header, which is the line that `lines` gives next.
    pub(super) fn places(&self, lines: &mut Lines) -> Result<Places, ScenarioError> {
        if !lines.next()? {
            return Err(lines.of_file("there is no line in it"));
        }
        let name = |place: usize| match self.is_headed {
            true => String::from_utf8_lossy(&lines.cell(place)).into_owned(),
            false => place.to_string(),
        };
        let names: Vec<String> = (0..lines.len()).map(name).collect();
        let mut found = [None; COLUMNS.len()];
        for (kind, found) in COLUMNS.iter().zip(&mut found) {
            let of_kind = |(column, ..): &&(Column, String, Option<String>)| *column == kind.column;
            if self.columns.iter().filter(of_kind).count() > 1 {
                let message = format!("--column {}: is given more than once", kind.word);
                return Err(lines.of_file(&message));
            }
            let mut mapped = self.columns.iter();
            let (place, unit) = match mapped.find(|(column, ..)| *column == kind.column) {
                Some((_, name, unit)) => {
                    let Some(place) = names.iter().position(|known| known == name) else {
                        return Err(lines.at(0, missing(name, &names)));
                    };
                    (Some(place), unit.clone())
                }
                None => {
                    let is_usual = |place: &usize| kind.usual.contains(&&*parted(&names[*place]).0);
                    let mut usual = (0..names.len()).filter(is_usual);
                    let place = usual.next();
                    if let Some((one, other)) = place.zip(usual.next()) {
                        let rule = format!(
                            "it may be the {word}, as {} may: name one with --column {word}=NAME",
                            shown(&names[one..=one]),
                            word = kind.word
                        );
                        return Err(lines.wrong(other, "column", &rule));
                    }
                    (place, None)
                }
            };
            let Some(place) = place else { continue };
            let unit = unit.or_else(|| parted(&names[place]).1);
            *found = Some((place, kind.size(unit.as_deref(), lines, place)?));
        }
        for (column, found) in COLUMNS.iter().zip(&found) {
            let is_needed = matches!(column.column, Column::Time | Column::Current);
            if is_needed && found.is_none() {
                let message = format!(
                    "no column is called {} or the like; the header has {}: name it with --column \
                     {}=NAME",
                    column.word,
                    shown(&names),
                    column.word
                );
                return Err(lines.at(0, message));
            }
        }
        Ok(Places {
            cells: names.len(),
            found,
        })
    }
}

impl Kind {
    /// Of a unit in base units.
    fn size(&self, unit: Option<&str>, lines: &Lines, place: usize) -> Result<f64, ScenarioError> {
        let Some(unit) = unit.filter(|_| !self.units.is_empty()) else {
            return Ok(1.0);
        };
        let mut units = self.units.iter();
        if let Some((_, size)) = units.find(|(known, _)| *known == spelt(unit)) {
            return Ok(*size);
        }
        let known: Vec<_> = self.units.iter().map(|(known, _)| *known).collect();
        let rule = format!(
            "{unit} is no unit of a {}; it may be {}",
            self.word,
            known.join(", ")
        );
        Err(lines.wrong(place, "column", &rule))
    }
}

fn missing(name: &str, names: &[String]) -> String {
    format!(
        "no column is called \"{name}\"; the header has {}",
        shown(names)
    )
}

/// As many names as a message repeats.
fn shown(names: &[String]) -> String {
    let names = names.iter().take(12);
    let names: Vec<_> = names
        .map(|name| format!("\"{}\"", name.chars().take(40).collect::<String>()))
        .collect();
    names.join(", ")
}

impl Places {
    pub(super) fn time(&self) -> usize {
        self.of(Column::Time).map_or(0, |(place, _)| place)
    }

    pub(super) fn rail(&self) -> Option<usize> {
        self.of(Column::Rail).map(|(place, _)| place)
    }

    fn of(&self, column: Column) -> Option<(usize, f64)> {
        self.found[column as usize]
    }

    /// Why a line is no whole one, if it is none.
    pub(super) fn torn(&self, lines: &Lines) -> Option<String> {
        if lines.len() != self.cells {
            return Some(format!("it has {} columns of {}", lines.len(), self.cells));
        }
        let (place, _) = self.of(Column::Check)?;
        if place + 1 != self.cells {
            return None;
        }
        let mut crc = Crc16::new();
        crc.add_all(lines.before_last());
        let check = lines.cell(place);
        let check = std::str::from_utf8(&check).ok();
        let check = check.and_then(|check| u16::from_str_radix(check, 16).ok());
        (check != Some(crc.value())).then(|| "its check value is another".to_owned())
    }

    /// A whole line as a reading.
    pub(super) fn row(&self, lines: &Lines) -> Result<Row, ScenarioError> {
        let (time, size) = self.of(Column::Time).unwrap_or((0, 1.0));
        let scale_ns = (size * 1e9).round() as i64;
        let Some(time_ns) = nanoseconds(&lines.cell(time), scale_ns) else {
            return Err(lines.wrong(time, "time", "not a finite decimal number such as 12.5"));
        };
        let most_s = COLUMNS[Column::Time as usize].most;
        if time_ns.unsigned_abs() as f64 > most_s * 1e9 {
            let rule = format!(
                "beyond {most_s} s; if the column has another unit, say so with --column \
                 time=NAME:UNIT"
            );
            return Err(lines.wrong(time, "time", &rule));
        }
        let voltage_v = self.number(lines, Column::Voltage)?;
        let current_a = self.number(lines, Column::Current)?.unwrap_or(0.0);
        let power_w = self.number(lines, Column::Power)?;
        Ok(Row {
            line: lines.line(),
            time_ns,
            voltage_v,
            current_a,
            power_w: power_w.or(voltage_v.map(|voltage| voltage * current_a)),
            charge_c: self.number(lines, Column::Charge)?,
            energy_j: self.number(lines, Column::Energy)?,
            clipped: self
                .number(lines, Column::Clipped)?
                .is_some_and(|clipped| clipped != 0.0),
        })
    }

    fn number(&self, lines: &Lines, column: Column) -> Result<Option<f64>, ScenarioError> {
        let Some((place, size)) = self.of(column) else {
            return Ok(None);
        };
        let kind = &COLUMNS[column as usize];
        let Some(number) = plain(&lines.cell(place)) else {
            let rule = "not a finite decimal number such as 0.25";
            return Err(lines.wrong(place, kind.word, rule));
        };
        let number = number * size;
        if number.abs() > kind.most {
            let (most, word) = (kind.most, kind.word);
            let rule = format!(
                "beyond {most} in base units; if the column has another unit, say so with --column \
                 {word}=NAME:UNIT"
            );
            return Err(lines.wrong(place, word, &rule));
        }
        Ok(Some(number))
    }
}
