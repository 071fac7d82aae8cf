//! A part's state for people: register, bytes, fields, each in a column that wraps.

use crake::old::part::description::{Access, Form, Register, Value};

use super::state::State;
use crate::cli::quantity::quantity;
use crate::old::inspect::Contents;

/// The whole table.
pub(super) fn state(state: &State) -> String {
    let mut lines = vec![
        state.title.clone(),
        format!(
            "{} at address {:#04x}, {:.6} s into the run, seed {}",
            state.description.spec.name,
            state.address,
            state.time_ns as f64 / 1e9,
            state.seed
        ),
        String::new(),
    ];
    let names = state
        .registers
        .iter()
        .map(|(register, _)| register.name.len());
    let name_width = names.chain([REGISTER.len()]).max().unwrap_or_default();
    let bytes_width = state
        .registers
        .iter()
        .map(|(register, _)| usize::from(register.len).min(BYTES_A_LINE) * 3 - 1)
        .chain([BYTES.len()])
        .max()
        .unwrap_or_default();
    let page_width = if state.description.selector.is_some() {
        "page  ".len()
    } else {
        0
    };
    let mut line = |name: &str, page: &str, bytes: &str, fields: &str| {
        let line = format!("{name:name_width$}  {page:page_width$}{bytes:bytes_width$}  {fields}");
        lines.push(line.trim_end().to_owned());
    };
    let page_head = if page_width == 0 { "" } else { "page" };
    line(REGISTER, page_head, BYTES, "fields");
    for (register, contents) in &state.registers {
        let Some(contents) = contents else {
            let why = match register.access {
                Access::Write => "can only be written",
                _ => "left alone: reading changes it",
            };
            line(register.name, "", "-", why);
            continue;
        };
        let bytes = hexadecimal(contents.bytes());
        let fields = wrapped(&fields(state, register, contents));
        for place in 0..bytes.len().max(fields.len()) {
            let of = |column: &[String]| column.get(place).cloned().unwrap_or_default();
            let (name, page) = if place == 0 {
                let page = contents.page();
                (
                    register.name,
                    page.map_or_else(String::new, |page| page.to_string()),
                )
            } else {
                ("", String::new())
            };
            line(name, &page, &of(&bytes), &of(&fields));
        }
    }
    lines.join("\n") + "\n"
}

/// A text for each field that is no flag, and the names of the flags that are set.
fn fields(state: &State, register: &Register, contents: &Contents) -> Vec<String> {
    let mut texts = Vec::new();
    for (field, value, quantities) in state.scales.fields(contents) {
        let name = field.name;
        let plain = match value {
            Value::Unsigned(number) if field.form == Form::Pattern => {
                let digits = usize::from(field.bits.div_ceil(4));
                format!("{name} 0x{number:0digits$X}")
            }
            Value::Unsigned(number) => format!("{name} {number}"),
            Value::Signed(number) => format!("{name} {number}"),
            Value::Flag(true) => name.to_owned(),
            Value::Flag(false) => continue,
            Value::Named(_, meaning) => format!("{name} {meaning}"),
            Value::Unnamed(number) => format!("{name} {number}, which is none"),
            Value::Text(text) => format!("{name} {:?}", text.as_str()),
        };
        let quantities: Vec<_> = quantities
            .iter()
            .map(|amount| quantity(amount.value, 5, amount.unit))
            .collect();
        texts.push(match &quantities[..] {
            [] => plain,
            quantities => format!("{plain}: {}", quantities.join(", ")),
        });
    }
    if texts.is_empty() && register.fields.iter().any(|field| field.form == Form::Flag) {
        texts.push("none set".to_owned());
    }
    texts
}

/// Pairs of digits, so many to a line.
fn hexadecimal(bytes: &[u8]) -> Vec<String> {
    let line = |bytes: &[u8]| {
        let pairs: Vec<_> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
        pairs.join(" ")
    };
    bytes.chunks(BYTES_A_LINE).map(line).collect()
}

/// Texts one after the other, in lines that are not longer than they must.
pub(super) fn wrapped(texts: &[String]) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for text in texts {
        match lines.last_mut() {
            Some(line) if line.chars().count() + text.chars().count() + 2 <= FIELDS_WIDTH => {
                line.push_str("; ");
                line.push_str(text);
            }
            last => {
                if let Some(line) = last {
                    line.push(';');
                }
                lines.push(text.clone());
            }
        }
    }
    lines
}

const REGISTER: &str = "register";
const BYTES: &str = "bytes";
const BYTES_A_LINE: usize = 8;
const FIELDS_WIDTH: usize = 78;
