//! Looking at registers over a bus: what comes back is checked, decoded and worth what the
//! datasheet says, and the part is left as it was.

mod description;
mod fake;
mod gallinule;
mod moorhen;
mod pages;

use std::time::Duration;

use crake::{Channel, units::Resistance};
use crake_sim::{
    bench::{Bench, Part},
    board::SenseResistor,
    bus::{Event, Logging},
    inspect::{
        Access, CORNCRAKE, Contents, Description, InspectError, Inspector, Quantity, Register,
        Scales, Value,
    },
    part::corncrake::{Corncrake, Model},
    plant::{Constant, Rail, Source},
};
use crake_suite::{
    examples::{Example, examples},
    markdown::Document,
    sample::sample_block,
};
use embedded_hal::i2c::I2c;
use fake::Fake;

fn figures(scales: &Scales, contents: &Contents) -> Vec<Quantity> {
    let fields = scales.fields(contents);
    fields.flat_map(|(_, _, quantities)| quantities).collect()
}

/// Every worked example that gives a code and a range: voltage, current and power, whether the
/// transfer reads or writes the register.
#[test]
fn worked_examples_in_volts_amperes_and_watts() {
    let mut compared = 0;
    for example in examples(&Document::corncrake()) {
        let value = |name: &str| Example::value(&example, name);
        if value("code").is_none() || value("charge").or(value("energy")).is_some() {
            continue;
        }
        let parts = example.transfer.parts();
        let pointer = parts[0][1];
        let register = CORNCRAKE
            .registers
            .iter()
            .find(|register| register.pointer == pointer)
            .expect("a register");
        let data = match &parts[..] {
            [_, read] => &read[1..],
            _ => &parts[0][2..],
        };
        let number = register.name.rsplit('_').next().expect("a channel");
        let channel: u8 = number.parse().expect("a channel");
        // Section 3.4: rail range in bits 1 to 0 of the channel's four, sense range in bit 2.
        let nibble = value("rail range").unwrap_or(0) | value("sense range").unwrap_or(0) << 2;
        let ranges = (nibble << (4 * channel)) as u16;
        // RANGES is enough: the sample block's are not asked for.
        let mut fake = Fake::checked(&[
            (0x06, &ranges.to_be_bytes()),
            (pointer, &data[..usize::from(register.len)]),
        ]);
        let mut inspector = Inspector::new(&mut fake, 0x32, &CORNCRAKE);
        let nanoohms = value("resistance").unwrap_or(1) as u64;
        let resistor = (Channel::new(channel), Resistance::from_nanoohms(nanoohms));
        let scales = inspector.scales(&[resistor]).expect("ranges");
        let contents = inspector.read(register.name).expect("contents");
        let found = figures(&scales, &contents);
        let volts = value("sense voltage").or(value("voltage"));
        for (unit, exact) in [("V", volts), ("A", value("current")), ("W", value("power"))] {
            let found = found.iter().find(|quantity| quantity.unit == unit);
            let found = found.map(|quantity| quantity.value * 1e9);
            match (found, exact.map(|exact| exact as f64)) {
                (None, None) => {}
                // Doubles, divided at most twice.
                (Some(found), Some(exact)) if (found - exact).abs() <= exact.abs() * 1e-15 => {}
                other => panic!("{} in {unit}: {other:?}", example.what),
            }
        }
        compared += 1;
    }
    assert_eq!(compared, 12);
}

/// A part after one scan of channels of its own, idle, with limits on both sides passed: written by
/// hand from the datasheet.
fn bench() -> (Bench, Part<Model>) {
    let bench = Bench::new(7);
    let part = bench.part(Corncrake::new(0x32)).expect("free");
    for (channel, volts, milliamperes) in [(0, 12, 900), (1, 3, -400), (2, 5, 0), (3, 0, 0)] {
        let source = Source::of(Constant::new(volts * 1_000_000_000).expect("volts"));
        let load = Constant::new(milliamperes * 1_000_000).expect("a load");
        let rail = Rail::new(source, load).expect("a rail");
        let resistor = SenseResistor::ideal(20_000_000);
        part.rail(channel, rail, resistor).expect("a channel");
    }
    let mut i2c = bench.i2c();
    for write in [
        &[0x06, 0x22, 0x11][..],   // channels 0 and 1: 16.384 V
        &[0x10, 0x10, 0x00],       // over-voltage of channel 0: 1.024 V
        &[0x1B, 0x00, 0x00, 0x00], // under-current of channel 1: 0
        &[0x35, 0x00, 0x00, 0x01], // the one to output A
        &[0x36, 0x70, 0x01, 0x00], // the other, and the part's own, to output B
        &[0x34, 0x70, 0x00, 0x01], // the one latches
        &[0x04, 0x20],             // single-shot
    ] {
        i2c.write(0x32, write).expect("acknowledged");
    }
    bench.run_for(Duration::from_millis(5));
    (bench, part)
}

/// The bench's look inside the part knows nothing of descriptions.
#[test]
fn what_is_read_is_what_the_bench_sees_inside_the_part() {
    let (bench, part) = bench();
    let inside = part.snapshot();
    let mut inspector = Inspector::new(bench.i2c(), 0x32, &CORNCRAKE);
    for (c, channel) in inside.channels.iter().enumerate() {
        let mut code = |register: &str| {
            let contents = inspector
                .read(&format!("{register}_{c}"))
                .expect("contents");
            contents.value("code").expect("a code")
        };
        assert_eq!(code("SENSE"), Value::Signed(channel.sense.into()));
        assert_eq!(code("rail"), Value::Unsigned(channel.rail as u64));
        let product = i64::from(channel.sense) * i64::from(channel.rail);
        assert_eq!(code("Power"), Value::Signed(product));
    }
    let mut bits = |register: &str| {
        let contents = inspector.read(register).expect("contents");
        contents.values().fold(0, |bits, (field, value)| {
            bits | u32::from(value == Value::Flag(true)) << field.low
        })
    };
    // Over-voltage of channel 0 is bit 0, under-current of channel 1 bit 8.
    assert_eq!(inside.conditions, 1 | 1 << 8);
    assert_eq!(bits("CONDITIONS"), inside.conditions);
    assert_eq!(bits("FLAGS"), inside.flags);
    assert_eq!(bits("OUTPUTS"), u32::from(inside.outputs));
    assert_eq!(inside.outputs, 3);
    assert!(inside.channels.iter().any(|channel| channel.sense < 0));
}

/// Two looks at everything show the same; the first has written pointers and nothing else.
#[test]
fn looking_leaves_everything_as_it_was() {
    let (bench, part) = bench();
    let before = part.snapshot();
    bench.set_logging(Logging::Full);
    let mut inspector = Inspector::new(bench.i2c(), 0x32, &CORNCRAKE);
    let first = inspector.read_all().expect("everything");
    let log = bench.log();
    assert_eq!(inspector.read_all().expect("everything"), first);
    assert_eq!(part.snapshot(), before);

    // All but LATCH, RESTART and CAPTURE.
    assert_eq!((first.len(), log.len()), (63, 63));
    for (transaction, contents) in log.iter().zip(&first) {
        let mut parts = transaction.events.split(|event| *event == Event::Restart);
        let written: Vec<_> = parts
            .next()
            .expect("a write")
            .iter()
            .map(|event| match event {
                Event::Sent { byte, .. } => *byte,
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(written, [0x64, contents.register().pointer]);
        let mut read = parts.next().expect("a read").iter();
        assert!(matches!(read.next(), Some(Event::Sent { byte: 0x65, .. })));
        assert!(read.all(|event| matches!(event, Event::Received { .. })));
        assert!(parts.next().is_none());
    }
}

const ODD: Description = Description {
    name: "Odd",
    addresses: &[0x40],
    checked: false,
    channels: 0,
    sense_lsb_nv: &[],
    rail_lsb_nv: &[],
    selector: None,
    registers: &[
        odd("TOUCHY", 1, Access::ReadChanges),
        odd("DEAF", 2, Access::Write),
        odd("LONG", 4, Access::ReadVaries),
        odd("PLAIN", 3, Access::Read),
    ],
};

const fn odd(name: &'static str, pointer: u8, access: Access) -> Register {
    Register::new(name, pointer, 1, access, &[])
}

#[test]
fn what_is_not_for_onlookers_is_left_alone() {
    let mut fake = Fake {
        registers: [(3, vec![0x5A])].into(),
        ..Fake::default()
    };
    let mut inspector = Inspector::new(&mut fake, 0x40, &ODD);
    for (name, why) in [
        ("TOUCHY", "changes the part"),
        ("DEAF", "only be written"),
        ("LONG", "another register"),
    ] {
        let error = inspector.read(name).expect_err("left alone");
        let told = error.to_string();
        assert!(told.starts_with(name) && told.contains(why), "{told}");
        assert!(
            matches!(error, InspectError::NotForOnlookers { register } if register.name == name)
        );
    }
    let all = inspector.read_all().expect("everything");
    assert_eq!((all.len(), all[0].bytes()), (1, &[0x5A][..]));
    assert_eq!(fake.written, [[3]]);
}

/// Every wrong check byte is found, and told with all that came; a part that is not there, and a
/// name that it does not have.
#[test]
fn errors_name_the_register_the_address_and_what_came() {
    for spoilt in 1..=u8::MAX {
        let mut fake = Fake {
            checked: Some(spoilt),
            ..Fake::checked(&[(0x01, &[0x12, 0x34])])
        };
        let mut inspector = Inspector::new(&mut fake, 0x33, &CORNCRAKE);
        let error = inspector.read("WRITES").expect_err("spoilt");
        let InspectError::CheckByte {
            address: 0x33,
            ref bytes,
            expected,
            came,
            ..
        } = error
        else {
            panic!("{error}");
        };
        assert_eq!((&bytes[..], expected ^ came), (&[0x12, 0x34][..], spoilt));
        let told = error.to_string();
        for part in ["WRITES", "0x01", "0x33", "12, 34", &format!("{came:#04x}")] {
            assert!(told.contains(part), "{told}");
        }
    }

    let bench = Bench::new(1);
    let mut inspector = Inspector::new(bench.i2c(), 0x34, &CORNCRAKE);
    let error = inspector.read("run").expect_err("nobody there");
    let told = error.to_string();
    assert!(
        told.starts_with("RUN (0x04) of the part at 0x34 cannot be read: "),
        "{told}"
    );
    assert!(matches!(error, InspectError::Bus { .. }), "{told}");

    let told = inspector.read("SENSE_4").expect_err("no such").to_string();
    assert!(
        told.starts_with("Corncrake has no register SENSE_4; it has IDENTITY, "),
        "{told}"
    );
}

/// Ranges that no part has make no figures, and neither does a resistor that is none.
#[test]
fn no_figures_from_ranges_or_resistors_that_are_none() {
    let mut fake = Fake::checked(&[
        (0x06, &[0x00, 0x03]),
        (0x64, &[0x12, 0x34]),
        (0x60, &[0x00, 0x00, 0x64]),
    ]);
    let mut inspector = Inspector::new(&mut fake, 0x32, &CORNCRAKE);
    let none = (Channel::C0, Resistance::from_nanoohms(0));
    let ranges = inspector.read("RANGES").expect("contents");
    let scales = Scales::new(&CORNCRAKE, &[none]).with(&ranges);
    assert_eq!(scales.sense_lsb_nv(Channel::C0), Some(500));
    assert_eq!(scales.rail_lsb_nv(Channel::C0), None);
    let rail = inspector.read("RAIL_0").expect("contents");
    assert_eq!(figures(&scales, &rail), []);
    let sense = inspector.read("SENSE_0").expect("contents");
    let fifty_microvolts = Quantity {
        value: 50e-6,
        unit: "V",
    };
    assert_eq!(figures(&scales, &sense), [fifty_microvolts]);
}

/// The worked block of section 10.1: LSBs by its own ranges, which differ from those in RANGES
/// here, as after a change of configuration that no latch has followed.
#[test]
fn the_sample_block_goes_by_its_own_ranges() {
    let worked = sample_block(&Document::corncrake());
    let mut fake = Fake::checked(&[(0x06, &[0x22, 0x22]), (0x80, &worked.block)]);
    let mut inspector = Inspector::new(&mut fake, 0x32, &CORNCRAKE);
    let scales = inspector.scales(&[]).expect("ranges");
    assert_eq!(scales.rail_lsb_nv(Channel::C0), Some(1_000_000));
    let sample = inspector.read("SAMPLE").expect("contents");
    let mut compared = 0;
    for (field, _, quantities) in scales.fields(&sample) {
        // RANGES 0x6041, section 3.4: the channels' nibbles are 1, 4, 0 and 6.
        let lsb_nv = match field.name {
            "rail_0" => 250_000,
            "rail_1" | "rail_2" => 100_000,
            "rail_3" => 1_000_000,
            "sense_0" | "sense_2" => 500,
            "sense_1" | "sense_3" => 200,
            _ => {
                assert_eq!(quantities, [], "{}", field.name);
                continue;
            }
        };
        let code = worked.fields[&field.name.replace('_', " ")];
        let exact = (code * lsb_nv) as f64 / 1e9;
        assert_eq!(
            quantities,
            [Quantity {
                value: exact,
                unit: "V"
            }],
            "{}",
            field.name
        );
        compared += 1;
    }
    assert_eq!(compared, 8);
}
