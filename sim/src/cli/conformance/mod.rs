//! `crake-sim conformance`. The kit is compiled for maps and for wrong maps: it is there with the
//! feature `conformance` alone.

#[cfg(feature = "conformance")]
mod parts;
#[cfg(feature = "conformance")]
mod table;
#[cfg(feature = "conformance")]
mod wrong;

#[cfg(feature = "conformance")]
pub(super) use parts::Object;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example: crake-sim conformance --verbose")]
pub(super) struct Conformance {
    /// Print one JSON object (docs/conformance.md describes it) instead of tables.
    #[arg(long)]
    json: bool,
    /// Print every finding in full, with what each check is about.
    #[arg(long, conflicts_with = "json")]
    verbose: bool,
}

/// Whether every part passed and every wrong map was found.
#[cfg(feature = "conformance")]
pub(super) fn perform(args: &Conformance) -> Result<bool, String> {
    parts::perform(args)
}

/// Says how to have it.
#[cfg(not(feature = "conformance"))]
pub(super) fn perform(args: &Conformance) -> Result<bool, String> {
    let Conformance {
        json: _,
        verbose: _,
    } = args;
    Err("this program was built without the conformance kit: \
         `--features conformance` for `cargo run` or `cargo install` has it"
        .to_owned())
}
