//! The description of Corncrake's registers against the tables of its datasheet, both ways: nothing
//! is missing, nothing is made up.

use std::collections::BTreeSet;

use crake::Channel;
use crake_sim::inspect::{
    Access, CORNCRAKE, Counts, Field, Form, GALLINULE, MOORHEN, Order, Register, Text, Value,
};
use crake_suite::{
    datasheet::{self, rail_ranges, sense_ranges},
    examples::examples,
    markdown::Document,
    number::integer,
    sample::{sample_block, sample_fields},
};

fn register(name: &str) -> &'static Register {
    CORNCRAKE.register(name).unwrap_or_else(|| panic!("{name}"))
}

fn field(register_name: &str, name: &str) -> (&'static Register, &'static Field) {
    let register = register(register_name);
    let field = register.fields.iter().find(|field| field.name == name);
    (
        register,
        field.unwrap_or_else(|| panic!("{register_name} has no {name}")),
    )
}

fn number_of(value: Value) -> i128 {
    match value {
        Value::Unsigned(value) | Value::Named(value, _) => i128::from(value),
        Value::Signed(value) => i128::from(value),
        Value::Flag(value) => i128::from(value),
        Value::Unnamed(_) | Value::Text(_) => panic!("{value:?} is no number"),
    }
}

#[test]
fn registers_are_those_of_the_table() {
    let document = Document::corncrake();
    let listed = datasheet::registers(&document);
    assert_eq!(CORNCRAKE.registers.len(), listed.len());
    for (register, row) in CORNCRAKE.registers.iter().zip(&listed) {
        let access = match (row.readable, row.writable) {
            // Section 3.7: how much it reads is in CAPTURE_FROM.
            (true, false) if row.name == "CAPTURE" => Access::ReadVaries,
            (true, true) => Access::Both,
            (true, false) => Access::Read,
            (false, true) => Access::Write,
            (false, false) => panic!("{}", row.name),
        };
        assert_eq!(
            (register.name, register.pointer, register.access),
            (row.name.as_str(), row.pointer, access)
        );
        assert_eq!(usize::from(register.len), row.bytes, "{}", row.name);
        assert_eq!(register.order, Order::HighFirst);
    }
    assert_eq!(CORNCRAKE.addresses, datasheet::addresses(&document));
    // Section 2.3.
    let checked = CORNCRAKE.checked;
    assert!(checked);
    let lsbs = |ranges: Vec<datasheet::Range>| ranges.into_iter().map(|range| range.lsb_nv);
    assert!(lsbs(sense_ranges(&document)).eq(CORNCRAKE.sense_lsb_nv.iter().copied()));
    assert!(lsbs(rail_ranges(&document)).eq(CORNCRAKE.rail_lsb_nv.iter().copied()));
}

/// No field sticks out, no bit is in two fields, no name stands twice.
#[test]
fn fields_lie_in_their_register_and_apart() {
    let descriptions = [CORNCRAKE, MOORHEN, GALLINULE];
    for register in descriptions.iter().flat_map(|all| all.registers) {
        let mut taken = vec![None; 8 * usize::from(register.len)];
        let mut names = BTreeSet::new();
        for field in register.fields {
            let place = (register.name, field.name);
            let most = match field.form {
                Form::Text => 8 * Text::MAX,
                _ => 64,
            };
            assert!((1..=most).contains(&usize::from(field.bits)), "{place:?}");
            assert!(field.form != Form::Text || field.bits % 8 == 0, "{place:?}");
            assert!(names.insert(field.name), "{place:?}");
            assert!(field.form != Form::Flag || field.bits == 1, "{place:?}");
            let low = usize::from(field.low);
            for bit in &mut taken[low..low + usize::from(field.bits)] {
                assert_eq!(bit.replace(field.name), None, "{place:?}");
            }
        }
    }
}

/// The names of a field's values.
fn names(field: &Field) -> &'static [(u64, &'static str)] {
    match field.form {
        Form::Named(names) => names,
        other => panic!("{} is {other:?}", field.name),
    }
}

#[test]
fn state_and_modes() {
    let document = Document::corncrake();
    let rows: Vec<_> = document.table("3.1 ", &["bit", "meaning"]).rows().collect();
    let bit = |name: &str| field("STATE", name).1.low.to_string();
    assert_eq!(bit("busy"), rows[0][0]);
    assert!(rows[0][1].starts_with("a scan is in progress"));
    assert_eq!(bit("latch_asked"), rows[1][0]);
    assert!(rows[1][1].starts_with("a latch is asked for"));
    let (_, mode) = field("STATE", "mode");
    assert_eq!((rows[3][0].as_str(), mode.low, mode.bits), ("3 to 0", 0, 4));
    let named = names(mode)
        .iter()
        .map(|(value, name)| format!("{value} {name}"));
    let named = named.collect::<Vec<_>>().join(", ");
    assert_eq!(rows[3][1], format!("the active mode: {named}"));

    for register in ["RUN", "SAMPLE"] {
        let names = names(field(register, "mode").1);
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
fn alert_flags() {
    let document = Document::corncrake();
    let mut expected = Vec::new();
    for row in document.table("3.6 ", &["bit", "flag"]).rows() {
        // What stands behind a colon says where the flag comes from.
        let (name, _) = row[1].split_once(':').unwrap_or((row[1].as_str(), ""));
        let name = name.replace(['-', ' '], "_");
        match row[0].strip_prefix("5c + ") {
            Some(place) => {
                let kind = name.strip_suffix("_of_channel_c").expect("a kind");
                let place: u16 = place.parse().expect("a place");
                expected.extend((0..4).map(|c| (5 * c + place, format!("{kind}_{c}"))));
            }
            None if name.starts_with("must_be_0") => {}
            None => expected.push((row[0].parse().expect("a bit"), name)),
        }
    }
    expected.sort();
    assert_eq!(expected.len(), 23);
    for name in ["LATCHING", "MASK_A", "MASK_B", "FLAGS", "CONDITIONS"] {
        let fields = register(name).fields;
        let found: Vec<_> = fields.iter().map(|f| (f.low, f.name.to_owned())).collect();
        assert_eq!(found, expected, "{name}");
        assert!(fields.iter().all(|field| field.form == Form::Flag));
    }
    // Bits 4j + 3 to 4j of DEBOUNCE_c hold the count for the kind at bit 5c + j.
    for c in 0..4 {
        let debounce = register(&format!("DEBOUNCE_{c}"));
        for (j, field) in (0_u16..).zip(debounce.fields) {
            assert_eq!((field.low, field.bits), (4 * j, 4));
            assert_eq!(expected[usize::from(j)].1, format!("{}_0", field.name));
        }
    }
}

/// Every signed register of the table has one signed field over all its bytes, every other none.
/// SAMPLE has a table of its own, CAPTURE no fields.
#[test]
fn signs_and_what_codes_count() {
    let document = Document::corncrake();
    let table = document.table("3 ", &["pointer", "name"]);
    for row in datasheet::registers(&document) {
        let register = register(&row.name);
        let signed: Vec<_> = register
            .fields
            .iter()
            .filter(|field| field.form == Form::Signed)
            .collect();
        if row.name != "SAMPLE" {
            assert_eq!(signed.len(), usize::from(row.signed), "{}", row.name);
            for field in signed {
                assert_eq!((usize::from(field.bits), field.low), (8 * row.bytes, 0));
            }
        }
        // "limit, rail code", "last result, sense code" with the channel at the end of the name.
        let what = table.cell(&format!("0x{:02X}", row.pointer), "what it is");
        let channel = row.name.rsplit('_').next().and_then(|c| c.parse().ok());
        let of = channel.map(Channel::new);
        let expected = match (what.rsplit(", ").next(), of) {
            (Some("rail code"), Some(of)) => Counts::Rail(of),
            (Some("sense code"), Some(of)) => Counts::Sense(of),
            (Some("power code"), Some(of)) => Counts::Power(of),
            (Some("live"), Some(of)) if row.name.starts_with("CHARGE") => Counts::Charge(of),
            (Some("live"), Some(of)) if row.name.starts_with("ENERGY") => Counts::Energy(of),
            _ => continue,
        };
        assert_eq!(register.fields.len(), 1);
        assert_eq!(register.fields[0].counts, expected, "{}", row.name);
    }
}

/// Section 3.4: bits 4c + 3 to 4c, bits 1 to 0 of them the rail range, bit 2 the sense range.
#[test]
fn ranges_and_channels() {
    let document = Document::corncrake();
    for c in 0..4_u16 {
        let of = Channel::new(c as u8);
        let (_, enabled) = field("CHANNELS", &format!("channel_{c}"));
        assert_eq!((enabled.low, enabled.form), (c, Form::Flag));
        let (_, sense) = field("RANGES", &format!("sense_range_{c}"));
        let (_, rail) = field("RANGES", &format!("rail_range_{c}"));
        assert_eq!((sense.low, sense.bits), (4 * c + 2, 1));
        assert_eq!((rail.low, rail.bits), (4 * c, 2));
        assert_eq!(sense.counts, Counts::SenseRange(of));
        assert_eq!(rail.counts, Counts::RailRange(of));
        for (field, column) in [(sense, "sense range code"), (rail, "rail range code")] {
            let rows = document.table("3.4 ", &[column]).rows();
            let listed = rows.map(|row| (integer(&row[0]), row[2].as_str()));
            let named = names(field).iter().map(|(v, name)| (i128::from(*v), *name));
            assert!(named.eq(listed), "{column}");
        }
    }
}

/// What a field of SAMPLE is in a block, as a number.
fn in_sample(block: &[u8], name: &str) -> i128 {
    let (register, field) = field("SAMPLE", name);
    number_of(register.value(field, block))
}

/// Section 5: the fields that lie on whole bytes by the table, the others by the text beside it, in
/// the worked block and in one of random bytes.
#[test]
fn fields_of_the_sample_block() {
    const PARTED: [&str; 3] = ["configuration", "ranges", "flags"];
    let document = Document::corncrake();
    let worked = sample_block(&document);
    let mut random = [0_u8; 111];
    let mut state = 1_u32;
    for byte in &mut random {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *byte = (state >> 24) as u8;
    }
    random[3] = 0x13; // of the mode bytes one with a name
    for c in [5, 6] {
        // Rail range code 3 is not allowed.
        random[c] &= 0xDD;
    }
    let fields = sample_fields(&document);
    for block in [&worked.block[..], &random] {
        let whole = |name: &str| {
            let field = fields.iter().find(|field| field.name == name);
            field.expect("a field").read(block)
        };
        for field in fields
            .iter()
            .filter(|field| !PARTED.contains(&field.name.as_str()))
        {
            let name = field.name.replace(' ', "_");
            assert_eq!(in_sample(block, &name), field.read(block), "{name}");
        }
        let bits = |name: &str, low: i128, bits: i128| whole(name) >> low & ((1 << bits) - 1);
        assert_eq!(in_sample(block, "averaging"), bits("configuration", 4, 4));
        assert_eq!(in_sample(block, "reset_seen"), bits("flags", 15, 1));
        assert_eq!(in_sample(block, "complete"), bits("flags", 14, 1));
        for c in 0..4 {
            let of = |name: &str| in_sample(block, &format!("{name}_{c}"));
            assert_eq!(of("channel"), bits("configuration", c, 1));
            assert_eq!(of("rail_range"), bits("ranges", 4 * c, 2));
            assert_eq!(of("sense_range"), bits("ranges", 4 * c + 2, 1));
            assert_eq!(of("sense_over_range"), bits("flags", 2 * c, 1));
            assert_eq!(of("rail_over_range"), bits("flags", 2 * c + 1, 1));
        }
    }
    // Every field of the description was looked at: 5 per channel and the 5 of the table, 5 more
    // per channel, averaging and two flags.
    let described = register("SAMPLE").fields;
    assert_eq!(described.len(), 5 * 4 + 5 + 5 * 4 + 3);
    for field in described {
        let (name, c) = field.name.rsplit_once('_').unwrap_or((field.name, ""));
        let of = c.parse().ok().map(Channel::new);
        let expected = match (name, of) {
            ("sense", Some(of)) => Counts::Sense(of),
            ("rail", Some(of)) => Counts::Rail(of),
            ("power", Some(of)) => Counts::Power(of),
            ("charge", Some(of)) => Counts::Charge(of),
            ("energy", Some(of)) => Counts::Energy(of),
            ("sense_range", Some(of)) => Counts::SenseRange(of),
            ("rail_range", Some(of)) => Counts::RailRange(of),
            _ => Counts::Nothing,
        };
        assert_eq!(field.counts, expected, "{}", field.name);
    }
}

/// The worked examples that give a code, an index, a number, or a tag and a seen in words.
#[test]
fn fields_of_the_worked_examples() {
    let (mut codes, mut others) = (0, 0);
    for example in examples(&Document::corncrake()) {
        let parts = example.transfer.parts();
        let (pointer, data) = match &parts[..] {
            [write] => (write[1], &write[2..]),
            [write, read] => (write[1], &read[1..]),
            _ => panic!("{parts:?}"),
        };
        let found = CORNCRAKE.registers.iter().find(|r| r.pointer == pointer);
        let (Some(register), false) = (found, example.what == "alert response") else {
            continue;
        };
        let is = |name: &str, value: i128| {
            let (register, field) = field(register.name, name);
            assert_eq!(
                number_of(register.value(field, data)),
                value,
                "{}",
                example.what
            );
        };
        if let Some(code) = example.value("code") {
            codes += 1;
            is(register.fields[0].name, code);
            assert_ne!(register.fields[0].counts, Counts::Nothing);
        }
        for name in ["index", "number"] {
            if let Some(value) = example.value(name) {
                others += 1;
                is(name, value);
            }
        }
        if register.name == "LATCH" {
            let (_, words) = example.what.rsplit_once("; ").expect("tag and seen");
            for word in words.split(", ") {
                others += 1;
                let (name, value) = word.split_once(' ').expect("a value");
                is(name, integer(value));
            }
        }
        if register.name == "IDENTITY" {
            // The last byte is the revision.
            others += 1;
            is("revision", i128::from(data[3]));
        }
    }
    assert_eq!((codes, others), (14, 5));
    for (register, name, bit) in [
        ("OUTPUTS", "a_low", 0),
        ("OUTPUTS", "b_low", 1),
        ("RESET_SEEN", "reset_seen", 0),
        ("GUARD", "check_byte_required", 0),
    ] {
        let (_, field) = field(register, name);
        assert_eq!((field.low, field.form), (bit, Form::Flag), "{register}");
    }
}
