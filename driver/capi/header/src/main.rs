//! Writes the C header from the source of `crake-capi`. Usage: `crake-capi-header CRATE HEADER`.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::{env, fs};

use cbindgen::{Builder, Config};

/// Pointers behind the words of the macro `calls`.
const WORDS: [(&str, &str); 12] = [
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
    (": spare ", ": *mut "),
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
        fs::write(&seen, as_seen(source)?)?;
        builder = builder.with_src(seen);
    }
    builder.generate()?.write_to_file(header);
    Ok(())
}

/// A file with what its macros make, which cbindgen cannot see.
fn as_seen(source: &Path) -> Result<String, std::io::Error> {
    let text = fs::read_to_string(source)?;
    let (mut lines, mut made) = (text.lines(), String::new());
    while let Some(line) = lines.next() {
        let seen = match line {
            "calls! {" => functions,
            "types! {" => structures,
            "objects! {" => objects,
            "codes! {" => codes,
            _ => {
                made += &format!("{line}\n");
                continue;
            }
        };
        let items: Vec<_> = lines.by_ref().take_while(|line| *line != "}").collect();
        made += &seen(&items.join("\n"));
    }
    Ok(made)
}

/// Signatures, with pointers as C has them.
fn functions(items: &str) -> String {
    let heads = items
        .split("\n    }")
        .filter_map(|item| item.split_once(") {\n"));
    heads
        .map(|(head, _)| {
            let mut head = head.replace(
                "    fn ",
                "#[unsafe(no_mangle)] pub unsafe extern \"C\" fn ",
            );
            for (word, pointer) in WORDS {
                head = head.replace(word, pointer);
            }
            for count in ["; count", "; CRAKE_RAILS"] {
                head = head.replace(count, "");
            }
            head + ", error: *mut Error) -> Code {}\n"
        })
        .collect()
}

/// Structures, without what their fields are made of.
fn structures(items: &str) -> String {
    by_line(items, |line| match line.trim_start().split_once(' ') {
        Some(("struct", name)) => {
            let name = name.split(' ').next().unwrap_or_default();
            format!("#[repr(C)] pub struct {name} {{")
        }
        Some((field, _)) if field.ends_with(':') && !line.starts_with("         ") => {
            match line.split_once(" = ") {
                Some((field, _)) => format!("pub {},", field.trim()),
                None => format!("pub {}", line.trim()),
            }
        }
        _ => line.to_owned(),
    })
}

/// Arrays of as many words.
fn objects(items: &str) -> String {
    by_line(items, |line| match line.split_once(" words of ") {
        Some((head, _)) => {
            let (name, words) = head.split_once(": ").unwrap_or_default();
            format!("#[repr(C)] pub struct {name} {{ words: [u64; {words}] }}")
        }
        None => String::new(),
    })
}

/// An enumeration of what stands before the number, and that.
fn codes(items: &str) -> String {
    let rows = by_line(items, |line| match line.split_once(" = ") {
        Some((name, behind)) => {
            let number = behind.split([',', ':']).next().unwrap_or_default();
            format!("{name} = {number},")
        }
        None => String::new(),
    });
    rows.replacen("\n\n", "\n#[repr(i32)] pub enum Code {\n", 1) + "}\n"
}

/// Comments as they stand, other lines as they are seen.
fn by_line(items: &str, seen: impl Fn(&str) -> String) -> String {
    let lines = items.lines().map(|line| match line.trim_start() {
        comment if comment.starts_with("///") => comment.to_owned(),
        _ => seen(line),
    });
    lines.map(|line| line + "\n").collect()
}
