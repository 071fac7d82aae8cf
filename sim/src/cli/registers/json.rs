//! The same for programs; docs/registers.md describes the objects.

use serde_json::{Value as Json, json};

use super::view::{Contents, Field, Held, Part, Shown, State, Value};

/// A part's state as one object.
pub(super) fn state(state: &State) -> String {
    let object = json!({
        "title": state.title,
        "part": state.part,
        "address": state.address,
        "seed": state.seed,
        "time_s": state.time_ns as f64 / 1e9,
        "registers": state.registers.iter().map(shown).collect::<Vec<_>>(),
    });
    format!("{object:#}\n")
}

fn shown(shown: &Shown) -> Json {
    let (bytes, values) = match &shown.contents {
        Contents::Read { bytes, values } => (Some(hexadecimal(bytes)), &values[..]),
        Contents::LeftAlone(_) => (None, &[][..]),
    };
    json!({
        "name": shown.name,
        "pointer": shown.pointer,
        "page": shown.page,
        "bytes": bytes,
        "fields": values.iter().map(value).collect::<Vec<_>>(),
    })
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}

/// A field with its value, and whatever more is known of it.
fn value(value: &Value) -> Json {
    let (number, meaning) = match &value.held {
        Held::Unsigned(number) | Held::Pattern(number, _) | Held::Unnamed(number) => {
            ((*number).into(), None)
        }
        Held::Signed(number) => ((*number).into(), None),
        Held::Flag(set) => ((*set).into(), None),
        Held::Named(number, meaning) => (Json::from(*number), Some(meaning)),
        Held::Text(text) => (text.as_str().into(), None),
    };
    let mut object = json!({ "name": value.name, "value": number, "meaning": meaning });
    for quantity in &value.quantities {
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
pub(super) fn listing(part: &Part) -> String {
    let registers: Vec<Json> = part
        .registers
        .iter()
        .map(|register| {
            json!({
                "name": register.name,
                "pointer": register.pointer,
                "len": register.len,
                "order": register.order,
                "access": register.access,
                "block": register.block,
                "pages": (!register.pages.is_empty()).then_some(register.pages),
                "fields": register.fields.iter().map(field).collect::<Vec<_>>(),
            })
        })
        .collect();
    let object = json!({
        "part": part.name,
        "addresses": part.addresses,
        "checked": part.checked,
        "selector": part.selector,
        "registers": registers,
    });
    format!("{object:#}\n")
}

fn field(field: &Field) -> Json {
    let names = field.names.map(|names| {
        let named = names.iter();
        named
            .map(|(value, name)| json!({ "value": value, "meaning": name }))
            .collect::<Vec<_>>()
    });
    let formats = field.formats.as_ref().map(|formats| {
        let formats = formats.iter();
        formats
            .map(|(page, format)| json!({ "page": page, "format": format }))
            .collect::<Vec<_>>()
    });
    let (counts, channel) = field.counts.unzip();
    json!({
        "name": field.name,
        "low": field.low,
        "bits": field.bits,
        "form": field.form,
        "names": names,
        "counts": counts,
        "channel": channel.flatten(),
        "formats": formats,
    })
}
