use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::PathBuf;

/// A scenario that runs, with every key that a first one may want.
const SCENARIO: &str = include_str!("scenario.toml");

#[derive(Debug, clap::Args)]
#[command(after_help = "Example: crake-sim new my.toml")]
pub(super) struct New {
    /// The file to be written; one that is there is left as it is.
    file: PathBuf,
}

/// Writes the file, or says why not and leaves nothing behind.
pub(super) fn perform(args: &New) -> Result<(), String> {
    let path = args.file.display();
    let mut file = File::create_new(&args.file).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => format!("{path}: is there already; name another file"),
        _ => format!("{path}: cannot be written: {error}"),
    })?;
    if let Err(error) = file.write_all(SCENARIO.as_bytes()) {
        // If even that fails there is nothing more to do.
        let _ = std::fs::remove_file(&args.file);
        return Err(format!("{path}: cannot be written: {error}"));
    }
    super::show(&format!("{path}: written; crake-sim run {path} runs it\n"))
}
