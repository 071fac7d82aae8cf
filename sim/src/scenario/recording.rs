//! Recordings: files of rows with a time and a value each.

use std::path::{Path, PathBuf};

use super::decimal;
use super::error::{read_text, shortened};
use super::table::{Field, Limits, Table};
use super::{RECORDING_MAX, ScenarioError};

/// Where a recording is and how its rows are to be read.
pub(super) struct Recording {
    path: PathBuf,
    time: Column,
    value: Column,
    separator: u8,
    comment: u8,
}

enum Column {
    Index(usize),
    Name(String),
}

impl Recording {
    /// Takes the keys about the file from `table`.
    pub(super) fn describe(table: &mut Table<'_>) -> Result<Self, ScenarioError> {
        let file = table.needed("file", "the path of a recording, relative to the scenario")?;
        let folder = table.text().path.parent().unwrap_or(Path::new(""));
        let path = folder.join(file.string()?);
        if let Some(wrong) = not_a_file(&path) {
            return Err(file.error(&format!("{} {wrong}", path.display())));
        }
        let (time, value) = (table.field("time_column"), table.field("value_column"));
        let (separator, comment) = (table.field("separator"), table.field("comment"));
        let recording = Self {
            path,
            time: column(time, 0)?,
            value: column(value, 1)?,
            separator: character(separator, b',')?,
            comment: character(comment, b'#')?,
        };
        // The rows follow; a mistake in them is one of the file.
        file.point();
        Ok(recording)
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Reads the points: nanoseconds since the first row, and values within `limits`.
    ///
    /// `owner` leads every message, with the line of the recording's file before it.
    pub(super) fn read(
        &self,
        owner: &str,
        limits: Limits,
    ) -> Result<Vec<(u64, i64)>, ScenarioError> {
        let of_file = |what: String| ScenarioError::of_file(&self.path, format!("{owner}: {what}"));
        let text = read_text(&self.path, RECORDING_MAX).map_err(of_file)?;
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(self.separator)
            .comment(Some(self.comment))
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mut rows = reader.records().map(|row| {
            let row = row.map_err(|error| of_file(error.to_string()))?;
            let begin = row.position().map(csv::Position::byte);
            Ok(Row {
                path: &self.path,
                owner,
                text: &text,
                begin: usize::try_from(begin.unwrap_or_default()).unwrap_or(usize::MAX),
                comment: self.comment,
                cells: row,
            })
        });
        let columns = match (&self.time, &self.value) {
            (Column::Index(time), Column::Index(value)) => (*time, *value),
            (time, value) => {
                let header = rows.next().ok_or_else(|| of_file(NO_ROWS.to_owned()))??;
                (header.find(time)?, header.find(value)?)
            }
        };
        let mut points: Vec<(u64, i64)> = Vec::new();
        let (mut first_ns, mut last_ns) = (None, None);
        for row in rows {
            let row = row?;
            let time_ns = row.number(columns.0, "time", TIME)?;
            let value = row.number(columns.1, "value", limits)?;
            if last_ns.is_some_and(|last_ns| time_ns <= last_ns) {
                let rule = "not after the time of the row before; rows must be in order of time";
                return Err(row.wrong(columns.0, "time", rule));
            }
            let first_ns = *first_ns.get_or_insert(time_ns);
            points.push((time_ns.abs_diff(first_ns), value));
            last_ns = Some(time_ns);
        }
        if points.is_empty() {
            return Err(of_file(NO_ROWS.to_owned()));
        }
        Ok(points)
    }
}

struct Row<'a> {
    path: &'a Path,
    owner: &'a str,
    /// The whole file.
    text: &'a str,
    /// Where in it the CSV reader began to look for the row, which may be a line end, an empty line
    /// or a comment before it.
    begin: usize,
    comment: u8,
    cells: csv::StringRecord,
}

impl Row<'_> {
    /// Where `column` stands if this row is the header.
    fn find(&self, column: &Column) -> Result<usize, ScenarioError> {
        let name = match column {
            Column::Index(index) => return Ok(*index),
            Column::Name(name) => name,
        };
        self.cells
            .iter()
            .position(|cell| cell == name)
            .ok_or_else(|| {
                let known: Vec<_> = self
                    .cells
                    .iter()
                    .take(COLUMNS_SHOWN)
                    .map(|cell| format!("\"{}\"", shortened(cell)))
                    .collect();
                self.error(format!(
                    "no column is called \"{name}\"; the header has {}",
                    known.join(", ")
                ))
            })
    }

    fn number(&self, column: usize, what: &str, limits: Limits) -> Result<i64, ScenarioError> {
        let Some(cell) = self.cells.get(column) else {
            return Err(self.error(format!(
                "there is no column {column} (from 0) for the {what}; the row has {}",
                self.cells.len()
            )));
        };
        if cell.is_empty() {
            return Err(self.error(format!("the {what} in column {column} (from 0) is empty")));
        }
        let number = decimal::parse(cell, limits.places).map_err(|error| match error {
            decimal::NotDecimal::NotANumber => self.wrong(
                column,
                what,
                "not a number; if this row is a header, give columns by name",
            ),
            other => self.wrong(column, what, &other.to_string()),
        })?;
        i64::try_from(number)
            .ok()
            .filter(|number| (limits.least..=limits.greatest).contains(number))
            .ok_or_else(|| self.wrong(column, what, limits.rule))
    }

    fn wrong(&self, column: usize, what: &str, rule: &str) -> ScenarioError {
        let cell = self.cells.get(column).unwrap_or_default();
        self.error(format!("{what} {}: {rule}", shortened(cell)))
    }

    fn error(&self, message: String) -> ScenarioError {
        let message = format!("{}: {message}", self.owner);
        ScenarioError::at_line(self.path, self.line(), message)
    }

    /// The line, from 1, on which the row itself stands.
    fn line(&self) -> u64 {
        let mut lines = self
            .text
            .get(..self.begin)
            .unwrap_or_default()
            .matches('\n')
            .count();
        let mut rest = self.text.get(self.begin..).unwrap_or_default();
        while rest.starts_with(['\r', '\n']) || rest.as_bytes().first() == Some(&self.comment) {
            let Some((_, next)) = rest.split_once('\n') else {
                break;
            };
            lines += 1;
            rest = next;
        }
        lines as u64 + 1
    }
}

/// What a path names instead of a file.
fn not_a_file(path: &Path) -> Option<&'static str> {
    match std::fs::metadata(path) {
        Ok(metadata) if metadata.is_file() => None,
        Ok(metadata) if metadata.is_dir() => Some("is a directory; name a file in it"),
        Ok(_) => Some("is a device or a pipe; a recording is a file"),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Some("is not there"),
        Err(_) => Some("cannot be looked at"),
    }
}

fn column(field: Option<Field<'_>>, default: usize) -> Result<Column, ScenarioError> {
    match field {
        None => Ok(Column::Index(default)),
        Some(field) if field.is_string() => Ok(Column::Name(field.string()?.to_owned())),
        Some(field) => {
            let index = field.number(COLUMN)?;
            Ok(Column::Index(usize::try_from(index).unwrap_or(default)))
        }
    }
}

fn character(field: Option<Field<'_>>, default: u8) -> Result<u8, ScenarioError> {
    let Some(field) = field else {
        return Ok(default);
    };
    match field.string()?.as_bytes() {
        b"tab" => Ok(b'\t'),
        [one] if !b"\r\n\"".contains(one) => Ok(*one),
        _ => Err(field.error("it must be one ASCII character, or \"tab\"")),
    }
}

/// Columns of a header that a message names.
const COLUMNS_SHOWN: usize = 12;
const NO_ROWS: &str = "there is no row of data";

/// Within 100 years of either side of zero: times since 1970 are welcome, only differences count.
const TIME: Limits = Limits::new(
    9,
    -3_155_760_000_000_000_000,
    3_155_760_000_000_000_000,
    "a time must lie within 100 years, in seconds",
);

pub(super) const COLUMN: Limits = Limits::new(
    0,
    0,
    1000,
    "a column is a whole number from 0 to 1000, or a name in the header",
);
