//! Ways through a document to its values.

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

/// A way to a value: keys of tables, and places in arrays as numbers.
pub(super) type Way = Vec<String>;

pub(super) enum Inside<'d, 't> {
    Table(&'d mut DeTable<'t>),
    Array(&'d mut DeArray<'t>),
}

/// The table or array at a way.
pub(super) fn inside<'d, 't>(
    document: &'d mut DeTable<'t>,
    way: &[String],
) -> Option<Inside<'d, 't>> {
    let mut here = Inside::Table(document);
    for key in way {
        let value = match here {
            Inside::Table(table) => table.get_mut(key.as_str())?.get_mut(),
            Inside::Array(array) => array.get_mut(key.parse::<usize>().ok()?)?.get_mut(),
        };
        here = match value {
            DeValue::Table(table) => Inside::Table(table),
            DeValue::Array(array) => Inside::Array(array),
            _ => return None,
        };
    }
    Some(here)
}

/// The table at a way.
pub(super) fn table_at<'d, 't>(
    document: &'d DeTable<'t>,
    way: &[String],
) -> Option<&'d DeTable<'t>> {
    let Some((first, rest)) = way.split_first() else {
        return Some(document);
    };
    let mut value = document.get(first.as_str())?.get_ref();
    for key in rest {
        value = match value {
            DeValue::Table(table) => table.get(key.as_str())?.get_ref(),
            DeValue::Array(array) => array.get(key.parse::<usize>().ok()?)?.get_ref(),
            _ => return None,
        };
    }
    value.as_table()
}

/// The innermost value that begins at `start`, or the key that does; and whether it is a key.
pub(super) fn found(document: &DeTable<'_>, start: usize) -> Option<(Way, bool)> {
    for (key, value) in document {
        let name = key.get_ref().to_string();
        if let Some((way, is_key)) = found_in(value, start) {
            return Some(([&[name][..], &way].concat(), is_key));
        }
        if key.span().start == start {
            return Some((vec![name], true));
        }
    }
    // The whole file.
    (start == 0).then(Default::default)
}

fn found_in(value: &Spanned<DeValue<'_>>, start: usize) -> Option<(Way, bool)> {
    let inner = match value.get_ref() {
        DeValue::Table(table) if !table.is_empty() => {
            found(table, start).filter(|(way, _)| !way.is_empty())
        }
        DeValue::Array(array) => array.iter().enumerate().find_map(|(place, value)| {
            let (way, is_key) = found_in(value, start)?;
            Some(([&[place.to_string()][..], &way].concat(), is_key))
        }),
        _ => None,
    };
    inner.or_else(|| (value.span().start == start).then(Default::default))
}
