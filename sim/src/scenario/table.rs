//! Tables of a TOML document, read key by key so that nothing in them goes unread.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::ScenarioError;
use super::decimal;
use super::error::{Text, shortened};
use super::renamed;
use super::word::meant;

type Result<T> = std::result::Result<T, ScenarioError>;

/// A table that remembers which keys it was asked for.
pub(super) struct Table<'a> {
    text: Text<'a>,
    /// None for a table that the file leaves out.
    entries: Option<&'a DeTable<'a>>,
    span: Range<usize>,
    /// How the file writes it, such as `[rail.load]`.
    header: &'static str,
    /// Whose it is, such as `rail "LOGIC"`; empty at the top.
    owner: String,
    asked: Vec<String>,
}

/// A value with its key and place.
pub(super) struct Field<'a> {
    text: Text<'a>,
    owner: String,
    key: String,
    value: &'a Spanned<DeValue<'a>>,
}

/// Numbers that a key takes: whole numbers of 10^-`places` of its unit, from `least` to `greatest`.
#[derive(Clone, Copy)]
pub(super) struct Limits {
    pub(super) places: u32,
    pub(super) least: i64,
    pub(super) greatest: i64,
    /// What an error says, such as "a current must lie between -1000 and 1000 A".
    pub(super) rule: &'static str,
}

impl Limits {
    pub(super) const fn new(places: u32, least: i64, greatest: i64, rule: &'static str) -> Self {
        Self {
            places,
            least,
            greatest,
            rule,
        }
    }
}

impl<'a> Table<'a> {
    pub(super) fn new(
        text: Text<'a>,
        entries: Option<&'a DeTable<'a>>,
        span: Range<usize>,
        header: &'static str,
        owner: String,
    ) -> Self {
        Self {
            text,
            entries,
            span,
            header,
            owner,
            asked: Vec::new(),
        }
    }

    pub(super) fn text(&self) -> Text<'a> {
        self.text
    }

    pub(super) fn owner(&self) -> &str {
        &self.owner
    }

    /// From here on errors name `owner`.
    pub(super) fn owned_by(&mut self, owner: String) {
        self.owner = owner;
    }

    pub(super) fn field(&mut self, key: &str) -> Option<Field<'a>> {
        if !self.asked.iter().any(|asked| asked == key) {
            self.asked.push(key.to_owned());
        }
        self.stray(key)
    }

    /// A field that does not belong here, if it is there.
    pub(super) fn stray(&self, key: &str) -> Option<Field<'a>> {
        let value = self.entries.and_then(|entries| entries.get(key));
        value.map(|value| Field {
            text: self.text,
            owner: self.owner.clone(),
            key: key.to_owned(),
            value,
        })
    }

    /// The field, or an error that says what belongs there.
    pub(super) fn needed(&mut self, key: &str, what: &str) -> Result<Field<'a>> {
        if let Some(field) = self.field(key) {
            return Ok(field);
        }
        if let Some((old, renamed)) = renamed::key_before(key, |old| self.has(old)) {
            return Err(self.renamed(old, renamed));
        }
        let needs = match self.entries {
            Some(_) => "needs",
            None => "is missing; it needs",
        };
        let error = self.error(format!("{} {needs} {key}: {what}", self.header));
        if let Some(spot) = self.text.spot {
            spot.is_missing(key);
        }
        Err(error)
    }

    pub(super) fn number(&mut self, key: &str, limits: Limits) -> Result<i64> {
        self.needed(key, limits.rule)?.number(limits)
    }

    pub(super) fn number_or(&mut self, key: &str, limits: Limits, default: i64) -> Result<i64> {
        let field = self.field(key);
        field.map_or(Ok(default), |field| field.number(limits))
    }

    /// As `number`, for limits that begin at 0 or above.
    pub(super) fn count(&mut self, key: &str, limits: Limits) -> Result<u64> {
        self.number(key, limits).map(i64::unsigned_abs)
    }

    pub(super) fn count_or(&mut self, key: &str, limits: Limits, default: u64) -> Result<u64> {
        let field = self.field(key);
        field.map_or(Ok(default), |field| {
            field.number(limits).map(i64::unsigned_abs)
        })
    }

    /// A sub-table, or an empty one with the place of this if it is not there.
    pub(super) fn table(&mut self, key: &str, header: &'static str) -> Result<Table<'a>> {
        match self.field(key) {
            Some(field) => field.table(header),
            None => Ok(Self::new(
                self.text,
                None,
                self.span.clone(),
                header,
                self.owner.clone(),
            )),
        }
    }

    pub(super) fn line(&self) -> u64 {
        self.text.line(&self.span)
    }

    /// An error about this table as a whole.
    pub(super) fn error(&self, message: String) -> ScenarioError {
        self.text.error(&self.span, owned(&self.owner, &message))
    }

    /// Refuses keys that nobody asked for.
    pub(super) fn finish(self) -> Result<()> {
        let keys = self.entries.into_iter().flat_map(|entries| entries.keys());
        let unknown = keys.filter(|key| !self.asked.iter().any(|asked| asked == key.get_ref()));
        // The map is in order of names; the error is about the first in the file.
        let Some(key) = unknown.min_by_key(|key| key.span().start) else {
            return Ok(());
        };
        let takes = |new: &str| self.asked.iter().any(|asked| asked == new);
        if let Some(renamed) = renamed::key_now(key.get_ref(), takes) {
            return Err(self.renamed(key.get_ref(), renamed));
        }
        let meant = meant(key.get_ref(), self.asked.iter().map(String::as_str));
        let message = format!(
            "unknown key {} in {}{meant}{} it takes {}",
            shortened(key.get_ref()),
            self.header,
            if meant.is_empty() { ";" } else { "" },
            self.asked.join(", ")
        );
        Err(self.text.error(&key.span(), owned(&self.owner, &message)))
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.entries
            .is_some_and(|entries| entries.contains_key(key))
    }

    /// An error about a key that has another name now.
    fn renamed(&self, old: &str, (new, how): (&str, &str)) -> ScenarioError {
        let mut keys = self.entries.into_iter().flat_map(|entries| entries.keys());
        let key = keys.find(|key| key.get_ref() == old);
        let span = key.map_or(self.span.clone(), |key| key.span());
        let message = format!("{old} in {} is {new} now: {how}", self.header);
        self.text.error(&span, owned(&self.owner, &message))
    }
}

impl<'a> Field<'a> {
    pub(super) fn number(&self, limits: Limits) -> Result<i64> {
        let number = match self.value.get_ref() {
            DeValue::Integer(integer) if integer.radix() != 10 => {
                let whole = i64::from_str_radix(integer.as_str(), integer.radix()).ok();
                whole.map(|whole| i128::from(whole) * 10_i128.pow(limits.places))
            }
            DeValue::Integer(integer) => Some(self.decimal(integer.as_str(), limits.places)?),
            // What is counted is not rounded.
            DeValue::Float(_) if limits.places == 0 => None,
            DeValue::Float(float) => Some(self.decimal(float.as_str(), limits.places)?),
            _ => return Err(self.error("not a number")),
        };
        number
            .and_then(|number| i64::try_from(number).ok())
            .filter(|number| (limits.least..=limits.greatest).contains(number))
            .ok_or_else(|| self.error(limits.rule))
    }

    fn decimal(&self, text: &str, places: u32) -> Result<i128> {
        decimal::parse(text, places).map_err(|error| self.error(&error.to_string()))
    }

    pub(super) fn string(&self) -> Result<&'a str> {
        let text = self.value.get_ref().as_str();
        text.ok_or_else(|| self.error("not a string; put it in double quotes"))
    }

    /// A text that is shown in one line: not empty, so long at the most, no control characters.
    pub(super) fn line_of_text(&self, most: usize) -> Result<&'a str> {
        let text = self.string()?;
        if text.trim().is_empty() {
            return Err(self.error("it must not be empty"));
        }
        if text.chars().any(char::is_control) {
            return Err(self.error("it must be one line, without control characters"));
        }
        if text.chars().count() > most {
            return Err(self.error(&format!("it may have {most} characters at the most")));
        }
        Ok(text)
    }

    pub(super) fn is_array(&self) -> bool {
        self.value.get_ref().is_array()
    }

    pub(super) fn is_string(&self) -> bool {
        self.value.get_ref().is_str()
    }

    /// The meaning of one of a few words.
    pub(super) fn one_of<T: Copy>(&self, words: &[(&str, T)]) -> Result<T> {
        let word = self.value.get_ref().as_str();
        let found = words.iter().find(|(known, _)| Some(*known) == word);
        found.map(|(_, meaning)| *meaning).ok_or_else(|| {
            if let Some(new) = word.and_then(renamed::word_now) {
                return self.error(&format!("it is \"{new}\" now"));
            }
            let known: Vec<_> = words
                .iter()
                .map(|(known, _)| format!("\"{known}\""))
                .collect();
            let several = word.filter(|_| words.len() > 1);
            let words = || words.iter().map(|(known, _)| *known);
            let meant = several.map_or_else(String::new, |word| meant(word, words()));
            self.error(&format!("it must be {}{meant}", known.join(" or ")))
        })
    }

    pub(super) fn table(&self, header: &'static str) -> Result<Table<'a>> {
        let Some(entries) = self.value.get_ref().as_table() else {
            return Err(self.error(&format!("it must be a table, {header}")));
        };
        Ok(Table::new(
            self.text,
            Some(entries),
            self.value.span(),
            header,
            self.owner.clone(),
        ))
    }

    /// The elements of an array, each under the array's key.
    pub(super) fn elements(&self, what: &str) -> Result<Vec<Field<'a>>> {
        let Some(array) = self.value.get_ref().as_array() else {
            return Err(self.error(what));
        };
        let element = |value| Field {
            text: self.text,
            owner: self.owner.clone(),
            key: self.key.clone(),
            value,
        };
        Ok(array.iter().map(element).collect())
    }

    /// Two numbers in brackets.
    pub(super) fn pair(&self, first: Limits, second: Limits, what: &str) -> Result<(i64, i64)> {
        match self.elements(what)?.as_slice() {
            [one, other] => Ok((one.number(first)?, other.number(second)?)),
            _ => Err(self.error(what)),
        }
    }

    pub(super) fn line(&self) -> u64 {
        self.text.line(&self.value.span())
    }

    /// Where it begins in the text, in bytes.
    pub(super) fn start(&self) -> usize {
        self.value.span().start
    }

    /// What is wrong next is about this value.
    pub(super) fn point(&self) {
        self.text.point(&self.value.span());
    }

    /// An error about this value.
    pub(super) fn error(&self, message: &str) -> ScenarioError {
        let shown = self.text.shown(&self.value.span());
        let message = format!("{} = {shown}: {message}", self.key);
        self.text
            .error(&self.value.span(), owned(&self.owner, &message))
    }
}

/// For numbers whose limits are within 32 bits.
pub(super) fn whole(number: u64) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

fn owned(owner: &str, message: &str) -> String {
    if owner.is_empty() {
        message.to_owned()
    } else {
        format!("{owner}: {message}")
    }
}
