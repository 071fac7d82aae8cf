//! A part's state for people: register, bytes, fields, each in a column that wraps.

use super::view::{Contents, Held, Shown, State, Value};
use crate::quantity::quantity;

/// The whole table.
pub(super) fn state(state: &State) -> String {
    let mut lines = vec![
        state.title.clone(),
        format!(
            "{} at address {:#04x}, {:.6} s into the run, seed {}",
            state.part,
            state.address,
            state.time_ns as f64 / 1e9,
            state.seed
        ),
        String::new(),
    ];
    let widest = |of: fn(&Shown) -> usize, head: &str| {
        let widths = state.registers.iter().map(of);
        widths.chain([head.len()]).max().unwrap_or_default()
    };
    let name_width = widest(|shown| shown.name.len(), REGISTER);
    let bytes_width = widest(
        |shown| usize::from(shown.len).min(BYTES_A_LINE) * 3 - 1,
        BYTES,
    );
    let (page_head, page_width) = if state.is_paged { ("page", 6) } else { ("", 0) };
    let mut line = |name: &str, page: &str, bytes: &str, fields: &str| {
        let line = format!("{name:name_width$}  {page:page_width$}{bytes:bytes_width$}  {fields}");
        lines.push(line.trim_end().to_owned());
    };
    line(REGISTER, page_head, BYTES, "fields");
    for shown in &state.registers {
        let (bytes, values) = match &shown.contents {
            Contents::Read { bytes, values } => (bytes, values),
            Contents::LeftAlone(why) => {
                line(shown.name, "", "-", why);
                continue;
            }
        };
        let (bytes, fields) = (hexadecimal(bytes), wrapped(&fields(values)));
        let page = shown.page.map_or_else(String::new, |page| page.to_string());
        for place in 0..bytes.len().max(fields.len()) {
            let of = |column: &[String]| column.get(place).cloned().unwrap_or_default();
            let (name, page) = match place {
                0 => (shown.name, &page[..]),
                _ => ("", ""),
            };
            line(name, page, &of(&bytes), &of(&fields));
        }
    }
    lines.join("\n") + "\n"
}

/// A text for each field that is no flag, and the names of the flags that are set.
fn fields(values: &[Value]) -> Vec<String> {
    let mut texts = Vec::new();
    for Value {
        name,
        held,
        quantities,
    } in values
    {
        let plain = match held {
            Held::Pattern(number, bits) => {
                let digits = usize::from(bits.div_ceil(4));
                format!("{name} 0x{number:0digits$X}")
            }
            Held::Unsigned(number) => format!("{name} {number}"),
            Held::Signed(number) => format!("{name} {number}"),
            Held::Flag(true) => (*name).to_owned(),
            Held::Flag(false) => continue,
            Held::Named(_, meaning) => format!("{name} {meaning}"),
            Held::Unnamed(number) => format!("{name} {number}, which is none"),
            Held::Text(text) => format!("{name} {text:?}"),
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
    let is_flag = |value: &Value| matches!(value.held, Held::Flag(_));
    if texts.is_empty() && values.iter().any(is_flag) {
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
