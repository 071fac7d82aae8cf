//! The description of Gallinule's commands against docs/pmbus-device.md.

use std::collections::BTreeMap;

use crake_sim::inspect::{Access, Counts, Field, Form, GALLINULE, Measure, Order, Register, Value};
use crake_sim::part::pmbus::{Coefficients, Exponent, Format};
use crake_suite::markdown::Document;
use crake_suite::number::integer;

fn document() -> Document {
    Document::read("docs/pmbus-device.md")
}

fn field(register: &str, name: &str) -> (&'static Register, &'static Field) {
    let register = GALLINULE.register(register).unwrap();
    let field = register.fields.iter().find(|field| field.name == name);
    (register, field.unwrap())
}

/// A row of B3's two tables.
struct Row {
    name: String,
    code: u8,
    len: u8,
    block: bool,
    access: Access,
    pages: Vec<u8>,
    reset: Vec<String>,
}

/// All that can be read and is no process call.
fn readable(document: &Document) -> Vec<Row> {
    let columns = ["code", "name", "access", "bytes", "pages", "reset"];
    let tables: Vec<_> = document.tables("B3 ", &columns).collect();
    assert_eq!(tables.len(), 2);
    let rows = tables.into_iter().flat_map(|table| table.rows());
    let mut readable = Vec::new();
    for row in rows {
        let access = match row[2].as_str() {
            "R" => Access::Read,
            "RW" => Access::Both,
            "W" | "P" | "W, P" => continue,
            other => panic!("access '{other}'"),
        };
        let bytes = row[3].strip_prefix("block of ");
        readable.push(Row {
            name: row[1].clone(),
            code: u8::from_str_radix(&row[0], 16).unwrap(),
            len: bytes.unwrap_or(&row[3]).parse().unwrap(),
            block: bytes.is_some(),
            access,
            pages: match row[4].as_str() {
                "common" => Vec::new(),
                pages => pages
                    .split(", ")
                    .map(|page| page.parse().unwrap())
                    .collect(),
            },
            reset: row[5].split(", ").map(str::to_owned).collect(),
        });
    }
    readable
}

#[test]
fn commands_are_those_of_the_tables() {
    let document = document();
    let rows = readable(&document);
    let expected: Vec<_> = rows
        .iter()
        .map(|row| {
            let pages = &row.pages[..];
            (
                &row.name[..],
                row.code,
                row.len,
                row.block,
                row.access,
                pages,
            )
        })
        .collect();
    let registers = GALLINULE.registers.iter();
    let found: Vec<_> = registers
        .map(|r| (r.name, r.pointer, r.len, r.block, r.access, r.pages))
        .collect();
    assert_eq!(found, expected);
    // The document's 59 rows without 5 that only write and 3 process calls.
    assert_eq!(found.len(), 51);

    let straps = document.table("B2.1 ", &["strap", "7-bit address"]).rows();
    let straps = straps.map(|row| integer(&row[1]));
    assert!(straps.eq(GALLINULE.addresses.iter().map(|&a| i128::from(a))));
    // B1.
    assert_eq!(GALLINULE.channels, 4);
    // B2.2, B3.
    let page = GALLINULE.register("PAGE");
    assert_eq!((GALLINULE.checked, GALLINULE.selector), (true, page));
    let mut registers = GALLINULE.registers.iter();
    assert!(registers.all(|register| register.order == Order::LowFirst));
}

/// The formats of B1, by quantity and page; those of DIRECT by the table of coefficients.
fn formats(document: &Document) -> BTreeMap<(String, u8), Format> {
    let coefficients = document.table("B1 ", &["page", "quantity", "m", "b", "R"]);
    let mut formats = BTreeMap::new();
    let table = document.table("B1 ", &["page", "what", "voltage", "current", "power"]);
    for row in table.rows() {
        for cell in &row[2..5] {
            // "READ_VOUT, ULINEAR16, N = −9 (VOUT_MODE 0x17)",
            // "READ_IOUT, LINEAR11, free exponent, N ≥ −8".
            let exponent = |text: &str| -> i8 {
                let number = text.split(' ').nth(2).unwrap().replace('−', "-");
                number.parse().unwrap()
            };
            let mut words = cell.split(", ");
            let Some(quantity) = words.next().unwrap().strip_prefix("READ_") else {
                assert_eq!(cell, "none");
                continue;
            };
            let format = match words.next().unwrap().split(' ').next().unwrap() {
                "LINEAR11" => Format::Linear11(match (words.next(), words.next()) {
                    (Some("free exponent"), Some(least)) => Exponent::From(exponent(least)),
                    (Some("fixed exponent"), Some(always)) => Exponent::Fixed(exponent(always)),
                    other => panic!("{other:?}"),
                }),
                "ULINEAR16" => Format::Ulinear16 {
                    exponent: exponent(words.next().unwrap()),
                },
                "DIRECT" => {
                    let mut rows = coefficients.rows();
                    let row = rows
                        .find(|of| of[0] == row[0] && of[1] == quantity)
                        .unwrap();
                    let [m, b, r] = [2, 3, 4].map(|column| row[column].parse::<i16>().unwrap());
                    Format::Direct(Coefficients { m, b, r: r as i8 })
                }
                other => panic!("format '{other}'"),
            };
            formats.insert((quantity.to_owned(), row[0].parse().unwrap()), format);
        }
    }
    formats
}

/// Readings, limits and levels of a quantity are in its format (B1); VOUT_TRIM is a difference, of
/// which the document says nothing.
#[test]
fn words_are_in_the_formats_of_their_pages() {
    let document = document();
    let formats = formats(&document);
    assert_eq!(formats.len(), 11);
    let mut words = 0;
    for register in GALLINULE.registers {
        let name = register.name.strip_prefix("READ_").unwrap_or(register.name);
        let quantity = name.split('_').next().unwrap();
        let measure = match quantity {
            "VOUT" | "VIN" => Measure::Voltage,
            "IOUT" | "IIN" => Measure::Current,
            "POUT" | "PIN" => Measure::Power,
            _ => {
                assert!(register.fields.iter().all(|f| f.counts == Counts::Nothing));
                continue;
            }
        };
        let [field] = register.fields else {
            assert_eq!(register.name, "VOUT_MODE");
            continue;
        };
        if register.len == 1 || register.name == "VOUT_TRIM" {
            assert_eq!(field.counts, Counts::Nothing, "{}", register.name);
            continue;
        }
        let Counts::Word(found, by_page) = field.counts else {
            panic!("{} counts {:?}", register.name, field.counts);
        };
        assert_eq!((found, field.low, field.bits), (measure, 0, 16));
        let expected: Vec<_> = register
            .pages
            .iter()
            .map(|page| (*page, formats[&(quantity.to_owned(), *page)]))
            .collect();
        assert_eq!(by_page, expected, "{}", register.name);
        words += 1;
    }
    // 6 readings, 8 warn limits, 8 fault limits, 6 others.
    assert_eq!(words, 28);
}

/// "STATUS_BYTE": its flags from bit 7 down.
fn flags(register: &Register) -> Vec<(u16, &'static str)> {
    let mut flags: Vec<_> = register.fields.iter().map(|f| (f.low, f.name)).collect();
    assert!(register.fields.iter().all(|f| f.form == Form::Flag));
    flags.sort_by_key(|(low, _)| u16::MAX - low);
    flags
}

/// A2.3: "OC + low voltage fault", "POWER_GOOD#", "off, low input (memory)".
fn plain(cell: &str) -> String {
    let cell = cell.strip_suffix(" (memory)").unwrap_or(cell);
    let cell = cell.replace('#', " n").to_lowercase();
    let words = cell.split(|c: char| !c.is_ascii_alphanumeric());
    let words: Vec<_> = words.filter(|word| !word.is_empty()).collect();
    words.join("_")
}

#[test]
fn status_bits_have_the_document_s_names() {
    let document = document();
    let table = document.table("A2.3 ", &["bit", "STATUS_BYTE"]);
    let column = |name: &str, above: u16| -> Vec<(u16, String)> {
        let rows = table.rows().map(|row| &row[0]);
        let bits = rows.map(|bit| {
            let place: u16 = bit.parse().unwrap();
            (place + above, plain(table.cell(bit, name)))
        });
        bits.filter(|(_, name)| name != "reserved").collect()
    };
    let mut word = column("STATUS_WORD, high byte", 8);
    word.extend(column("STATUS_BYTE", 0));
    for (name, expected) in [
        ("STATUS_BYTE", column("STATUS_BYTE", 0)),
        ("STATUS_WORD", word),
        ("STATUS_VOUT", column("STATUS_VOUT", 0)),
        ("STATUS_IOUT", column("STATUS_IOUT", 0)),
        ("STATUS_INPUT", column("STATUS_INPUT", 0)),
        ("STATUS_CML", column("STATUS_CML", 0)),
    ] {
        let found = flags(GALLINULE.register(name).unwrap());
        let found: Vec<_> = found
            .into_iter()
            .map(|(low, name)| (low, name.to_owned()))
            .collect();
        assert_eq!(found, expected, "{name}");
    }
}

/// What the reset values of B3 say by A2.1, A2.4 and A2.5: "both parts 1.2", "PEC, 400 kHz,
/// SMBALERT#", the identity; and the worked energy count.
#[test]
fn other_fields_decode_reset_values_and_examples() {
    let document = document();
    let rows = readable(&document);
    let reset = |register: &str, place: usize| {
        let row = rows.iter().find(|row| row.name == register).unwrap();
        u8::from_str_radix(&row.reset[place], 16).unwrap()
    };
    let value = |register: &str, name: &str, raw: &[u8]| {
        let (register, field) = field(register, name);
        register.value(field, raw)
    };

    let raw = [reset("PMBUS_REVISION", 0)];
    for part in ["part_1", "part_2"] {
        assert_eq!(value("PMBUS_REVISION", part, &raw), Value::Named(2, "1.2"));
    }
    let raw = [reset("CAPABILITY", 0)];
    assert_eq!(value("CAPABILITY", "pec", &raw), Value::Flag(true));
    assert_eq!(value("CAPABILITY", "smbalert", &raw), Value::Flag(true));
    assert_eq!(
        value("CAPABILITY", "speed", &raw),
        Value::Named(1, "400 kHz")
    );
    for (bit, other) in [(7, "pec"), (4, "smbalert")] {
        assert_eq!(
            value("CAPABILITY", other, &[!(1 << bit)]),
            Value::Flag(false)
        );
    }

    // Pages 0 to 2 of VOUT_MODE: exponents -9 and -12, DIRECT (B1).
    for (page, mode, parameter) in [
        (0, Value::Named(0, "linear"), -9),
        (1, Value::Named(0, "linear"), -12),
        (2, Value::Named(2, "DIRECT"), 0),
    ] {
        let raw = [reset("VOUT_MODE", page)];
        assert_eq!(value("VOUT_MODE", "mode", &raw), mode);
        assert_eq!(
            value("VOUT_MODE", "parameter", &raw),
            Value::Signed(parameter)
        );
    }

    // "00, 20, 40 or 80"; and PAGE "00 to 03, or FF".
    for (register, name, allowed) in [
        ("WRITE_PROTECT", "protected", &[0x00, 0x20, 0x40, 0x80][..]),
        ("PAGE", "page", &[0, 1, 2, 3, 0xFF]),
    ] {
        for byte in 0..=u8::MAX {
            let named = matches!(value(register, name, &[byte]), Value::Named(..));
            assert_eq!(named, allowed.contains(&byte), "{register} {byte:#x}");
        }
    }

    for name in ["MFR_ID", "MFR_MODEL", "MFR_REVISION"] {
        let row = rows.iter().find(|row| row.name == name).unwrap();
        let text = row.reset[0].trim_matches('"');
        let Value::Text(found) = value(name, "text", text.as_bytes()) else {
            panic!("{name} is no text");
        };
        assert_eq!(found.as_str(), text);
        assert_eq!(text.len(), usize::from(row.len));
    }

    // Example 18: 386387 counts in 3150 samples, by energy = rollover × period + accumulator.
    let example = document
        .table("B8 ", &["#", "what"])
        .cell("18", "bytes")
        .to_owned();
    let bytes: Vec<_> = example
        .trim_matches('`')
        .split(' ')
        .filter_map(|word| u8::from_str_radix(word, 16).ok())
        .collect();
    let block = &bytes[4..10];
    for register in ["READ_EIN", "READ_EOUT"] {
        let of = |name| match value(register, name, block) {
            Value::Unsigned(number) => number,
            other => panic!("{name}: {other:?}"),
        };
        assert_eq!(of("rollovers") * 32768 + of("accumulator"), 386_387);
        assert_eq!(of("samples"), 3150);
        assert_eq!(of("rollovers"), 0x0B); // A2.5: accumulator, rollover count, sample count
    }
    // Bits of a word without a format: all of it, low byte first.
    let trim = value("VOUT_TRIM", "word", &[0x34, 0x12]);
    assert_eq!(trim, Value::Unsigned(0x1234));
    let (_, response) = field("VOUT_OV_FAULT_RESPONSE", "response");
    assert_eq!((response.low, response.bits), (0, 8));
    let data = value("USER_DATA_00", "data", &[0x4E, 0x91, 0x02, 0xC7]);
    assert_eq!(data, Value::Unsigned(0xC702_914E));
}
