//! `crake-sim schema`: the JSON Schema of the scenario file and of whatever the program prints or
//! writes as JSON.

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};

use super::{Object, registers, show};
use crate::characterise::Characterisation;
use crate::plan::Planned;
use crate::{scenario, shunt};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example: crake-sim schema run > run.schema.json")]
pub(super) struct Args {
    /// Of what; without it, a list of all.
    name: Option<String>,
}

/// A name, what it is, and its schema.
type Entry = (&'static str, &'static str, fn() -> Schema);

/// All of them. A command that prints an object adds its type here.
const SCHEMAS: &[Entry] = &[
    (
        "scenario",
        "a scenario file, its TOML taken as JSON",
        scenario::schema,
    ),
    ("run", "what run --json prints", of::<Object<'_>>),
    (
        "characterise",
        "what characterise --json prints",
        of::<Characterisation>,
    ),
    (
        "registers",
        "what registers --json prints of a scenario, or with --state",
        of::<registers::json::State>,
    ),
    (
        "register-list",
        "what registers --part --json prints",
        of::<registers::json::Listing>,
    ),
    ("plan", "what plan --json prints", of::<Planned>),
    #[cfg(feature = "conformance")]
    (
        "conformance",
        "what conformance --json prints",
        of::<super::conformance::Object>,
    ),
    (
        "shunt",
        "what shunt --json prints",
        of::<shunt::Choices<'_>>,
    ),
    (
        "transaction",
        "a line of transactions.jsonl, which run --out writes",
        of::<Transaction>,
    ),
];

/// Prints one schema, or the list.
pub(super) fn perform(args: &Args) -> Result<(), String> {
    let Some(name) = &args.name else {
        let width = SCHEMAS.iter().map(|(name, ..)| name.len()).max();
        let width = width.unwrap_or_default();
        let lines = SCHEMAS.iter();
        let lines = lines.map(|(name, what, _)| format!("{name:width$}  {what}\n"));
        return show(&lines.collect::<String>());
    };
    let Some((.., schema)) = SCHEMAS.iter().find(|(known, ..)| known == name) else {
        let known: Vec<_> = SCHEMAS.iter().map(|(name, ..)| *name).collect();
        return Err(format!(
            "no schema is called \"{name}\"; there is {}",
            known.join(", ")
        ));
    };
    show(&format!("{:#}\n", schema().as_value()))
}

/// Of a type as it is written, draft 2020-12.
fn of<T: JsonSchema>() -> Schema {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    settings.into_generator().into_root_schema_for::<T>()
}

/// A transfer on the bus from START to STOP. The trace writes it without a serialiser.
#[derive(JsonSchema)]
#[expect(dead_code, reason = "only its form is of use")]
struct Transaction {
    /// START, in nanoseconds of the bench's time.
    start_ns: u64,
    /// STOP, in nanoseconds of the bench's time.
    stop_ns: u64,
    /// What follows each START.
    messages: Vec<Message>,
}

/// What follows one START.
#[derive(JsonSchema)]
#[expect(dead_code, reason = "only its form is of use")]
struct Message {
    /// "S", or "Sr" for a repeated START.
    start: String,
    /// The 7-bit address; none if it was broken off before.
    address: Option<u8>,
    /// Whether the controller reads.
    read: Option<bool>,
    /// Whether somebody answers to the address.
    acknowledged: Option<bool>,
    /// The bytes after the address.
    bytes: Vec<u8>,
    /// Whether each was acknowledged.
    acknowledges: Vec<bool>,
    /// Whether it ended within a byte.
    broken_off: bool,
}
