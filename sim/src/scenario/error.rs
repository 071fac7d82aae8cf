use std::fmt::{self, Write};
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::ops::Range;
use std::path::Path;

use super::check::Spot;

/// What is wrong with a scenario or with a recording that it names: one place, one message, with
/// the remedy.
///
/// Shown as `FILE:LINE: MESSAGE`, or with a column where a line alone would not do, or without
/// either where the file as a whole is concerned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScenarioError {
    /// The file, as the path that led to it.
    pub file: String,
    /// Line, from 1.
    pub line: Option<u64>,
    /// Column in characters, from 1.
    pub column: Option<u64>,
    /// What is wrong and what would be right.
    pub message: String,
}

impl ScenarioError {
    pub(super) fn of_file(path: &Path, message: String) -> Self {
        Self {
            file: path.display().to_string(),
            line: None,
            column: None,
            message,
        }
    }

    pub(super) fn at_line(path: &Path, line: u64, message: String) -> Self {
        Self {
            line: Some(line),
            ..Self::of_file(path, message)
        }
    }
}

impl fmt::Display for ScenarioError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        for place in [self.line, self.column].into_iter().flatten() {
            write!(f, ":{place}")?;
        }
        write!(f, ": {}", Plain(&self.message))
    }
}

impl std::error::Error for ScenarioError {}

/// Text from a file as it may go to a terminal: control characters are spelt out.
struct Plain<'t>(&'t str);

impl fmt::Display for Plain<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for character in self.0.chars() {
            match character.is_control() {
                true => write!(f, "{}", character.escape_default())?,
                false => f.write_char(character)?,
            }
        }
        Ok(())
    }
}

/// A scenario's text and where it came from: what errors point into.
#[derive(Clone, Copy)]
pub(super) struct Text<'a> {
    pub(super) path: &'a Path,
    pub(super) text: &'a str,
    /// Told where the last error points to, if anybody wants to know.
    pub(super) spot: Option<&'a Spot>,
}

impl Text<'_> {
    /// The line, from 1, on which a span begins.
    pub(super) fn line(self, span: &Range<usize>) -> u64 {
        let before = self.text.get(..span.start).unwrap_or(self.text);
        before.matches('\n').count() as u64 + 1
    }

    pub(super) fn error(self, span: &Range<usize>, message: String) -> ScenarioError {
        self.point(span);
        ScenarioError::at_line(self.path, self.line(span), message)
    }

    /// The next error is about this.
    pub(super) fn point(self, span: &Range<usize>) {
        if let Some(spot) = self.spot {
            spot.point(span.start);
        }
    }

    /// The column of a place, in characters from 1.
    pub(super) fn column(self, start: usize) -> u64 {
        let before = self.text.get(..start).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        before[line_start..].chars().count() as u64 + 1
    }

    /// What the TOML reader found wrong.
    pub(super) fn syntax(self, error: &toml::de::Error) -> ScenarioError {
        let message = error.message().replace('\n', ", ");
        let Some(span) = error.span() else {
            return ScenarioError::of_file(self.path, message);
        };
        ScenarioError {
            column: Some(self.column(span.start)),
            ..self.error(&span, message)
        }
    }

    /// The text of a span, shortened to what fits in a message.
    pub(super) fn shown(self, span: &Range<usize>) -> String {
        let text = self.text.get(span.clone()).unwrap_or_default();
        shortened(text)
    }
}

/// As much of a value as a message repeats.
pub(super) fn shortened(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    let mut shown: String = line.chars().take(SHOWN_MAX).collect();
    if shown.len() < text.len() {
        shown.push('…');
    }
    shown
}

/// Characters of it.
const SHOWN_MAX: usize = 40;

/// Reads a text file of at most so many bytes.
pub(super) fn read_text(path: &Path, most: u64) -> Result<String, String> {
    let cannot = |error: std::io::Error| match error.kind() {
        ErrorKind::InvalidData => "cannot be read: it is not UTF-8 text".to_owned(),
        _ => format!("cannot be read: {error}"),
    };
    let mut text = String::new();
    let file = File::open(path).map_err(cannot)?;
    let read = file
        .take(most + 1)
        .read_to_string(&mut text)
        .map_err(cannot)?;
    if read as u64 > most {
        return Err(format!(
            "cannot be read: it has more than {} MiB, which is the most that is taken",
            most >> 20
        ));
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_repeats_forty_characters_of_one_line() {
        let forty = "\u{b5}".repeat(40);
        assert_eq!(shortened(&forty), forty);
        assert_eq!(shortened(&format!("{forty}!")), format!("{forty}\u{2026}"));
        assert_eq!(shortened("[1,\n2]"), "[1,\u{2026}");
        assert_eq!(shortened(""), "");
    }
}
