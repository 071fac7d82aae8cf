//! The description of Moorhen's registers against the tables and examples of its datasheet.

use std::collections::BTreeSet;

use crake::{Channel, units::Resistance};
use crake_sim::{
    bench::Bench,
    inspect::{Access, Counts, Field, Form, Inspector, MOORHEN, Order, Register, Value},
    part::moorhen::Moorhen,
};
use crake_suite::{
    markdown::Document,
    number::{billionths, integer},
};
use embedded_hal::i2c::I2c;

use super::{fake::Fake, figures};

fn document() -> Document {
    Document::read("docs/moorhen-datasheet.md")
}

fn register(name: &str) -> &'static Register {
    MOORHEN.register(name).unwrap_or_else(|| panic!("{name}"))
}

fn field(register_name: &str, name: &str) -> &'static Field {
    let mut fields = register(register_name).fields.iter();
    let found = fields.find(|field| field.name == name);
    found.unwrap_or_else(|| panic!("{register_name} has no {name}"))
}

#[test]
fn registers_are_those_of_the_table() {
    let document = document();
    let columns = ["pointer", "name", "signed", "access", "reset", "what it is"];
    let rows: Vec<_> = document.table("3 ", &columns).rows().collect();
    assert_eq!(MOORHEN.registers.len(), rows.len());
    for (register, row) in MOORHEN.registers.iter().zip(rows) {
        let name = row[1].as_str();
        assert_eq!(register.name, name);
        assert_eq!(i128::from(register.pointer), integer(&row[0]), "{name}");
        let access = match row[3].trim_end_matches(" idle") {
            "R" => Access::Read,
            "W" => Access::Write,
            "RW" => Access::Both,
            other => panic!("{name}: {other}"),
        };
        assert_eq!(register.access, access, "{name}");
        assert_eq!((register.len, register.order), (2, Order::LowFirst));
        let channel = || Channel::new(integer(&name[name.len() - 1..]) as u8);
        let counts = match row[5].rsplit(", ").next() {
            Some("sense code") => Counts::Sense(channel()),
            Some("rail code") => Counts::Rail(channel()),
            _ => Counts::Nothing,
        };
        let is_signed = |field: &&Field| field.form == Form::Signed;
        let signed = register.fields.iter().filter(is_signed).count();
        assert_eq!(signed, usize::from(row[2] == "yes"), "{name}");
        if counts != Counts::Nothing {
            assert_eq!(register.fields.len(), 1, "{name}");
            let code = &register.fields[0];
            assert_eq!((code.low, code.bits, code.counts), (0, 16, counts));
        }
    }
    let straps = document.table("2.1 ", &["strap", "7-bit address"]).rows();
    let straps = straps.map(|row| integer(&row[1]));
    assert!(straps.eq(MOORHEN.addresses.iter().map(|&a| i128::from(a))));
    assert_eq!((MOORHEN.channels, MOORHEN.checked), (2, false));
}

/// Sections 3.1, 3.2 and 3.4.
#[test]
fn fields_are_those_of_the_tables() {
    let document = document();
    let bit = |cell: &str| integer(cell) as u16;
    for row in document.table("3.1 ", &["bit", "input"]).rows() {
        let (of, channel) = row[1].split_once(" of channel ").expect("an input");
        let flag = format!("{of}_{channel}");
        let places = [
            ("ALERT_FLAGS", flag.clone()),
            ("MASK", flag),
            ("STATUS", format!("{of}_over_range_{channel}")),
            ("CONFIGURATION", format!("{of}_range_{channel}")),
        ];
        for (register, name) in places {
            let found = field(register, &name);
            assert_eq!((found.low, found.bits), (bit(&row[0]), 1), "{name}");
            let number = Channel::new(integer(channel) as u8);
            let is_range = register == "CONFIGURATION";
            let counts = match of {
                "sense" if is_range => Counts::SenseRange(number),
                "rail" if is_range => Counts::RailRange(number),
                _ => Counts::Nothing,
            };
            assert_eq!(found.counts, counts, "{name}");
            assert!(is_range || found.form == Form::Flag, "{name}");
        }
    }
    let mut own = 0;
    for (heading, column, register) in [
        ("3.2 ", "bit", "CONFIGURATION"),
        ("3.4 ", "STATUS bit", "STATUS"),
    ] {
        for row in document.table(heading, &[column, "meaning"]).rows() {
            let meaning = row[1].split(" is enabled").next().expect("a text");
            let name = meaning.split(':').next().expect("a text");
            let name = name.to_lowercase().replace(' ', "_");
            if row[0].starts_with(|c: char| c.is_ascii_digit()) {
                let found = field(register, &name);
                assert_eq!((found.low, found.form), (bit(&row[0]), Form::Flag));
                own += 1;
            }
        }
    }
    // Channels enabled, busy and done: with the input bits that is all.
    assert_eq!(own, 4);
    for (name, count) in [
        ("CONFIGURATION", 6),
        ("STATUS", 6),
        ("ALERT_FLAGS", 4),
        ("MASK", 4),
    ] {
        let fields = register(name).fields;
        let names: BTreeSet<_> = fields.iter().map(|field| field.name).collect();
        let bits: BTreeSet<_> = fields.iter().map(|field| field.low).collect();
        assert_eq!(
            (fields.len(), names.len(), bits.len()),
            (count, count, count)
        );
    }
}

#[test]
fn ranges_have_the_names_and_lsbs_of_the_tables() {
    let document = document();
    for (of, lsbs_nv) in [
        ("sense", MOORHEN.sense_lsb_nv),
        ("rail", MOORHEN.rail_lsb_nv),
    ] {
        let columns = [&format!("{of} range code")[..], "LSB", "full scale"];
        let rows: Vec<_> = document.table("3.2 ", &columns).rows().collect();
        let listed = rows.iter().map(|row| billionths(&row[1], "V") as u64);
        assert!(listed.eq(lsbs_nv.iter().copied()), "{of}");
        for channel in 0..2 {
            let Form::Named(names) = field("CONFIGURATION", &format!("{of}_range_{channel}")).form
            else {
                panic!("{of}_range_{channel} has no names");
            };
            let named = names.iter().map(|(code, name)| (i128::from(*code), *name));
            let listed = rows.iter().map(|row| (integer(&row[0]), row[2].as_str()));
            assert!(named.eq(listed), "{of} {channel}");
        }
    }
}

/// Every worked example that gives a code and a range: voltage and current, whether the transfer
/// reads or writes the register.
#[test]
fn worked_examples_in_volts_and_amperes() {
    let mut compared = 0;
    let document = document();
    for row in document
        .table("9 ", &["#", "what", "bytes", "values"])
        .rows()
    {
        let value = |name: &str| {
            let mut pairs = row[3].split("; ").filter_map(|pair| pair.split_once(" = "));
            let found = pairs.find(|(key, _)| *key == name);
            found.map(|(_, value)| integer(value.split(' ').next().expect("a number")))
        };
        let (Some(code), Some(range)) =
            (value("code"), value("sense range").or(value("rail range")))
        else {
            continue;
        };
        let bytes: Vec<u8> = row[2]
            .split(['`', ' '])
            .filter_map(|token| u8::from_str_radix(token, 16).ok())
            .collect();
        // The register's two bytes are the last ones, and its pointer follows the address.
        let (pointer, data) = (bytes[1], &bytes[bytes.len() - 2..]);
        let mut registers = MOORHEN.registers.iter();
        let register = registers.find(|register| register.pointer == pointer);
        let register = register.expect("a register");
        let of = register.fields[0].counts;
        let (Counts::Sense(channel) | Counts::Rail(channel)) = of else {
            panic!("{} holds no code", register.name);
        };
        // Section 3.1.
        let first = if matches!(of, Counts::Sense(_)) {
            4
        } else {
            12
        };
        let configuration = (range as u16) << (first + u16::from(channel.number()));
        let mut fake = Fake {
            registers: [
                (0x1C, configuration.to_le_bytes().to_vec()),
                (pointer, data.to_vec()),
            ]
            .into(),
            ..Fake::default()
        };
        let mut inspector = Inspector::new(&mut fake, 0x17, &MOORHEN);
        let nanoohms = value("resistance").unwrap_or(1) as u64;
        let resistor = (channel, Resistance::from_nanoohms(nanoohms));
        let scales = inspector.scales(&[resistor]).expect("ranges");
        let contents = inspector.read(register.name).expect("contents");
        let found_code = match contents.value("code") {
            Some(Value::Signed(code)) => i128::from(code),
            Some(Value::Unsigned(code)) => i128::from(code),
            other => panic!("{other:?}"),
        };
        assert_eq!(found_code, code, "{}", row[1]);
        let found = figures(&scales, &contents);
        let volts = value("sense voltage").or(value("voltage"));
        let amperes = value("current").filter(|_| matches!(of, Counts::Sense(_)));
        for (unit, exact) in [("V", volts), ("A", amperes)] {
            let found = found.iter().find(|quantity| quantity.unit == unit);
            let found = found.map(|quantity| quantity.value * 1e9);
            match (found, exact.map(|exact| exact as f64)) {
                (None, None) => {}
                // Doubles, divided at most twice.
                (Some(found), Some(exact)) if (found - exact).abs() <= exact.abs() * 1e-15 => {}
                other => panic!("{} in {unit}: {other:?}", row[1]),
            }
        }
        compared += 1;
    }
    assert_eq!(compared, 11);
}

/// A part alone, set up by hand from the datasheet: nothing is over range, and DONE stands.
#[test]
fn a_part_on_the_bench_shows_its_single_shot() {
    let bench = Bench::new(7);
    bench.part(Moorhen::ideal(0x31)).expect("free");
    let mut i2c = bench.i2c();
    for write in [[0x1C, 0x10, 0x03], [0x1F, 0xB4, 0x00]] {
        i2c.write(0x31, &write).expect("acknowledged");
    }
    bench.run_for(std::time::Duration::from_millis(1));
    let mut inspector = Inspector::new(bench.i2c(), 0x31, &MOORHEN);
    let status = inspector.read("STATUS").expect("contents");
    assert_eq!(status.bytes(), [0x02, 0x00]);
    for (field, value) in status.values() {
        assert_eq!(value, Value::Flag(field.name == "done"), "{}", field.name);
    }
    let configuration = inspector.read("CONFIGURATION").expect("contents");
    let narrow = configuration.value("sense_range_0");
    assert_eq!(narrow, Some(Value::Named(1, "18.432 mV")));
    let scales = inspector.scales(&[]).expect("ranges");
    assert_eq!(scales.sense_lsb_nv(Channel::C0), Some(9_000));
    assert_eq!(scales.sense_lsb_nv(Channel::C1), Some(36_000));
    assert_eq!(scales.rail_lsb_nv(Channel::C1), Some(7_000_000));
    assert_eq!(inspector.read_all().expect("everything").len(), 13);
}
