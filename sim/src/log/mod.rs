//! Logs of rails: text with a reading of one rail a line, from the bench or from a real board.
//!
//! The format is described in `docs/characterise.md`. A [`Log`] is gone through line by line, as
//! often as one likes, in memory that does not depend on its length.

mod columns;
mod lines;
mod number;

pub use columns::{Column, Mapping};

use std::borrow::Cow;
use std::path::{Path, PathBuf};

pub(crate) use crate::scenario::ScenarioError;
use columns::Places;
use lines::Lines;

/// A log whose header was understood.
#[derive(Debug)]
pub struct Log {
    path: PathBuf,
    mapping: Mapping,
    places: Places,
    rails: Vec<String>,
    length_ns: i64,
    /// What the first passage came to: each one after it comes to the same.
    first: Option<Passage>,
}

/// One reading of one rail, in base units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Line of the file, from 1.
    pub line: u64,
    /// When, in nanoseconds.
    pub time_ns: i64,
    /// Rail voltage in volts, if the log has it.
    pub voltage_v: Option<f64>,
    /// Current in amperes, positive from source to load.
    pub current_a: f64,
    /// Power in watts: the log's own, or else voltage × current.
    pub power_w: Option<f64>,
    /// Charge so far in coulombs, if the log has it.
    pub charge_c: Option<f64>,
    /// Energy so far in joules, if the log has it.
    pub energy_j: Option<f64>,
    /// Whether a conversion went over range.
    pub clipped: bool,
}

/// What one passage through a log came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Passage {
    /// Readings.
    pub rows: u64,
    /// Torn lines that were passed over.
    pub torn: u64,
    /// Line of the first of them.
    pub first_torn: Option<u64>,
}

/// Names of rails that a log may have: more are a column of something else.
const RAILS_MAX: usize = 64;

/// Characters of a name.
const NAME_MAX: usize = 64;

/// Of a file that another passage finds otherwise.
const CHANGED: &str = "it changed while it was read, which happens more than once: copy it first";

impl Log {
    /// Reads the header.
    ///
    /// # Errors
    /// A file that cannot be read, a header without the columns that are needed, a unit that is
    /// none of a column's quantity: each with line and column.
    pub fn open(path: &Path, mapping: &Mapping) -> Result<Self, ScenarioError> {
        let mut lines = Lines::open(path, mapping)?;
        let places = mapping.places(&mut lines)?;
        Ok(Self {
            path: path.to_owned(),
            mapping: mapping.clone(),
            places,
            rails: Vec::new(),
            length_ns: i64::MAX,
            first: None,
        })
    }

    /// Leaves out readings after a moment, in nanoseconds: of the log's time, or if the log begins
    /// before 0 or after that moment, of the time since its first reading.
    pub fn end_after(&mut self, length_ns: i64) {
        self.length_ns = length_ns;
    }

    /// Names of the rails met so far, in their order; a log without a column of names has one.
    #[must_use]
    pub fn rails(&self) -> &[String] {
        &self.rails
    }

    /// Goes through the whole log from its beginning: `take` is given each reading with the number
    /// of its rail.
    ///
    /// # Errors
    /// The first line that is no reading: torn, unless the mapping passes over those; not a number,
    /// beyond what a rail can have, or earlier than the reading before of the same rail. A file
    /// that is not what it was in an earlier passage.
    pub fn each(&mut self, mut take: impl FnMut(usize, &Row)) -> Result<Passage, ScenarioError> {
        let mut lines = Lines::open(&self.path, &self.mapping)?;
        if self.mapping.is_headed {
            lines.next()?;
        }
        let mut passage = Passage::default();
        let mut last_ns: Vec<Option<i64>> = vec![None; self.rails.len()];
        let mut zero_ns = None;
        while lines.next()? {
            if let Some(why) = self.places.torn(&lines) {
                if !self.mapping.pass_over_torn {
                    return Err(lines.torn(&why));
                }
                passage.torn += 1;
                passage.first_torn.get_or_insert(lines.line());
                continue;
            }
            let row = self.places.row(&lines)?;
            let length_ns = self.length_ns;
            let zero_ns = *zero_ns.get_or_insert(match (0..=length_ns).contains(&row.time_ns) {
                true => 0,
                false => row.time_ns,
            });
            if row.time_ns - zero_ns > length_ns {
                continue;
            }
            let rail = self.rail(&lines)?;
            last_ns.resize(self.rails.len(), None);
            if let Some(last_ns) = last_ns[rail].replace(row.time_ns)
                && row.time_ns <= last_ns
            {
                let last_s = last_ns as f64 / 1e9;
                let message = format!("not after the reading before of this rail, at {last_s} s");
                return Err(lines.wrong(self.places.time(), "time", &message));
            }
            passage.rows += 1;
            take(rail, &row);
        }
        if passage.rows == 0 {
            return Err(lines.of_file("there is no reading in it"));
        }
        match self.first.get_or_insert(passage) {
            first if *first == passage => Ok(passage),
            _ => Err(lines.of_file(CHANGED)),
        }
    }

    /// Which rail a line is of; no other than in the first passage.
    fn rail(&mut self, lines: &Lines) -> Result<usize, ScenarioError> {
        let name = match self.places.rail() {
            Some(place) => lines.cell(place),
            None => Cow::Borrowed(&b""[..]),
        };
        let mut known = self.rails.iter();
        let known = known.position(|known| known.as_bytes() == &*name);
        if let Some(known) = known {
            return Ok(known);
        }
        if self.first.is_some() {
            return Err(lines.of_file(CHANGED));
        }
        let Some(place) = self.places.rail() else {
            self.rails.push(String::new());
            return Ok(0);
        };
        let wrong = |rule: &str| Err(lines.wrong(place, "rail", rule));
        let Ok(name) = str::from_utf8(&name) else {
            return wrong("not UTF-8 text");
        };
        if let Err(rule) = check_name(name) {
            return wrong(rule);
        }
        if self.rails.len() == RAILS_MAX {
            return wrong("a log has 64 rails at the most; is it the right column?");
        }
        self.rails.push(name.to_owned());
        Ok(self.rails.len() - 1)
    }
}

/// Whether a rail may have this name, or what is wrong with it.
pub(crate) fn check_name(name: &str) -> Result<(), &'static str> {
    if name.is_empty() {
        return Err("it must not be empty");
    }
    if name.chars().any(char::is_control) {
        return Err("it must be one line, without control characters");
    }
    if name.chars().count() > NAME_MAX {
        return Err("it may have 64 characters at the most");
    }
    Ok(())
}
