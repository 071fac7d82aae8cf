//! Writes files anew with mistakes in them, each between two comments that name its switch, so that
//! what the compiler refuses can be traced back to a mistake.

use std::collections::BTreeMap;
use std::error::Error;
use std::fs;
use std::ops::Range;

use crate::place::{Mistake, Place};

pub fn all(places: &[Place]) -> Result<(), Box<dyn Error>> {
    let mut files: BTreeMap<&str, Vec<&Place>> = BTreeMap::new();
    for place in places {
        files.entry(&place.file).or_default().push(place);
    }
    for (file, mut places) in files {
        let text = fs::read_to_string(file)?;
        // An outer place comes before the inner ones.
        places.sort_by_key(|place| (place.whole.start, usize::MAX - place.whole.end));
        fs::write(file, render(&text, 0..text.len(), &places))?;
    }
    Ok(())
}

/// A range of the text, with the mistakes that lie in it.
fn render(text: &str, range: Range<usize>, places: &[&Place]) -> String {
    let mut out = String::new();
    let mut at = range.start;
    let mut rest = places;
    while let Some((first, others)) = rest.split_first() {
        // Those of the same range lie in it, too: the first is the outermost.
        let inside = others
            .iter()
            .take_while(|p| p.whole.end <= first.whole.end)
            .count();
        let (inner, after) = others.split_at(inside);
        out.push_str(&text[at..first.whole.start]);
        out.push_str(&one(text, first, inner));
        at = first.whole.end;
        rest = after;
    }
    out.push_str(&text[at..range.end]);
    out
}

fn within<'p>(range: &Range<usize>, places: &[&'p Place]) -> Vec<&'p Place> {
    let lies = |p: &&&Place| p.whole.start >= range.start && p.whole.end <= range.end;
    places.iter().filter(lies).copied().collect()
}

fn one(text: &str, place: &Place, inner: &[&Place]) -> String {
    let n = place.switch;
    let part = |range: &Range<usize>| render(text, range.clone(), &within(range, inner));
    let same = part(&place.whole);
    let on = format!("crate::mutant::on({n})");
    let planted = match &place.mistake {
        Mistake::Operator {
            left,
            right,
            operator,
        } => {
            let (left, right) = (part(left), part(right));
            format!("(if {on} {{ ({left}) {operator} ({right}) }} else {{ {same} }})")
        }
        Mistake::Bare { operand } => format!("(if {on} {{ {} }} else {{ {same} }})", part(operand)),
        Mistake::Nudged => {
            format!("(if {on} {{ crate::mutant::nudged({same}) }} else {{ {same} }})")
        }
        Mistake::Inverted => format!("(if {on} {{ !{same} }} else {{ {same} }})"),
        Mistake::Arm => return format!("{same} if !/*<{n}*/ {on} /*>{n}*/"),
        Mistake::Guard { always: true } => format!("({on} || ({same}))"),
        Mistake::Guard { always: false } => format!("(!{on} && ({same}))"),
        Mistake::Returned { value } => {
            let body = same.strip_prefix('{').unwrap_or(&same);
            return format!("{{ /*<{n}*/ if {on} {{ return {value}; }} /*>{n}*/ {body}");
        }
    };
    format!("/*<{n}*/ {planted} /*>{n}*/")
}
