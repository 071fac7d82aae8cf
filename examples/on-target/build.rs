//! Where the linker finds `memory.x`, and the worked examples of the datasheet as constants: read
//! from the document at each build, so that the two cannot drift apart.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs};

const DOCUMENT: &str = "../../docs/corncrake-datasheet.md";

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("OUT_DIR"));
    fs::copy("memory.x", out.join("memory.x")).expect("memory.x");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed=memory.x");
    println!("cargo:rerun-if-changed={DOCUMENT}");
    let document = fs::read_to_string(Path::new(DOCUMENT)).expect("the datasheet");
    let section = document
        .split_once("\n## 10 ")
        .expect("section 10 of the datasheet")
        .1;
    fs::write(out.join("examples.rs"), constants(section)).expect("examples.rs");
}

fn constants(section: &str) -> String {
    let mut text =
        String::from("/// The table of section 10.\npub static EXAMPLES: &[Example] = &[\n");
    for row in rows(section, "| # | what | bytes | values |") {
        let [number, what, bytes, values] = row.as_slice() else {
            panic!("a row of four cells: {row:?}")
        };
        let refused = values == "refused";
        let pairs = values.split("; ").filter(|_| !refused).map(|pair| {
            let (name, value) = pair.split_once(" = ").expect("name = value");
            let value = value.split(' ').next().unwrap_or(value);
            format!("({name:?}, {}),", integer(value))
        });
        let _ = writeln!(
            text,
            "Example {{ number: {number}, what: {what:?}, wire: &[{}], refused: {refused}, values: &[{}] }},",
            tokens(bytes.trim_matches('`')),
            pairs.collect::<String>(),
        );
    }
    text.push_str("];\n/// The sample block of section 10.1 on the wire.\n");
    let _ = writeln!(
        text,
        "pub static BLOCK: &[Token] = &[{}];",
        tokens(fenced(section, "### 10.1 "))
    );
    text.push_str("/// What it says, by field.\npub static FIELDS: &[(&str, i128)] = &[\n");
    for row in rows(section, "| field | value |") {
        let _ = writeln!(text, "({:?}, {}),", row[0], integer(&row[1]));
    }
    text.push_str("];\n/// The sample block after a reset, on the wire.\n");
    let _ = writeln!(
        text,
        "pub static AFTER_RESET: &[Token] = &[{}];",
        tokens(fenced(section, "### 10.2 "))
    );
    text
}

/// The rows of the table with this head.
fn rows(section: &str, head: &str) -> Vec<Vec<String>> {
    let cells = |line: &str| {
        let inner = line.trim().trim_matches('|');
        inner
            .split('|')
            .map(|cell| cell.trim().to_owned())
            .collect()
    };
    let rows: Vec<_> = section
        .lines()
        .skip_while(|line| *line != head)
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(cells)
        .collect();
    assert!(!rows.is_empty(), "no table {head}");
    rows
}

/// The first fenced block after a heading.
fn fenced<'a>(section: &'a str, heading: &str) -> &'a str {
    let (_, rest) = section.split_once(heading).expect("the heading");
    let (_, rest) = rest.split_once("```text\n").expect("a fenced block");
    rest.split_once("```").expect("its end").0
}

fn tokens(wire: &str) -> String {
    let token = |word| match word {
        "S" => "Token::Start,".to_owned(),
        "Sr" => "Token::Restart,".to_owned(),
        "P" => "Token::Stop,".to_owned(),
        byte => format!("Token::Byte(0x{byte}),"),
    };
    wire.split_whitespace().map(token).collect()
}

fn integer(text: &str) -> i128 {
    match text.strip_prefix("0x") {
        Some(hex) => i128::from_str_radix(hex, 16),
        None => text.parse(),
    }
    .unwrap_or_else(|_| panic!("a number: {text}"))
}
