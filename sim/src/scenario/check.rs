//! Every mistake of a scenario at once: the reader tells the first; what it is about is mended by
//! the schema, in memory, and the reader goes on to the next.

use std::cell::{Cell, RefCell};
use std::path::Path;

use toml::de::DeTable;

use super::error::{Text, read_text};
use super::mend::{Mend, Mender};
use super::{PartKind, SCENARIO_MAX, ScenarioError, read};

/// Where the error that was made last points to.
#[derive(Default)]
pub(super) struct Spot {
    start: Cell<Option<usize>>,
    /// The key that is missing there, if one is.
    missing: RefCell<Option<String>>,
}

impl Spot {
    pub(super) fn point(&self, start: usize) {
        self.start.set(Some(start));
        self.missing.take();
    }

    pub(super) fn is_missing(&self, key: &str) {
        self.missing.replace(Some(key.to_owned()));
    }
}

/// Mistakes that are told at the most.
const MOST: usize = 50;

/// Everything that is wrong with a scenario file, each with line and column, in the order of
/// lines; empty for a scenario that runs.
///
/// A mistake may hide another of the same table, such as a limit beyond full scale while the full
/// scale is missing: what is mended is no scenario of anybody.
///
/// # Errors
/// A file that cannot be read.
pub fn mistakes(path: impl AsRef<Path>) -> Result<Vec<ScenarioError>, ScenarioError> {
    let path = path.as_ref();
    let cannot = |message| ScenarioError::of_file(path, message);
    let text = read_text(path, SCENARIO_MAX).map_err(cannot)?;
    Ok(mistakes_of(&text, path))
}

fn mistakes_of(text: &str, path: &Path) -> Vec<ScenarioError> {
    let spot = Spot::default();
    let place = Text {
        path,
        text,
        spot: Some(&spot),
    };
    let (_, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let errors = errors.iter().take(MOST);
        return errors.map(|error| place.syntax(error)).collect();
    }
    let mut mends: Vec<Mend> = Vec::new();
    let mut mender = Mender::new(text.len());
    let mut told: Vec<ScenarioError> = Vec::new();
    for _ in 0..2 * MOST {
        let Ok(mut document) = DeTable::parse(text) else {
            break;
        };
        for mend in &mends {
            mend.apply(document.get_mut());
        }
        spot.start.take();
        let Err(error) = read::document(place, &document, &PartKind::ALL) else {
            break;
        };
        let (start, missing) = (spot.start.take(), spot.missing.take());
        let Some(start) = start else {
            told.push(error);
            break;
        };
        // What is wrong with a sample is no mistake of the file.
        if start <= text.len() {
            // A recording has lines of its own.
            let is_of_the_file = error.file == path.display().to_string();
            let column = is_of_the_file.then(|| place.column(start)).or(error.column);
            told.push(ScenarioError { column, ..error });
        }
        let mend = mender.mend(document.get_ref(), start, missing.as_deref());
        match mend {
            Some(mend) if told.len() < MOST => mends.push(mend),
            _ => break,
        }
    }
    told.sort_by_key(|mistake| (mistake.line, mistake.column));
    told
}
