//! What registers a part has, for people.

use crake::old::part::description::{
    Access, Counts, Description, Field, Form, Measure, Order, Register,
};
use crake::old::part::pmbus::format::Format;

use super::table::wrapped;

/// A table of these registers.
pub(super) fn listing(description: &Description, registers: &[&Register]) -> String {
    let addresses: Vec<_> = description
        .addresses
        .iter()
        .map(|address| format!("{address:#04x}"))
        .collect();
    let check = if description.checked {
        "a check byte after each register that is read"
    } else {
        "no check byte"
    };
    let mut text = format!(
        "{}: 7-bit address {}; {check}\n\n",
        description.spec.name,
        addresses.join(", ")
    );
    let names = registers.iter().map(|register| register.name.len());
    let width = names.max().unwrap_or_default().max("register".len());
    let mut line = |pointer: &str, name: &str, [bytes, order, access]: [&str; 3], fields: &str| {
        let line =
            format!("{pointer:7}  {name:width$}  {bytes:>5}  {order:10}  {access:6}  {fields}");
        text.push_str(line.trim_end());
        text.push('\n');
    };
    let head = ["bytes", "order", "access"];
    line("pointer", "register", head, "fields, by their bits");
    for register in registers {
        let fields: Vec<_> = register.fields.iter().flat_map(field).collect();
        for (place, fields) in wrapped(&fields).iter().enumerate() {
            if place == 0 {
                let len = register.len.to_string();
                let columns = [&len[..], order(register.order), access(register.access)];
                let pointer = format!("{:#04x}", register.pointer);
                line(
                    &pointer,
                    register.name,
                    columns,
                    &format!("{}{fields}", before(register)),
                );
            } else {
                line("", "", ["", "", ""], fields);
            }
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

/// Name, bits and what they count; after it, in parentheses, the values that have names or the formats of the pages.
fn field(field: &Field) -> Vec<String> {
    let bits = match field.bits {
        1 => field.low.to_string(),
        bits => format!("{}-{}", field.low + u16::from(bits) - 1, field.low),
    };
    let signed = if field.form == Form::Signed {
        " signed"
    } else {
        ""
    };
    let counts = counts(field.counts).map_or_else(String::new, |(what, _)| format!(" [{what}]"));
    let mut texts = vec![format!("{} {bits}{signed}{counts}", field.name)];
    if let Form::Named(names) = field.form {
        texts.extend(
            names
                .iter()
                .map(|(value, name)| format!("{value:#x} {name}")),
        );
    }
    if let Counts::Word(_, formats) = field.counts {
        let formats = formats.iter();
        texts
            .extend(formats.map(|(page, format)| format!("page {page} {}", self::format(*format))));
    }
    if let [_, first, ..] = &mut texts[..] {
        first.insert(0, '(');
        if let Some(last) = texts.last_mut() {
            last.push(')');
        }
    }
    texts
}

/// A number format by its name in the standard.
pub(super) fn format(format: Format) -> String {
    match format {
        Format::Linear11 => "LINEAR11".to_owned(),
        Format::Linear16(exponent) => format!("ULINEAR16, exponent {exponent}"),
        Format::Direct(_) => "DIRECT".to_owned(),
    }
}

/// What a field counts, in words, and of which channel.
pub(super) fn counts(counts: Counts) -> Option<(&'static str, Option<u8>)> {
    let (what, channel) = match counts {
        Counts::Nothing => return None,
        Counts::Sense(channel) => ("sense code", channel),
        Counts::Bus(channel) => ("bus code", channel),
        Counts::Power(channel) => ("power code", channel),
        Counts::Charge(channel) => ("sum of sense codes", channel),
        Counts::Energy(channel) => ("sum of power codes", channel),
        Counts::SenseRange(channel) => ("sense range", channel),
        Counts::BusRange(channel) => ("bus range", channel),
        Counts::Word(Measure::Voltage, _) => return Some(("voltage", None)),
        Counts::Word(Measure::Current, _) => return Some(("current", None)),
        Counts::Word(Measure::Power, _) => return Some(("power", None)),
    };
    Some((what, Some(channel.number())))
}

/// Which byte comes first.
pub(super) fn order(order: Order) -> &'static str {
    match order {
        Order::HighFirst => "high first",
        Order::LowFirst => "low first",
    }
}

/// As the datasheets write it; `r` where reading changes something.
pub(super) fn access(access: Access) -> &'static str {
    match access {
        Access::Read => "R",
        Access::Write => "W",
        Access::Both => "RW",
        Access::ReadChanges => "r",
    }
}
