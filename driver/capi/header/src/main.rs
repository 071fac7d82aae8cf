//! Writes the C header from the source of `crake-capi`. Usage: `crake-capi-header CRATE-FOLDER HEADER`.

use std::process::ExitCode;

use cbindgen::{Builder, Config};

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1);
    let (Some(folder), Some(header)) = (arguments.next(), arguments.next()) else {
        eprintln!("usage: crake-capi-header CRATE-FOLDER HEADER");
        return ExitCode::FAILURE;
    };
    let written = Config::from_file(format!("{folder}/cbindgen.toml")).and_then(|config| {
        let builder = Builder::new().with_crate(&folder).with_config(config);
        builder.generate().map_err(|error| error.to_string())
    });
    match written {
        Ok(bindings) => {
            bindings.write_to_file(header);
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{folder}: {error}");
            ExitCode::FAILURE
        }
    }
}
