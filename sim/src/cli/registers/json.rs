//! The same for programs; docs/registers.md describes the objects.

use crake::old::part::description::{Counts, Description, Field, Form, Register, Value};
use crake::old::part::pmbus::format::Format;
use serde_json::{Value as Json, json};

use super::listing::{access, counts, format, order};
use super::state::State;
use crate::old::inspect::{Contents, Quantity};

/// A part's state as one object.
pub(super) fn state(state: &State) -> String {
    let registers: Vec<Json> = state
        .registers
        .iter()
        .map(|(register, contents)| {
            let fields = |contents| {
                let fields = state.scales.fields(contents);
                fields.map(|(field, value, quantities)| self::value(field, value, &quantities))
            };
            json!({
                "name": register.name,
                "pointer": register.pointer,
                "page": contents.as_ref().and_then(Contents::page),
                "bytes": contents.as_ref().map(hexadecimal),
                "fields": contents.iter().flat_map(fields).collect::<Vec<_>>(),
            })
        })
        .collect();
    let object = json!({
        "title": state.title,
        "part": state.description.spec.name,
        "address": state.address,
        "seed": state.seed,
        "time_s": state.time_ns as f64 / 1e9,
        "registers": registers,
    });
    format!("{object:#}\n")
}

fn hexadecimal(contents: &Contents) -> String {
    let pairs = contents.bytes().iter().map(|byte| format!("{byte:02X}"));
    pairs.collect()
}

/// A field with its value, and whatever more is known of it.
fn value(field: &Field, value: Value, quantities: &[Quantity]) -> Json {
    let (number, meaning) = match value {
        Value::Unsigned(number) | Value::Unnamed(number) => (number.into(), None),
        Value::Signed(number) => (number.into(), None),
        Value::Flag(set) => (set.into(), None),
        Value::Named(number, meaning) => (Json::from(number), Some(meaning)),
        Value::Text(text) => (text.as_str().into(), None),
    };
    let mut object = json!({ "name": field.name, "value": number, "meaning": meaning });
    for quantity in quantities {
        let key = match quantity.unit {
            "V" => "volts",
            "A" => "amperes",
            _ => "watts",
        };
        object[key] = quantity.value.into();
    }
    object
}

/// The registers of a part as one object.
pub(super) fn listing(description: &Description, registers: &[&Register]) -> String {
    let registers: Vec<Json> = registers
        .iter()
        .map(|register| {
            json!({
                "name": register.name,
                "pointer": register.pointer,
                "len": register.len,
                "order": order(register.order),
                "access": access(register.access),
                "block": register.block,
                "pages": (!register.pages.is_empty()).then_some(register.pages),
                "fields": register.fields.iter().map(field).collect::<Vec<_>>(),
            })
        })
        .collect();
    let object = json!({
        "part": description.spec.name,
        "addresses": description.addresses,
        "checked": description.checked,
        "selector": description.selector.map(|selector| selector.name),
        "registers": registers,
    });
    format!("{object:#}\n")
}

fn field(field: &Field) -> Json {
    let (form, names) = match field.form {
        Form::Unsigned => ("unsigned", None),
        Form::Signed => ("signed", None),
        Form::Flag => ("flag", None),
        Form::Named(names) => ("named", Some(names)),
        Form::Pattern => ("pattern", None),
        Form::Text => ("text", None),
    };
    let names = names.map(|names| {
        let named = names.iter();
        named
            .map(|(value, name)| json!({ "value": value, "meaning": name }))
            .collect::<Vec<_>>()
    });
    let (counts, channel) = counts(field.counts).unzip();
    let formats = match field.counts {
        Counts::Word(_, formats) => {
            let formats = formats.iter();
            let one = |(page, format): &(u8, Format)| json!({ "page": page, "format": self::format(*format) });
            Some(formats.map(one).collect::<Vec<_>>())
        }
        _ => None,
    };
    json!({
        "name": field.name,
        "low": field.low,
        "bits": field.bits,
        "form": form,
        "names": names,
        "counts": counts,
        "channel": channel.flatten(),
        "formats": formats,
    })
}
