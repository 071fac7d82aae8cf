//! Writes the C header from the source of `crake-capi`. Usage: `crake-capi-header CRATE HEADER`.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::{env, fs};

use cbindgen::{Builder, Config};

/// Pointers behind the words of the macro `calls`, whose functions cbindgen cannot see.
const WORDS: [(&str, &str); 11] = [
    (": new ", ": *mut "),
    (": live ", ": *mut "),
    (": maybe ", ": *mut "),
    (": fixed ", ": *const "),
    (": given ", ": *const "),
    (": perhaps ", ": *const "),
    (": wanted ", ": *mut "),
    (": optional ", ": *mut "),
    (": array ", ": *const "),
    (": room ", ": *mut "),
    (": value ", ": "),
];

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1).map(PathBuf::from);
    let (Some(folder), Some(header)) = (arguments.next(), arguments.next()) else {
        return Err("usage: crake-capi-header CRATE HEADER".into());
    };
    let mut sources: Vec<_> = fs::read_dir(folder.join("src"))?
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<_, _>>()?;
    sources.sort();
    let config = Config::from_file(folder.join("cbindgen.toml"))?;
    let mut builder = Builder::new().with_config(config);
    for (number, source) in sources.iter().enumerate() {
        let seen = header.with_extension(format!("{number}.rs"));
        fs::write(&seen, as_functions(source)?)?;
        builder = builder.with_src(seen);
    }
    builder.generate()?.write_to_file(header);
    Ok(())
}

/// A file with the functions that its calls make, without their bodies.
fn as_functions(source: &Path) -> Result<String, std::io::Error> {
    let mut made = String::new();
    // Within `calls`, and within a signature there.
    let (mut calls, mut signature) = (false, false);
    for line in fs::read_to_string(source)?.lines() {
        signature |= calls && line.starts_with("    fn ");
        match line {
            "calls! {" => calls = true,
            "}" if calls => calls = false,
            _ if signature => {
                let head = line.replace(
                    "    fn ",
                    "#[unsafe(no_mangle)] pub unsafe extern \"C\" fn ",
                );
                let mut head = WORDS
                    .iter()
                    .fold(head, |head, (word, is)| head.replace(word, is));
                if let Some(arguments) = head.strip_suffix(") {") {
                    head = format!("{arguments}, error: *mut Error) -> Code {{}}");
                    signature = false;
                }
                made += &(head + "\n");
            }
            _ if calls && !line.starts_with("    ///") => {}
            _ => made += &(line.to_owned() + "\n"),
        }
    }
    Ok(made)
}
