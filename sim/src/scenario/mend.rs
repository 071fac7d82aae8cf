//! What takes a mistake out of the way, by the schema: a key less, or another value.

use serde_json::Value as Json;
use toml::Spanned;
use toml::de::{DeArray, DeTable};

use super::way::{Inside, Way, found, inside, table_at};
use super::word::nearest;
use super::{read, schema};

pub(super) enum Mend {
    Remove(Way),
    /// Another value, as a document of one key.
    Put(Way, String),
}

pub(super) struct Mender {
    schema: Json,
    /// Behind what the next sample stands: the text, and other samples.
    samples: usize,
    /// What was replaced already.
    replaced: Vec<Way>,
}

impl Mender {
    /// For a document of so many bytes.
    pub(super) fn new(length: usize) -> Self {
        Self {
            schema: schema::schema().to_value(),
            samples: length,
            replaced: Vec::new(),
        }
    }

    /// What takes the thing that begins at `start` out of the way, if anything can.
    pub(super) fn mend(
        &mut self,
        document: &DeTable<'_>,
        start: usize,
        missing: Option<&str>,
    ) -> Option<Mend> {
        let (mut way, is_key) = found(document, start)?;
        // A table begins where its first key does, if it is the file or has dotted keys.
        if missing.is_some() && is_key && table_at(document, &way).is_none() {
            way.pop();
        }
        if is_key && missing.is_none() {
            return Some(Mend::Remove(way));
        }
        if let Some(mend) = missing.and_then(|key| self.fill_in(document, &way, key)) {
            return Some(mend);
        }
        if way.last().is_some_and(|last| last == "kind") {
            way.pop();
            if let Some(word) = self.kind_meant(document, &way) {
                way.push("kind".to_owned());
                return Some(self.put(way, &format!("\"{word}\"")));
            }
            // What else a table takes follows from its kind.
            if way.last().is_some_and(|last| last.parse::<usize>().is_ok()) {
                return Some(Mend::Remove(way));
            }
        }
        while let Some((last, parent)) = way.split_last() {
            let is_element = last.parse::<usize>().is_ok();
            let is_optional = match is_element {
                true => parent != ["rail"] && table_at(document, &way).is_some(),
                false => !self.required(document, parent).contains(last),
            };
            if is_optional {
                return Some(Mend::Remove(way));
            }
            if !self.replaced.contains(&way) {
                let sample = self.sample_at(document, &way);
                return Some(self.put(way, &sample));
            }
            way = parent.to_vec();
        }
        None
    }

    /// A sample under a key that a table lacks.
    fn fill_in(&mut self, document: &DeTable<'_>, way: &[String], key: &str) -> Option<Mend> {
        let form = self.form(document, way)?;
        let sample = self.sample(form["properties"].get(key)?);
        Some(self.put([way, &[key.to_owned()]].concat(), &sample))
    }

    fn put(&mut self, way: Way, sample: &str) -> Mend {
        self.replaced.push(way.clone());
        // No place in the text is one of a sample.
        let text = format!("{}x = {sample}", " ".repeat(self.samples));
        self.samples = text.len();
        Mend::Put(way, text)
    }

    /// The form of what stands at a way, with the kind that it says it has.
    fn form<'s>(&'s self, document: &DeTable<'_>, way: &[String]) -> Option<&'s Json> {
        let mut form = self.resolved(&self.schema, document, &[]);
        for (depth, key) in way.iter().enumerate() {
            let inner = match key.parse::<usize>() {
                Ok(_) => &form["items"],
                Err(_) => form["properties"].get(key)?,
            };
            form = self.resolved(inner, document, &way[..=depth]);
        }
        Some(form)
    }

    fn resolved<'s>(
        &'s self,
        mut form: &'s Json,
        document: &DeTable<'_>,
        way: &[String],
    ) -> &'s Json {
        if let Some(to) = form["$ref"].as_str() {
            form = self
                .schema
                .pointer(to.trim_start_matches('#'))
                .unwrap_or(form);
        }
        let Some(kinds) = form["oneOf"].as_array() else {
            return form;
        };
        let table = table_at(document, way);
        let kind = table.and_then(|table| table.get("kind")?.get_ref().as_str());
        let same = |branch: &&Json| branch["properties"]["kind"]["const"].as_str() == kind;
        kinds.iter().find(same).or(kinds.first()).unwrap_or(form)
    }

    fn required(&self, document: &DeTable<'_>, way: &[String]) -> Vec<String> {
        let form = self.form(document, way);
        form.map_or_else(Vec::new, |form| keys(&form["required"]))
    }

    /// The kind that a mistyped one is nearest to.
    fn kind_meant(&self, document: &DeTable<'_>, way: &[String]) -> Option<String> {
        let word = table_at(document, way)?.get("kind")?.get_ref().as_str()?;
        let kinds = self.unresolved(document, way)?;
        let kinds = match kinds["$ref"].as_str() {
            Some(to) => self.schema.pointer(to.trim_start_matches('#'))?,
            None => kinds,
        };
        let kinds = kinds["oneOf"].as_array()?.iter();
        let words = kinds.filter_map(|kind| kind["properties"]["kind"]["const"].as_str());
        let words: Vec<_> = words.filter(|known| *known != word).collect();
        nearest(word, words.into_iter()).map(str::to_owned)
    }

    /// The form of what stands at a way, of whatever kind.
    fn unresolved<'s>(&'s self, document: &DeTable<'_>, way: &[String]) -> Option<&'s Json> {
        let (last, parent) = way.split_last()?;
        let form = self.form(document, parent)?;
        Some(match last.parse::<usize>() {
            Ok(_) => &form["items"],
            Err(_) => &form["properties"][last],
        })
    }

    /// Something that may stand at a way, of whatever kind is plainest.
    fn sample_at(&self, document: &DeTable<'_>, way: &[String]) -> String {
        // A name that another has: messages go on to speak of it.
        if let Some((last, parent)) = way.split_last()
            && last == "name"
            && let Some(name) = table_at(document, parent)
                .and_then(|table| table.get("name")?.get_ref().as_str())
                .filter(|name| name.chars().count() + 2 <= read::NAME_MAX)
                .filter(|name| !name.trim().is_empty() && !name.contains(char::is_control))
        {
            return toml::Value::from(format!("{name} 2")).to_string();
        }
        let form = self.unresolved(document, way);
        let sample = form.map_or_else(String::new, |form| self.sample(form));
        let table = table_at(document, way);
        // Others may speak of it by its name.
        match table.and_then(|table| table.get("name")?.get_ref().as_str()) {
            Some(name) => {
                let name = format!("name = {}", toml::Value::from(name));
                sample.replace("name = \"sample\"", &name)
            }
            None => sample,
        }
    }

    /// Something of this form, as TOML.
    fn sample(&self, form: &Json) -> String {
        if let Some(to) = form["$ref"].as_str() {
            return self
                .schema
                .pointer(to.trim_start_matches('#'))
                .map_or_else(String::new, |form| self.sample(form));
        }
        for choice in ["oneOf", "anyOf"] {
            if let Some(first) = form[choice].get(0) {
                return self.sample(first);
            }
        }
        if let Some(word) = form["enum"].get(0).or(form.get("const")) {
            return word.to_string();
        }
        match form["type"].as_str() {
            Some("object") => {
                let required = keys(&form["required"]).into_iter();
                let keys = required
                    .map(|key| format!("{key} = {}", self.sample(&form["properties"][&key])));
                format!("{{ {} }}", keys.collect::<Vec<_>>().join(", "))
            }
            Some("array") => {
                let pair = form["prefixItems"].as_array().into_iter().flatten();
                let all = pair.chain(form.get("items").filter(|form| form.is_object()));
                let all: Vec<_> = all.map(|form| self.sample(form)).collect();
                format!("[{}]", all.join(", "))
            }
            Some("string") => "\"sample\"".to_owned(),
            _ => {
                let end = |key: &str| form[key].as_f64();
                let least = 1_f64.max(end("minimum").unwrap_or_default());
                least.min(end("maximum").unwrap_or(f64::MAX)).to_string()
            }
        }
    }
}

impl Mend {
    pub(super) fn apply<'t>(&'t self, document: &mut DeTable<'t>) {
        let (Self::Remove(way) | Self::Put(way, _)) = self;
        let Some((last, parent)) = way.split_last() else {
            return;
        };
        let value = match self {
            Self::Remove(_) => None,
            Self::Put(_, text) => match DeTable::parse(text) {
                Ok(parsed) => parsed
                    .into_inner()
                    .into_iter()
                    .next()
                    .map(|(_, value)| value),
                Err(_) => return,
            },
        };
        match (inside(document, parent), value) {
            (Some(Inside::Table(table)), None) => drop(table.remove(last.as_str())),
            (Some(Inside::Table(table)), Some(value)) => {
                // A key that is there already keeps its place.
                table.insert(Spanned::new(value.span(), last.as_str().into()), value);
            }
            (Some(Inside::Array(array)), value) => {
                let Ok(place) = last.parse::<usize>() else {
                    return;
                };
                match value {
                    Some(value) => {
                        if let Some(old) = array.get_mut(place) {
                            *old = value;
                        }
                    }
                    None => {
                        let all = std::mem::replace(array, DeArray::new()).into_iter();
                        let rest = all.enumerate().filter(|(at, _)| *at != place);
                        rest.for_each(|(_, value)| array.push(value));
                    }
                }
            }
            (None, _) => {}
        }
    }
}

/// Strings of a list.
fn keys(list: &Json) -> Vec<String> {
    let list = list.as_array().into_iter().flatten();
    list.filter_map(|key| key.as_str().map(str::to_owned))
        .collect()
}
