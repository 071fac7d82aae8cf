//! The same for programs; docs/registers.md describes the objects.

use schemars::JsonSchema;
use serde::Serialize;

use super::view;

/// A part's state.
#[derive(JsonSchema, Serialize)]
pub(crate) struct State {
    /// Title of the scenario, or which part it is.
    title: String,
    /// Name of the part.
    part: &'static str,
    /// Its 7-bit address.
    address: u8,
    /// What all chance came from.
    seed: u64,
    /// When the reading began, in seconds of the bench's time.
    time_s: f64,
    /// What the whole part has, then page by page.
    registers: Vec<Shown>,
}

/// A register and what it held.
#[derive(JsonSchema, Serialize)]
struct Shown {
    /// Its name.
    name: &'static str,
    /// Its number on the bus.
    pointer: u8,
    /// Its page, where it has one.
    page: Option<u8>,
    /// Bytes in the order of the bus, hexadecimal; none of a register that was left alone.
    bytes: Option<String>,
    /// Its fields.
    fields: Vec<Held>,
}

/// A field and what it held.
#[derive(JsonSchema, Serialize)]
struct Held {
    /// Its name.
    name: &'static str,
    /// Its value.
    value: Value,
    /// What the value is called, where it has a name.
    meaning: Option<&'static str>,
    /// What it comes to, in volts.
    #[serde(skip_serializing_if = "Option::is_none")]
    volts: Option<f64>,
    /// What it comes to, in amperes.
    #[serde(skip_serializing_if = "Option::is_none")]
    amperes: Option<f64>,
    /// What it comes to, in watts.
    #[serde(skip_serializing_if = "Option::is_none")]
    watts: Option<f64>,
}

/// A number, a flag or a text.
#[derive(JsonSchema, Serialize)]
#[serde(untagged)]
enum Value {
    Unsigned(u64),
    Signed(i64),
    Flag(bool),
    Text(String),
}

/// A part's state as one object.
pub(super) fn state(state: &view::State) -> String {
    printed(&State {
        title: state.title.clone(),
        part: state.part,
        address: state.address,
        seed: state.seed,
        time_s: state.time_ns as f64 / 1e9,
        registers: state.registers.iter().map(shown).collect(),
    })
}

fn shown(shown: &view::Shown) -> Shown {
    let (bytes, values) = match &shown.contents {
        view::Contents::Read { bytes, values } => (Some(hexadecimal(bytes)), &values[..]),
        view::Contents::LeftAlone(_) => (None, &[][..]),
    };
    Shown {
        name: shown.name,
        pointer: shown.pointer,
        page: shown.page,
        bytes,
        fields: values.iter().map(held).collect(),
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}

/// A field with its value, and whatever more is known of it.
fn held(value: &view::Value) -> Held {
    use view::Held::{Flag, Named, Pattern, Signed, Text, Unnamed, Unsigned};

    let (number, meaning) = match &value.held {
        Unsigned(number) | Pattern(number, _) | Unnamed(number) => (Value::Unsigned(*number), None),
        Signed(number) => (Value::Signed(*number), None),
        Flag(set) => (Value::Flag(*set), None),
        Named(number, meaning) => (Value::Unsigned(*number), Some(*meaning)),
        Text(text) => (Value::Text(text.clone()), None),
    };
    let quantity = |unit: &str| {
        let mut quantities = value.quantities.iter().rev();
        let found = quantities.find(|quantity| quantity.unit == unit);
        found.map(|quantity| quantity.value)
    };
    Held {
        name: value.name,
        value: number,
        meaning,
        volts: quantity("V"),
        amperes: quantity("A"),
        watts: quantity("W"),
    }
}

/// The registers of a part.
#[derive(JsonSchema, Serialize)]
pub(crate) struct Listing {
    /// Name of the part.
    part: &'static str,
    /// 7-bit addresses that it can have.
    addresses: Vec<u8>,
    /// Whether a check byte follows each register that is read.
    checked: bool,
    /// Name of the register that selects the page, where there is one.
    selector: Option<&'static str>,
    /// Each of them.
    registers: Vec<Register>,
}

#[derive(JsonSchema, Serialize)]
struct Register {
    /// Its name.
    name: &'static str,
    /// Its number on the bus.
    pointer: u8,
    /// Bytes, without a check byte and without the count of a block.
    len: u8,
    /// Which byte comes first.
    order: &'static str,
    /// As the datasheets write it; `r` where reading is not for onlookers.
    access: &'static str,
    /// Whether it is read as a block, with a count before it.
    block: bool,
    /// Pages that have it, each its own; none where the whole part has one.
    pages: Option<&'static [u8]>,
    /// Its fields.
    fields: Vec<Field>,
}

#[derive(JsonSchema, Serialize)]
struct Field {
    /// Its name.
    name: &'static str,
    /// Its lowest bit.
    low: u16,
    /// How many bits it has.
    bits: u8,
    /// What kind of number it is.
    form: &'static str,
    /// Values that have names.
    names: Option<Vec<Named>>,
    /// What it counts.
    counts: Option<&'static str>,
    /// Of which channel.
    channel: Option<u8>,
    /// Number formats by page, of a word that has them.
    formats: Option<Vec<Format>>,
}

#[derive(JsonSchema, Serialize)]
struct Named {
    /// The value.
    value: u64,
    /// What it is called.
    meaning: &'static str,
}

#[derive(JsonSchema, Serialize)]
struct Format {
    /// The page.
    page: u8,
    /// Its number format.
    format: String,
}

/// The registers of a part as one object.
pub(super) fn listing(part: &view::Part) -> String {
    let register = |register: &view::Register| Register {
        name: register.name,
        pointer: register.pointer,
        len: register.len,
        order: register.order,
        access: register.access,
        block: register.block,
        pages: (!register.pages.is_empty()).then_some(register.pages),
        fields: register.fields.iter().map(field).collect(),
    };
    printed(&Listing {
        part: part.name,
        addresses: part.addresses.clone(),
        checked: part.checked,
        selector: part.selector,
        registers: part.registers.iter().map(register).collect(),
    })
}

fn field(field: &view::Field) -> Field {
    let named = |&(value, meaning)| Named { value, meaning };
    let format = |(page, format): &(u8, String)| Format {
        page: *page,
        format: format.clone(),
    };
    let (counts, channel) = field.counts.unzip();
    Field {
        name: field.name,
        low: field.low,
        bits: field.bits,
        form: field.form,
        names: field.names.map(|names| names.iter().map(named).collect()),
        counts,
        channel: channel.flatten(),
        formats: field
            .formats
            .as_ref()
            .map(|formats| formats.iter().map(format).collect()),
    }
}

/// With keys in the order of names.
fn printed(object: &impl Serialize) -> String {
    let object = serde_json::json!(object);
    format!("{object:#}\n")
}
