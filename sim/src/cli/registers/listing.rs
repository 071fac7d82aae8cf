//! What registers a part has, for people.

use super::table::wrapped;
use super::view::{Field, Part, Register};

/// A table of a part's registers.
pub(super) fn listing(part: &Part) -> String {
    let addresses: Vec<_> = part
        .addresses
        .iter()
        .map(|address| format!("{address:#04x}"))
        .collect();
    let check = if part.checked {
        "a check byte after each register that is read"
    } else {
        "no check byte"
    };
    let mut text = format!(
        "{}: 7-bit address {}; {check}\n\n",
        part.name,
        addresses.join(", ")
    );
    let names = part.registers.iter().map(|register| register.name.len());
    let width = names.max().unwrap_or_default().max("register".len());
    let mut line = |pointer: &str, name: &str, [bytes, order, access]: [&str; 3], fields: &str| {
        let line =
            format!("{pointer:7}  {name:width$}  {bytes:>5}  {order:10}  {access:6}  {fields}");
        text.push_str(line.trim_end());
        text.push('\n');
    };
    let head = ["bytes", "order", "access"];
    line("pointer", "register", head, "fields, by their bits");
    for register in &part.registers {
        let fields: Vec<_> = register.fields.iter().flat_map(field).collect();
        let lines = wrapped(&fields);
        let first = lines.first().map_or("", String::as_str);
        let len = register.len.to_string();
        let columns = [&len[..], register.order, register.access];
        let pointer = format!("{:#04x}", register.pointer);
        let fields = format!("{}{first}", before(register));
        line(&pointer, register.name, columns, &fields);
        for fields in lines.iter().skip(1) {
            line("", "", ["", "", ""], fields);
        }
    }
    text
}

/// What is to be known of the whole register.
fn before(register: &Register) -> String {
    let block = if register.block { "block; " } else { "" };
    match register.pages {
        [] => block.to_owned(),
        [page] => format!("{block}page {page}: "),
        pages => {
            let pages: Vec<_> = pages.iter().map(u8::to_string).collect();
            format!("{block}pages {}: ", pages.join(", "))
        }
    }
}

/// Name, bits and what they count; after it, in parentheses, the values that have names or the
/// formats of the pages.
fn field(field: &Field) -> Vec<String> {
    let bits = match field.bits {
        1 => field.low.to_string(),
        bits => format!("{}-{}", field.low + u16::from(bits) - 1, field.low),
    };
    let signed = if field.form == "signed" {
        " signed"
    } else {
        ""
    };
    let counts = field
        .counts
        .map_or_else(String::new, |(what, _)| format!(" [{what}]"));
    let mut texts = vec![format!("{} {bits}{signed}{counts}", field.name)];
    let names = field.names.unwrap_or_default().iter();
    texts.extend(names.map(|(value, name)| format!("{value:#x} {name}")));
    let formats = field.formats.iter().flatten();
    texts.extend(formats.map(|(page, format)| format!("page {page} {format}")));
    if let [_, first, ..] = &mut texts[..] {
        first.insert(0, '(');
        if let Some(last) = texts.last_mut() {
            last.push(')');
        }
    }
    texts
}
