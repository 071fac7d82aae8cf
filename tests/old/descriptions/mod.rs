//! The descriptions of registers against the tables of the parts' datasheets, both ways: nothing is
//! missing, nothing is made up.

use std::{collections::BTreeMap, fs, path::Path};

use crake::old::Channel;
use crake::old::part::description::{
    Access, Counts, Description, Field, Form, Order, Register, Text, Value,
};
use crake::old::part::{corncrake, moorhen, pmbus};
use crake_suite::markdown::Document;
use crake_suite::{datasheet, examples, number, sample};

fn moorhen_document() -> Document {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/old/moorhen-datasheet.md");
    Document::parse(&fs::read_to_string(path).unwrap())
}

fn access(cell: &str) -> Access {
    match cell {
        "R" => Access::Read,
        "W" => Access::Write,
        "RW" => Access::Both,
        _ => panic!("access '{cell}'"),
    }
}

/// Names, pointers, widths and access in the order of the table of section 3.
fn table(document: &Document, bytes: Option<&str>) -> Vec<(String, u8, u8, Access)> {
    let table = document.table("3 ", &["pointer", "name"]);
    let pointers = table.rows().map(|row| (number::integer(&row[0]), &row[1]));
    pointers
        .map(|(pointer, name)| {
            let pointer = u8::try_from(pointer).unwrap();
            let row = format!("0x{pointer:02X}");
            let bytes = bytes.map_or(2, |column| number::integer(table.cell(&row, column)));
            let access = access(table.cell(&row, "access"));
            (name.clone(), pointer, u8::try_from(bytes).unwrap(), access)
        })
        .collect()
}

fn described(description: &Description) -> Vec<(String, u8, u8, Access)> {
    let registers = description.registers.iter();
    registers
        .map(|r| (r.name.to_owned(), r.pointer, r.len, r.access))
        .collect()
}

#[test]
fn corncrake_s_registers_are_those_of_the_table() {
    let document = Document::old_corncrake();
    assert_eq!(
        described(&corncrake::DESCRIPTION),
        table(&document, Some("bytes"))
    );
    assert_eq!(
        corncrake::DESCRIPTION.addresses,
        datasheet::addresses(&document)
    );
}

#[test]
fn moorhen_s_registers_are_those_of_the_table() {
    let document = moorhen_document();
    assert_eq!(
        described(&moorhen::DESCRIPTION),
        // Every register is a word of 16 bits.
        table(&document, None)
    );
    assert_eq!(
        moorhen::DESCRIPTION.addresses,
        datasheet::addresses(&document)
    );
}

/// Section 2.3 and the conventions of both documents.
#[test]
fn orders_and_check_bytes() {
    for (description, order, checked) in [
        (corncrake::DESCRIPTION, Order::HighFirst, true),
        (moorhen::DESCRIPTION, Order::LowFirst, false),
    ] {
        assert_eq!(description.checked, checked);
        let mut registers = description.registers.iter();
        assert!(registers.all(|register| {
            register.order == order && register.pages.is_empty() && !register.block
        }));
    }
}

/// No field sticks out, no bit is in two fields, no name stands twice.
#[test]
fn fields_lie_in_their_register_and_apart() {
    for description in [
        corncrake::DESCRIPTION,
        moorhen::DESCRIPTION,
        pmbus::gallinule::DESCRIPTION,
    ] {
        for register in description.registers {
            let mut taken = vec![None; 8 * usize::from(register.len)];
            let mut names = BTreeMap::new();
            assert!(!register.fields.is_empty(), "{}", register.name);
            for field in register.fields {
                let place = (register.name, field.name);
                let most = if field.form == Form::Text {
                    assert_eq!(field.bits % 8, 0, "{place:?}");
                    8 * Text::MAX
                } else {
                    64
                };
                assert!((1..=most).contains(&usize::from(field.bits)), "{place:?}");
                assert_eq!(names.insert(field.name, ()), None, "{place:?}");
                assert!(field.form != Form::Flag || field.bits == 1, "{place:?}");
                let low = usize::from(field.low);
                for bit in &mut taken[low..low + usize::from(field.bits)] {
                    assert_eq!(bit.replace(field.name), None, "{place:?}");
                }
            }
        }
    }
}

fn field<'a>(
    description: &'a Description,
    register: &str,
    name: &str,
) -> (&'a Register, &'a Field) {
    let register = description.register(register).unwrap();
    let field = register.fields.iter().find(|field| field.name == name);
    let field = field.unwrap_or_else(|| panic!("{} has no {name}", register.name));
    (register, field)
}

/// The bits of a cell: `7`, `5 to 4`.
fn bits(cell: &str) -> (u16, u8) {
    let (high, low) = cell.split_once(" to ").unwrap_or((cell, cell));
    let (high, low) = (number::integer(high), number::integer(low));
    let width = u8::try_from(high - low + 1).unwrap();
    (u16::try_from(low).unwrap(), width)
}

/// The bits of fields, in order of the most significant first.
fn places(register: &str, description: &Description) -> Vec<(u16, u8)> {
    let register = description.register(register).unwrap();
    let mut places: Vec<_> = register.fields.iter().map(|f| (f.low, f.bits)).collect();
    places.sort_by_key(|(low, _)| u16::MAX - low);
    places
}

#[test]
fn corncrake_s_state_and_modes() {
    let document = Document::old_corncrake();
    let state = document.table("3.1 ", &["bit", "meaning"]);
    let meant: Vec<_> = state.rows().filter(|row| row[1] != "0").collect();
    let expected: Vec<_> = meant.iter().map(|row| bits(&row[0])).collect();
    assert_eq!(places("STATE", &corncrake::DESCRIPTION), expected);

    let (_, mode) = field(&corncrake::DESCRIPTION, "STATE", "mode");
    let Form::Named(names) = mode.form else {
        panic!("{mode:?}");
    };
    let (_, told) = meant[2][1].split_once(": ").unwrap();
    let named: Vec<_> = names
        .iter()
        .map(|(v, name)| format!("{v} {name}"))
        .collect();
    assert_eq!(named.join(", "), told);

    for register in ["RUN", "FRAME"] {
        let (_, mode) = field(&corncrake::DESCRIPTION, register, "mode");
        let Form::Named(names) = mode.form else {
            panic!("{mode:?}");
        };
        let modes = datasheet::modes(&document);
        assert_eq!(names.len(), modes.len());
        for ((value, name), (byte, mode)) in names.iter().zip(modes) {
            assert_eq!(*value, u64::from(byte));
            assert!(mode.starts_with(name), "{mode} is not {name}");
        }
    }
}

/// The table of section 3.6, whose first rows are for channel c.
#[test]
fn corncrake_s_causes() {
    let document = Document::old_corncrake();
    let mut expected = Vec::new();
    for row in document.table("3.6 ", &["bit", "cause"]).rows() {
        let name = row[1].replace(['-', ' '], "_");
        match row[0].strip_prefix("5c + ") {
            Some(place) => {
                let kind = name.strip_suffix("_of_channel_c").unwrap();
                let place: u16 = place.parse().unwrap();
                expected.extend((0..4).map(|c| (5 * c + place, format!("{kind}_{c}"))));
            }
            None if name.starts_with("must_be_0") => {}
            None => expected.push((row[0].parse().unwrap(), name)),
        }
    }
    expected.sort();
    assert_eq!(expected.len(), 23);
    for register in ["HOLD", "MASK_A", "MASK_B", "CAUSES", "LEVELS"] {
        let fields = corncrake::DESCRIPTION.register(register).unwrap().fields;
        let found: Vec<_> = fields.iter().map(|f| (f.low, f.name.to_owned())).collect();
        assert_eq!(found, expected, "{register}");
        assert!(fields.iter().all(|field| field.form == Form::Flag));
    }
    // Bits 4j + 3 to 4j of DEBOUNCE_c hold the count for the kind at bit 5c + j.
    for c in 0..4 {
        let debounce = corncrake::DESCRIPTION.register(&format!("DEBOUNCE_{c}"));
        for (j, field) in (0_u16..).zip(debounce.unwrap().fields) {
            assert_eq!((field.low, field.bits), (4 * j, 4));
            assert_eq!(expected[usize::from(j)].1, format!("{}_0", field.name));
        }
    }
}

/// Every signed register of the table has a signed field over all its bytes, every other none;
/// STORE's are 3 bytes each, FRAME has a table of its own.
#[test]
fn corncrake_s_signs_and_what_codes_count() {
    let document = Document::old_corncrake();
    for row in datasheet::registers(&document) {
        let register = corncrake::DESCRIPTION.register(&row.name).unwrap();
        let signed = register.fields.iter().filter(|f| f.form == Form::Signed);
        let signed: Vec<_> = signed.collect();
        match row.name.as_str() {
            "STORE" => assert_eq!(signed.len(), 16),
            "FRAME" => {}
            _ => {
                assert_eq!(signed.len(), usize::from(row.signed), "{}", row.name);
                let mut signed = signed.into_iter();
                assert!(signed.all(|f| usize::from(f.bits) == 8 * row.bytes && f.low == 0));
            }
        }
        // "limit, bus code", "last result, sense code" with the channel at the end of the name.
        let table = document.table("3 ", &["pointer", "name"]);
        let what = table.cell(&format!("0x{:02X}", row.pointer), "what it is");
        let channel = row.name.rsplit('_').next().and_then(|c| c.parse().ok());
        let of = channel.map(Channel::new);
        let expected = match (what.rsplit(", ").next().unwrap(), of) {
            ("bus code", Some(of)) => Counts::Bus(of),
            ("sense code", Some(of)) => Counts::Sense(of),
            ("power code", Some(of)) => Counts::Power(of),
            ("live", Some(of)) if row.name.starts_with("CHARGE") => Counts::Charge(of),
            ("live", Some(of)) if row.name.starts_with("ENERGY") => Counts::Energy(of),
            _ => continue,
        };
        assert_eq!(register.fields.len(), 1);
        assert_eq!(register.fields[0].counts, expected, "{}", row.name);
    }
}

/// Section 3.4: bits 4c + 3 to 4c, bits 1 to 0 of them the bus range, bit 2 the sense range.
#[test]
fn corncrake_s_ranges_and_channels() {
    let document = Document::old_corncrake();
    for c in 0..4_u16 {
        let of = Channel::new(c as u8);
        let channel = format!("channel_{c}");
        let (_, enabled) = field(&corncrake::DESCRIPTION, "CHANNELS", &channel);
        assert_eq!((enabled.low, enabled.form), (c, Form::Flag));
        let place = |name: &str| field(&corncrake::DESCRIPTION, "RANGES", &format!("{name}_{c}")).1;
        let (sense, bus) = (place("sense_range"), place("bus_range"));
        assert_eq!((sense.low, sense.bits), (4 * c + 2, 1));
        assert_eq!((bus.low, bus.bits), (4 * c, 2));
        assert_eq!(sense.counts, Counts::SenseRange(of));
        assert_eq!(bus.counts, Counts::BusRange(of));
        let cells = |column| {
            let table = document.table("3.4 ", &[column]);
            table
                .rows()
                .map(|row| (number::integer(&row[0]), row[2].clone()))
                .collect()
        };
        named_as(sense, cells("sense range code"));
        named_as(bus, cells("bus range code"));
    }
}

fn named_as(field: &Field, expected: Vec<(i128, String)>) {
    let Form::Named(names) = field.form else {
        panic!("{field:?}");
    };
    let names = names
        .iter()
        .map(|(value, name)| (i128::from(*value), (*name).to_owned()));
    assert_eq!(names.collect::<Vec<_>>(), expected);
}

/// What a field of FRAME is in a block, as a number.
fn in_frame(block: &[u8], name: &str) -> i128 {
    let (register, field) = field(&corncrake::DESCRIPTION, "FRAME", name);
    number_of(register.value(field, block))
}

fn number_of(value: Value) -> i128 {
    match value {
        Value::Unsigned(value) | Value::Named(value, _) => i128::from(value),
        Value::Signed(value) => i128::from(value),
        Value::Flag(value) => i128::from(value),
        Value::Unnamed(value) => panic!("{value} has no name"),
        Value::Text(text) => panic!("{text:?} is no number"),
    }
}

/// Section 5: the fields that lie on whole bytes by the table, the others by the text beside it, in
/// the worked block and in one of random bytes.
#[test]
fn corncrake_s_frame() {
    let document = Document::old_corncrake();
    let worked = sample::sample_block(&document);
    for (name, value) in &worked.fields {
        let plain = name.replace(' ', "_");
        if !["set-up", "ranges", "flags"].contains(&name.as_str()) {
            assert_eq!(in_frame(&worked.block, &plain), *value, "{name}");
        }
    }
    let mut block = [0_u8; 111];
    let mut state = 1_u32;
    for byte in &mut block {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *byte = (state >> 24) as u8;
    }
    block[3] = 0x13; // of the mode bytes one with a name
    for c in [5, 6] {
        // Bus range code 3 is not allowed.
        block[c] &= 0xDD;
    }
    for block in [&worked.block[..], &block] {
        let fields = sample::sample_fields(&document);
        let whole = |name: &str| {
            let field = fields.iter().find(|field| field.name == name);
            field.unwrap().read(block)
        };
        for field in &fields {
            if !["set-up", "ranges", "flags"].contains(&field.name.as_str()) {
                let name = field.name.replace(' ', "_");
                assert_eq!(in_frame(block, &name), field.read(block), "{name}");
            }
        }
        let bits = |name: &str, low: i128, bits: i128| whole(name) >> low & ((1 << bits) - 1);
        assert_eq!(in_frame(block, "averaging"), bits("set-up", 4, 4));
        assert_eq!(in_frame(block, "reset_seen"), bits("flags", 15, 1));
        assert_eq!(in_frame(block, "complete"), bits("flags", 14, 1));
        for c in 0..4 {
            let of = |name: &str| in_frame(block, &format!("{name}_{c}"));
            assert_eq!(of("channel"), bits("set-up", c, 1));
            assert_eq!(of("bus_range"), bits("ranges", 4 * c, 2));
            assert_eq!(of("sense_range"), bits("ranges", 4 * c + 2, 1));
            assert_eq!(of("sense_over_range"), bits("flags", 2 * c, 1));
            assert_eq!(of("bus_over_range"), bits("flags", 2 * c + 1, 1));
        }
    }
    // Every field of the description was looked at: 5 per channel and the 5 of the table, 5 more
    // per channel, averaging and two flags.
    let fields = corncrake::DESCRIPTION.register("FRAME").unwrap().fields;
    assert_eq!(fields.len(), 5 * 4 + 5 + 5 * 4 + 3);
    for field in fields {
        let c = field.name.rsplit('_').next().and_then(|c| c.parse().ok());
        let expected = match (field.name.split_once('_'), c.map(Channel::new)) {
            (Some(("sense", rest)), Some(of)) if rest.len() == 1 => Counts::Sense(of),
            (Some(("bus", rest)), Some(of)) if rest.len() == 1 => Counts::Bus(of),
            (Some(("power", _)), Some(of)) => Counts::Power(of),
            (Some(("charge", _)), Some(of)) => Counts::Charge(of),
            (Some(("energy", _)), Some(of)) => Counts::Energy(of),
            (Some(("sense", rest)), Some(of)) if rest.starts_with("range") => {
                Counts::SenseRange(of)
            }
            (Some(("bus", rest)), Some(of)) if rest.starts_with("range") => Counts::BusRange(of),
            _ => Counts::Nothing,
        };
        assert_eq!(field.counts, expected, "{}", field.name);
    }
}

/// The worked examples of both documents that give a code: the field that counts something is that
/// code.
#[test]
fn codes_of_the_worked_examples() {
    let mut seen = 0;
    for example in examples::examples(&Document::old_corncrake()) {
        if let Some(code) = example.value("code") {
            seen += 1;
            check_code(&corncrake::DESCRIPTION, &example.transfer.parts(), code);
        }
    }
    assert_eq!(seen, 14);
    let mut seen = 0;
    let document = moorhen_document();
    for row in document
        .table("9 ", &["#", "what", "bytes", "values"])
        .rows()
    {
        let mut values = row[3].split("; ").filter_map(|pair| pair.split_once(" = "));
        if let Some((_, code)) = values.find(|(name, _)| *name == "code") {
            seen += 1;
            let parts: Vec<_> = parts(&row[2]);
            check_code(&moorhen::DESCRIPTION, &parts, number::integer(code));
        }
    }
    assert_eq!(seen, 11);
}

/// The bytes that follow each START.
fn parts(cell: &str) -> Vec<Vec<u8>> {
    let mut parts = Vec::new();
    for word in cell.trim_matches('`').split(' ') {
        match word {
            "S" | "Sr" => parts.push(Vec::new()),
            "P" => {}
            byte => {
                let part: &mut Vec<u8> = parts.last_mut().unwrap();
                part.push(u8::from_str_radix(byte, 16).unwrap());
            }
        }
    }
    parts
}

fn check_code(description: &Description, parts: &[Vec<u8>], code: i128) {
    let (pointer, data) = match parts {
        [write] => (write[1], &write[2..]),
        [write, read] => (write[1], &read[1..]),
        _ => panic!("{parts:?}"),
    };
    let mut registers = description.registers.iter();
    let register = registers.find(|register| register.pointer == pointer);
    let register = register.unwrap();
    let mut values = register.values(data);
    let (_, value) = values
        .find(|(field, _)| field.counts != Counts::Nothing)
        .unwrap();
    assert_eq!(number_of(value), code, "{}", register.name);
}

/// What the worked examples say in words, and what section 3's table says of single bits and of
/// STORE.
#[test]
fn corncrake_s_tags_flags_and_store() {
    let examples = examples::examples(&Document::old_corncrake());
    for (register, number) in [("RUN", 6), ("LATCH", 7)] {
        let example = examples.iter().find(|example| example.number == number);
        let example = example.unwrap();
        let write = &example.transfer.parts()[0];
        let (_, words) = example.what.rsplit_once("; ").unwrap();
        for word in words.split(", ") {
            let (name, value) = word.split_once(' ').unwrap();
            let (register, field) = field(&corncrake::DESCRIPTION, register, name);
            let found = number_of(register.value(field, &write[2..]));
            assert_eq!(found, number::integer(value), "{} {name}", register.name);
        }
    }
    for (register, name, bit) in [
        ("OUTPUTS", "a_low", 0),
        ("OUTPUTS", "b_low", 1),
        ("BOOT", "reset_seen", 0),
        ("GUARD", "check_byte_required", 0),
    ] {
        let (_, field) = field(&corncrake::DESCRIPTION, register, name);
        assert_eq!((field.low, field.form), (bit, Form::Flag), "{register}");
    }
    // 16 sense codes of 3 bytes, each signed, oldest first.
    let store: Vec<u8> = (0..48).map(|place| 0xF0_u8.wrapping_add(place)).collect();
    for (n, bytes) in store.chunks(3).enumerate() {
        let (register, field) = field(&corncrake::DESCRIPTION, "STORE", &format!("code_{n}"));
        let high = i128::from(bytes[0].cast_signed());
        let expected = high << 16 | i128::from(bytes[1]) << 8 | i128::from(bytes[2]);
        assert_eq!(number_of(register.value(field, &store)), expected);
    }
    // The last byte is the revision.
    let (register, field) = field(&corncrake::DESCRIPTION, "IDENTITY", "revision");
    let identity = &examples[0].transfer.parts()[1][1..5];
    assert_eq!(
        number_of(register.value(field, identity)),
        i128::from(identity[3])
    );
}

/// The tables of sections 3.1, 3.3, 3.4 and 3.5.
#[test]
fn moorhen_s_fields() {
    let document = moorhen_document();
    let description = &moorhen::DESCRIPTION;
    let inputs: Vec<(u16, String)> = document
        .table("3.1 ", &["bit", "input"])
        .rows()
        .map(|row| (row[0].parse().unwrap(), row[1].replace(" of channel ", "_")))
        .collect();
    let named = |register: &str, between: &str| -> Vec<(u16, String)> {
        let fields = description.register(register).unwrap().fields;
        let one = fields.iter().filter(|field| field.name.contains(between));
        one.map(|field| (field.low, field.name.replace(between, "_")))
            .collect()
    };
    assert_eq!(named("MASK", "_"), inputs);
    assert_eq!(named("CAUSES", "_"), inputs);
    assert_eq!(named("RANGES", "_range_"), inputs);
    assert_eq!(named("PROGRESS", "_clipped_"), inputs);

    for (c, of) in [(0, Channel::C0), (1, Channel::C1)] {
        for (input, counts) in [
            ("sense", Counts::SenseRange(of)),
            ("bus", Counts::BusRange(of)),
        ] {
            let (_, range) = field(description, "RANGES", &format!("{input}_range_{c}"));
            assert_eq!(range.counts, counts);
            let column = format!("{input} range bit");
            let table = document.table("3.3 ", &[&column]);
            let expected = table
                .rows()
                .map(|row| (number::integer(&row[0]), row[2].clone()));
            named_as(range, expected.collect());
        }
        // Results and limits: the code; in a result the channel and the count.
        let words = document.table("3.5 ", &["bits", "in a result", "in a limit"]);
        let result: Vec<_> = words.rows().map(|row| bits(&row[0])).collect();
        let code: Vec<_> = words.rows().filter(|row| row[2] == "code").collect();
        for (name, counts, form) in [
            ("BUS", Counts::Bus(of), Form::Unsigned),
            ("SENSE", Counts::Sense(of), Form::Signed),
        ] {
            let (limit, name) = (format!("{name}_LIMIT_{c}"), format!("{name}_{c}"));
            assert_eq!(places(&name, description), result);
            assert_eq!(places(&limit, description), [bits(&code[0][0])]);
            for register in [name, limit] {
                let (_, field) = field(description, &register, "code");
                assert_eq!((field.counts, field.form), (counts, form), "{register}");
            }
        }
    }

    let (_, busy) = field(description, "PROGRESS", "busy");
    let (_, count) = field(description, "PROGRESS", "count");
    let progress = document.table("3.4 ", &["PROGRESS bit", "meaning"]);
    let meaning = |begin: &str| {
        let mut rows = progress.rows();
        bits(&rows.find(|row| row[1].starts_with(begin)).unwrap()[0])
    };
    assert_eq!((busy.low, busy.bits), meaning("busy"));
    assert_eq!((count.low, count.bits), meaning("sequence count"));
}
