//! Registers by the bench's descriptions.

use super::view::{Contents, Field, Held, Part, Register, Shown, State, Value};
use crate::bench::Bench;
use crate::cli::text;
use crate::inspect::{self, Access, Counts, Description, Form, Inspector, Order, Resistor, find};

/// A part's registers, or the one of this name.
pub(super) fn part(description: &'static Description, name: Option<&str>) -> Result<Part, String> {
    Ok(Part {
        name: description.name,
        addresses: description.addresses.to_vec(),
        checked: description.checked,
        selector: None,
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
        let contents = if register.access.is_open() {
            let read = inspector.read(register.name).map_err(text)?;
            let values = scales.fields(&read);
            Contents::Read {
                bytes: read.bytes().to_vec(),
                values: values
                    .map(|(field, value, quantities)| Value {
                        name: field.name,
                        held: held(field, value),
                        quantities,
                    })
                    .collect(),
            }
        } else {
            Contents::LeftAlone(match register.access {
                Access::Write => "can only be written",
                Access::ReadVaries => "left alone: its length depends on another register",
                _ => "left alone: reading changes it",
            })
        };
        shown.push(Shown {
            name: register.name,
            pointer: register.pointer,
            page: None,
            len: register.len,
            contents,
        });
    }
    Ok(State {
        title,
        part: description.name,
        seed: bench.seed(),
        time_ns,
        address,
        is_paged: false,
        registers: shown,
    })
}

/// The register of this name, or all.
pub(super) fn asked(
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
        block: false,
        pages: &[],
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
    };
    let counts = match field.counts {
        Counts::Nothing => None,
        Counts::Sense(channel) => Some(("sense code", channel)),
        Counts::Rail(channel) => Some(("rail code", channel)),
        Counts::Power(channel) => Some(("power code", channel)),
        Counts::Charge(channel) => Some(("sum of sense codes", channel)),
        Counts::Energy(channel) => Some(("sum of power codes", channel)),
        Counts::SenseRange(channel) => Some(("sense range", channel)),
        Counts::RailRange(channel) => Some(("rail range", channel)),
    };
    Field {
        name: field.name,
        low: field.low,
        bits: field.bits,
        form,
        names,
        counts: counts.map(|(what, channel)| (what, Some(channel.number()))),
        formats: None,
    }
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
    }
}
