//! What registers a part has, for people.

use crake::part::description::{Access, Counts, Description, Field, Form, Order, Register};

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
                let paged = if register.paged { "each page: " } else { "" };
                line(
                    &pointer,
                    register.name,
                    columns,
                    &format!("{paged}{fields}"),
                );
            } else {
                line("", "", ["", "", ""], fields);
            }
        }
    }
    text
}

/// Name, bits and what they count; after it, in parentheses, the values that have names.
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
        if let [_, first, ..] = &mut texts[..] {
            first.insert(0, '(');
        }
        if let Some(last) = texts.last_mut() {
            last.push(')');
        }
    }
    texts
}

/// What a field counts, in words, and of which channel.
pub(super) fn counts(counts: Counts) -> Option<(&'static str, u8)> {
    let (what, channel) = match counts {
        Counts::Nothing => return None,
        Counts::Sense(channel) => ("sense code", channel),
        Counts::Bus(channel) => ("bus code", channel),
        Counts::Power(channel) => ("power code", channel),
        Counts::Charge(channel) => ("sum of sense codes", channel),
        Counts::Energy(channel) => ("sum of power codes", channel),
        Counts::SenseRange(channel) => ("sense range", channel),
        Counts::BusRange(channel) => ("bus range", channel),
    };
    Some((what, channel.number()))
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
