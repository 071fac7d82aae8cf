use std::borrow::Cow;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::ops::Range;
use std::path::{Path, PathBuf};

use super::Mapping;
use crate::scenario::ScenarioError;

/// Lines of a log, one at a time, split into cells. Comments and empty lines are passed over.
pub(super) struct Lines {
    reader: BufReader<File>,
    path: PathBuf,
    separator: u8,
    comment: Option<u8>,
    number: u64,
    line: Vec<u8>,
    cells: Vec<Range<usize>>,
}

/// Bytes of a line: a longer one is no line of a log.
const LINE_MAX: u64 = 1 << 16;
const BUFFER: usize = 1 << 18;

/// What some programs begin a file in UTF-8 with.
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();

impl Lines {
    pub(super) fn open(path: &Path, mapping: &Mapping) -> Result<Self, ScenarioError> {
        let cannot = |error| error_of(path, None, None, format!("cannot be read: {error}"));
        let file = File::open(path).map_err(cannot)?;
        let is_file = file.metadata().map_err(cannot)?.is_file();
        if !is_file {
            let message = "is no file; a log is read more than once".to_owned();
            return Err(error_of(path, None, None, message));
        }
        Ok(Self {
            reader: BufReader::with_capacity(BUFFER, file),
            path: path.to_owned(),
            separator: mapping.separator,
            comment: mapping.comment,
            number: 0,
            line: Vec::new(),
            cells: Vec::new(),
        })
    }

    /// Takes the next line that has anything; false at the end.
    pub(super) fn next(&mut self) -> Result<bool, ScenarioError> {
        loop {
            self.line.clear();
            let mut limited = (&mut self.reader).take(LINE_MAX);
            let read = limited.read_until(b'\n', &mut self.line);
            let cannot =
                |error| error_of(&self.path, None, None, format!("cannot be read: {error}"));
            if read.map_err(cannot)? == 0 {
                return Ok(false);
            }
            self.number += 1;
            if self.number == 1 && self.line.starts_with(BYTE_ORDER_MARK) {
                self.line.drain(..BYTE_ORDER_MARK.len());
            }
            if self.number == 1 && self.line.contains(&0) {
                let message = "is no text in UTF-8: write it as such".to_owned();
                return Err(error_of(&self.path, None, None, message));
            }
            if self.line.len() as u64 == LINE_MAX {
                let message = "a line of more than 64 KiB is no line of a log".to_owned();
                return Err(error_of(&self.path, Some(self.number), None, message));
            }
            while let Some(b'\n' | b'\r') = self.line.last() {
                self.line.pop();
            }
            let comment = self.comment.is_some() && self.line.first() == self.comment.as_ref();
            if !comment && !self.line.iter().all(u8::is_ascii_whitespace) {
                self.split();
                return Ok(true);
            }
        }
    }

    /// Cells between separators, without blanks around them; within double quotes a separator is
    /// none.
    fn split(&mut self) {
        self.cells.clear();
        let (mut begin, mut is_quoted) = (0, false);
        for (at, byte) in self.line.iter().enumerate() {
            match byte {
                b'"' => is_quoted = !is_quoted,
                byte if *byte == self.separator && !is_quoted => {
                    self.cells.push(begin..at);
                    begin = at + 1;
                }
                _ => {}
            }
        }
        self.cells.push(begin..self.line.len());
    }

    pub(super) fn line(&self) -> u64 {
        self.number
    }

    pub(super) fn len(&self) -> usize {
        self.cells.len()
    }

    /// A cell, without blanks and quotes around it, and with single ones for doubled ones within;
    /// empty where there is none.
    pub(super) fn cell(&self, place: usize) -> Cow<'_, [u8]> {
        let range = self.cells.get(place).cloned().unwrap_or_default();
        let cell = self.line.get(range).unwrap_or_default().trim_ascii();
        let inner = cell.strip_prefix(b"\"");
        let Some(inner) = inner.and_then(|inner| inner.strip_suffix(b"\"")) else {
            return Cow::Borrowed(cell);
        };
        if !inner.contains(&b'"') {
            return Cow::Borrowed(inner);
        }
        let mut text = inner.to_vec();
        let mut is_after_one = false;
        text.retain(|byte| {
            let is_second = *byte == b'"' && is_after_one;
            is_after_one = *byte == b'"' && !is_second;
            !is_second
        });
        Cow::Owned(text)
    }

    /// The line before its last cell.
    pub(super) fn before_last(&self) -> &[u8] {
        let last = self.cells.last().map_or(0, |last| last.start);
        self.line.get(..last.saturating_sub(1)).unwrap_or_default()
    }

    /// An error about a cell: what it is, and what would be right.
    pub(super) fn wrong(&self, place: usize, what: &str, rule: &str) -> ScenarioError {
        let shown: String = String::from_utf8_lossy(&self.cell(place))
            .chars()
            .take(40)
            .collect();
        self.at(place, format!("{what} \"{shown}\": {rule}"))
    }

    /// An error about a line that is no whole one.
    pub(super) fn torn(&self, why: &str) -> ScenarioError {
        let message =
            format!("torn line: {why}; --pass-over-torn passes over such lines and counts them");
        self.at(self.cells.len().saturating_sub(1), message)
    }

    /// An error at a cell's first character.
    pub(super) fn at(&self, place: usize, message: String) -> ScenarioError {
        let start = self.cells.get(place).map_or(0, |cell| cell.start);
        let before = String::from_utf8_lossy(self.line.get(..start).unwrap_or_default());
        let column = before.chars().count() as u64 + 1;
        error_of(&self.path, Some(self.number), Some(column), message)
    }

    pub(super) fn of_file(&self, message: &str) -> ScenarioError {
        error_of(&self.path, None, None, message.to_owned())
    }
}

fn error_of(path: &Path, line: Option<u64>, column: Option<u64>, message: String) -> ScenarioError {
    ScenarioError {
        file: path.display().to_string(),
        line,
        column,
        message,
    }
}
