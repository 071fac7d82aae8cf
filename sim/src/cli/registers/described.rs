//! Registers by the bench's descriptions.

use super::view::{Contents, Field, Held, Part, Register, Shown, State, Value};
use crate::bench::Bench;
use crate::cli::text;
use crate::inspect::{
    self, Access, Counts, Description, Form, Inspector, Measure, Order, Resistor, Scales, find,
};
use crate::part::pmbus::Format;

/// A part's registers, or the one of this name.
pub(super) fn part(description: &'static Description, name: Option<&str>) -> Result<Part, String> {
    Ok(Part {
        name: description.name,
        addresses: description.addresses.to_vec(),
        checked: description.checked,
        selector: description.selector.map(|selector| selector.name),
        registers: asked(description, name)?
            .into_iter()
            .map(register)
            .collect(),
    })
}

/// Looks at the part at an address of a bench.
pub(super) fn state(
    title: String,
    bench: &Bench,
    (address, description): (u8, &'static Description),
    name: Option<&str>,
    resistors: &[Resistor],
) -> Result<State, String> {
    let registers = asked(description, name)?;
    let time_ns = bench.now_ns();
    let mut inspector = Inspector::new(bench.i2c(), address, description);
    let scales = inspector.scales(resistors).map_err(text)?;
    let mut shown = Vec::new();
    for register in registers {
        let one = |page, contents| Shown {
            name: register.name,
            pointer: register.pointer,
            page,
            len: register.len,
            contents,
        };
        if register.access.is_open() {
            let each = inspector.read_each(register.name).map_err(text)?;
            shown.extend(each.iter().map(|read| {
                let (bytes, values) = (read.bytes().to_vec(), values(&scales, read));
                one(read.page(), Contents::Read { bytes, values })
            }));
        } else {
            let why = match register.access {
                Access::Write => "can only be written",
                Access::ReadVaries => "left alone: its length depends on another register",
                _ => "left alone: reading changes it",
            };
            shown.push(one(None, Contents::LeftAlone(why)));
        }
    }
    shown.sort_by_key(|shown| shown.page);
    Ok(State {
        title,
        part: description.name,
        seed: bench.seed(),
        time_ns,
        address,
        is_paged: description.selector.is_some(),
        registers: shown,
    })
}

/// The register of this name, or all.
fn asked(
    description: &'static Description,
    name: Option<&str>,
) -> Result<Vec<&'static inspect::Register>, String> {
    match name {
        Some(name) => Ok(vec![find(description, name).map_err(text)?]),
        None => Ok(description.registers.iter().collect()),
    }
}

fn register(register: &'static inspect::Register) -> Register {
    Register {
        name: register.name,
        pointer: register.pointer,
        len: register.len,
        order: match register.order {
            Order::HighFirst => "high first",
            Order::LowFirst => "low first",
        },
        access: match register.access {
            Access::Read => "R",
            Access::Write => "W",
            Access::Both => "RW",
            Access::ReadChanges | Access::ReadVaries => "r",
        },
        block: register.block,
        pages: register.pages,
        fields: register.fields.iter().map(field).collect(),
    }
}

fn field(field: &inspect::Field) -> Field {
    let (form, names) = match field.form {
        Form::Unsigned => ("unsigned", None),
        Form::Signed => ("signed", None),
        Form::Flag => ("flag", None),
        Form::Named(names) => ("named", Some(names)),
        Form::Pattern => ("pattern", None),
        Form::Text => ("text", None),
    };
    let formats = match field.counts {
        Counts::Word(_, words) => {
            let words = words.iter();
            Some(words.map(|(page, of)| (*page, format(*of))).collect())
        }
        _ => None,
    };
    Field {
        name: field.name,
        low: field.low,
        bits: field.bits,
        form,
        names,
        counts: counts(field.counts),
        formats,
    }
}

/// A number format by its name in the standard.
fn format(format: Format) -> String {
    match format {
        Format::Linear11(_) => "LINEAR11".to_owned(),
        Format::Ulinear16 { exponent } => format!("ULINEAR16, exponent {exponent}"),
        Format::Direct(_) => "DIRECT".to_owned(),
    }
}

fn counts(counts: Counts) -> Option<(&'static str, Option<u8>)> {
    let (what, channel) = match counts {
        Counts::Nothing => return None,
        Counts::Sense(channel) => ("sense code", channel),
        Counts::Rail(channel) => ("rail code", channel),
        Counts::Power(channel) => ("power code", channel),
        Counts::Charge(channel) => ("sum of sense codes", channel),
        Counts::Energy(channel) => ("sum of power codes", channel),
        Counts::SenseRange(channel) => ("sense range", channel),
        Counts::RailRange(channel) => ("rail range", channel),
        Counts::Word(Measure::Voltage, _) => return Some(("voltage", None)),
        Counts::Word(Measure::Current, _) => return Some(("current", None)),
        Counts::Word(Measure::Power, _) => return Some(("power", None)),
    };
    Some((what, Some(channel.number())))
}

fn values(scales: &Scales, read: &inspect::Contents) -> Vec<Value> {
    let fields = scales.fields(read);
    fields
        .map(|(field, value, quantities)| Value {
            name: field.name,
            held: held(field, value),
            quantities,
        })
        .collect()
}

fn held(field: &inspect::Field, value: inspect::Value) -> Held {
    match value {
        inspect::Value::Unsigned(number) if field.form == Form::Pattern => {
            Held::Pattern(number, field.bits)
        }
        inspect::Value::Unsigned(number) => Held::Unsigned(number),
        inspect::Value::Signed(number) => Held::Signed(number),
        inspect::Value::Flag(set) => Held::Flag(set),
        inspect::Value::Named(number, name) => Held::Named(number, name),
        inspect::Value::Unnamed(number) => Held::Unnamed(number),
        inspect::Value::Text(text) => Held::Text(text.as_str().to_owned()),
    }
}
