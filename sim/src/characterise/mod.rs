//! What a log tells of its rails, and what may be declared and watched for because of it.
//!
//! `docs/characterise.md` says what each figure means and how it is come by. A log is gone through
//! twice: the second time levels are known. Memory does not depend on its length.

mod against;
mod book;
mod events;
mod figures;
mod flowed;
mod levels;
mod moments;
mod report;
mod rolling;
mod sketch;
mod snippet;
mod suggest;

pub use against::{AgainstError, Comparison, Difference, against};
pub(crate) use flowed::Flowed;
pub use report::{
    Characterisation, Excursions, Flows, Level, Peak, Peaks, Quantile, RailFigures, Ripple,
    Spacing, Statistics, Steps,
};
pub use suggest::{Declaration, LimitPlan};

use crate::log::Log;
use crate::scenario::{AlertKind, ScenarioError};
use book::Book;
use events::Events;
use suggest::Suggestion;

/// What is to be known besides the log itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Limits to look for excursions beyond.
    pub limits: Vec<Watched>,
    /// Charge of a full battery in ampere-hours.
    pub capacity_ah: Option<f64>,
    /// By what part what is suggested lies beyond what was seen.
    pub margin: f64,
    /// A longer step from one reading to the next is a gap, in nanoseconds: no time is counted
    /// across it. The greatest number for none.
    pub gap_ns: i64,
    /// Name of the rail of a log that has no names.
    pub name: String,
}

/// A limit of a rail.
#[derive(Clone, Debug, PartialEq)]
pub struct Watched {
    /// The rail.
    pub rail: String,
    /// What it watches for.
    pub kind: AlertKind,
    /// The limit in volts, amperes or watts.
    pub limit: f64,
}

/// Goes through a log and says what is in it.
///
/// # Errors
/// Whatever is wrong with the log, with line and column.
pub fn characterise(log: &mut Log, options: &Options) -> Result<Characterisation, ScenarioError> {
    let mut books: Vec<Book> = Vec::new();
    let passage = log.each(|rail, row| {
        if rail == books.len() {
            books.push(Book::new(row, options.gap_ns));
        } else {
            books[rail].take(row);
        }
    })?;
    for book in &mut books {
        book.finish();
    }
    let names: Vec<String> = log.rails().to_vec();
    let name = |rail: usize| match names[rail].as_str() {
        "" => options.name.clone(),
        name => name.to_owned(),
    };
    let mut events: Vec<Events> = books
        .iter()
        .enumerate()
        .map(|(rail, book)| Events::new(book, name(rail), options))
        .collect();
    log.each(|rail, row| events[rail].take(row))?;
    let rails = books.into_iter().zip(events).map(|(book, events)| {
        let mut rail = figures::rail(&book, events, options);
        rail.suggested = Suggestion::of(&rail, &book, options.margin).into();
        rail
    });
    let rails: Vec<_> = rails.collect();
    Ok(Characterisation {
        rows: passage.rows,
        torn_lines: passage.torn,
        first_torn_line: passage.first_torn,
        scenario_snippet: snippet::scenario(&rails),
        rust_snippet: snippet::rust(&rails),
        rails,
        differences: None,
        not_logged: Vec::new(),
    })
}
