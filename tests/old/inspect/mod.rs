//! Looking at registers over a bus: what comes back is checked, decoded and worth what the
//! datasheets say, and the part is left as it was.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::time::Duration;

use crake::old::Channel;
use crake::old::part::description::{Access, Description, Order, Register, Value};
use crake::old::part::{corncrake, moorhen};
use crake::old::units::Resistance;
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::bus::{Event, Logging};
use crake_sim::old::corncrake::{Corncrake, Part};
use crake_sim::old::inspect::{InspectError, Inspector, Quantity};
use crake_sim::plant::{Constant, Rail, Source};
use crake_suite::examples::{Example, examples};
use crake_suite::markdown::Document;
use crake_suite::number::integer;
use crc::{CRC_8_SMBUS, Crc};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

/// Registers that answer as they are told, and a tally of what was written.
#[derive(Default)]
struct Fake {
    registers: BTreeMap<u8, Vec<u8>>,
    /// With the check byte of this library behind them, exclusive-or this.
    checked: Option<u8>,
    written: Vec<Vec<u8>>,
}

impl ErrorType for Fake {
    type Error = ErrorKind;
}

impl I2c for Fake {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ErrorKind> {
        let [Operation::Write(sent), Operation::Read(into)] = operations else {
            return Err(ErrorKind::Other);
        };
        self.written.push(sent.to_vec());
        let bytes = self.registers.get(&sent[0]).ok_or(ErrorKind::Bus)?;
        let mut answer = bytes.clone();
        if let Some(spoilt) = self.checked {
            let mut covered = vec![address << 1, sent[0], address << 1 | 1];
            covered.extend(bytes);
            answer.push(Crc::<u8>::new(&CRC_8_SMBUS).checksum(&covered) ^ spoilt);
        }
        assert_eq!(answer.len(), into.len());
        into.copy_from_slice(&answer);
        Ok(())
    }
}

/// An amount in billionths, as the documents list them.
fn billionths(quantities: &[Quantity], unit: &str) -> Option<f64> {
    let found = quantities.iter().find(|quantity| quantity.unit == unit);
    found.map(|quantity| quantity.value * 1e9)
}

/// Reads a register and compares what its code comes to with what the document says, in billionths;
/// a unit without a value must not come.
fn compare(
    inspector: &mut Inspector<&mut Fake>,
    register: &Register,
    resistance: i128,
    expected: [(&str, Option<i128>); 3],
) {
    let channel: u8 = register.name.rsplit('_').next().unwrap().parse().unwrap();
    let resistance = Resistance::from_nanoohms(u64::try_from(resistance).unwrap());
    let scales = inspector
        .scales(&[(Channel::new(channel), resistance)])
        .unwrap();
    let contents = inspector.read(register.name).unwrap();
    let fields = scales.fields(&contents);
    let quantities: Vec<_> = fields.flat_map(|(_, _, quantities)| quantities).collect();
    for (unit, expected) in expected {
        let Some(expected) = expected else {
            assert_eq!(
                billionths(&quantities, unit),
                None,
                "{} {unit}",
                register.name
            );
            continue;
        };
        let found = billionths(&quantities, unit).unwrap();
        let exact = expected as f64;
        // Doubles, divided at most twice.
        assert!(
            (found - exact).abs() <= exact.abs() * 1e-15,
            "{} {unit}: {found} for {exact}",
            register.name
        );
    }
}

/// Every worked example of Corncrake that gives a code and a range: voltage, current and power,
/// whether the transfer reads or writes the register.
#[test]
fn corncrake_s_worked_examples_in_volts_amperes_and_watts() {
    let mut compared = 0;
    for example in examples(&Document::old_corncrake()) {
        let value = |name: &str| Example::value(&example, name);
        let (Some(_), false) = (value("code"), value("charge").or(value("energy")).is_some())
        else {
            continue;
        };
        let parts = example.transfer.parts();
        let pointer = parts[0][1];
        let mut registers = corncrake::DESCRIPTION.registers.iter();
        let register = registers
            .find(|register| register.pointer == pointer)
            .unwrap();
        let data = if parts.len() == 2 {
            &parts[1][1..]
        } else {
            &parts[0][2..]
        };
        let len = usize::from(register.len);
        let channel: u32 = register.name.rsplit('_').next().unwrap().parse().unwrap();
        // Section 3.4: bus range in bits 1 to 0 of the channel's four, sense range in bit 2.
        let nibble = value("bus range").unwrap_or(0) | value("sense range").unwrap_or(0) << 2;
        let ranges = u16::try_from(nibble << (4 * channel)).unwrap();
        let mut fake = Fake {
            checked: Some(0),
            ..Fake::default()
        };
        fake.registers.insert(0x06, ranges.to_be_bytes().to_vec());
        fake.registers.insert(pointer, data[..len].to_vec());
        // RANGES is enough: the frame block's are not asked for.
        let mut inspector = Inspector::new(&mut fake, 0x32, &corncrake::DESCRIPTION);
        let volts = value("sense voltage").or(value("voltage"));
        let resistance = value("resistance").unwrap_or(1);
        compare(
            &mut inspector,
            register,
            resistance,
            [("V", volts), ("A", value("current")), ("W", value("power"))],
        );
        compared += 1;
    }
    // 8 to 16, and 19 to 21.
    assert_eq!(compared, 12);
}

/// The same of Moorhen, whose RANGES stand in no transfer with them.
#[test]
fn moorhen_s_worked_examples_in_volts_and_amperes() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/old/moorhen-datasheet.md");
    let document = Document::parse(&fs::read_to_string(path).unwrap());
    let mut compared = 0;
    for row in document
        .table("9 ", &["#", "what", "bytes", "values"])
        .rows()
    {
        let value = |name: &str| {
            let mut pairs = row[3].split("; ").filter_map(|pair| pair.split_once(" = "));
            let (_, value) = pairs.find(|(other, _)| *other == name)?;
            Some(integer(value.split(' ').next().unwrap()))
        };
        let bit = value("sense range bit").or(value("bus range bit"));
        let (Some(_), Some(bit)) = (value("code"), bit) else {
            continue;
        };
        let bytes: Vec<u8> = row[2]
            .trim_matches('`')
            .split(' ')
            .filter_map(|word| u8::from_str_radix(word, 16).ok())
            .collect();
        let pointer = bytes[1];
        let data = bytes[bytes.len() - 2..].to_vec();
        let mut registers = moorhen::DESCRIPTION.registers.iter();
        let register = registers
            .find(|register| register.pointer == pointer)
            .unwrap();
        let channel: u32 = register.name.rsplit('_').next().unwrap().parse().unwrap();
        // Section 3.1: sense of channel 0 has bit 6, its bus bit 7, and so on.
        let input = 6 + 2 * channel + u32::from(register.name.starts_with("BUS"));
        let mut fake = Fake::default();
        let ranges = u16::try_from(bit << input).unwrap();
        fake.registers.insert(0x39, ranges.to_le_bytes().to_vec());
        fake.registers.insert(pointer, data);
        let mut inspector = Inspector::new(&mut fake, 0x17, &moorhen::DESCRIPTION);
        let volts = value("sense voltage").or(value("voltage"));
        let resistance = value("resistance").unwrap_or(1);
        compare(
            &mut inspector,
            register,
            resistance,
            [("V", volts), ("A", value("current")), ("W", None)],
        );
        compared += 1;
    }
    // 7 to 9, and 14 to 19.
    assert_eq!(compared, 9);
}

/// A part after one round of channels of its own, idle, with limits on both sides passed: written
/// by hand from the datasheet.
fn bench() -> (Bench, Part) {
    let bench = Bench::new(7);
    let part = bench.part(Corncrake::drawn(0x32)).unwrap();
    for (channel, volts, milliamperes) in [(0, 12, 900), (1, 3, -400), (2, 5, 0), (3, 0, 0)] {
        let source = Source::of(Constant::new(volts * 1_000_000_000).unwrap());
        let load = Constant::new(milliamperes * 1_000_000).unwrap();
        let rail = Rail::new(source, load).unwrap();
        let resistor = SenseResistor::ideal(20_000_000);
        part.rail(channel, rail, resistor).unwrap();
    }
    let mut i2c = bench.i2c();
    for write in [
        &[0x06, 0x22, 0x11][..],   // channels 0 and 1: 16.384 V
        &[0x10, 0x10, 0x00],       // over-voltage of channel 0: 1.024 V
        &[0x1B, 0x00, 0x00, 0x00], // under-current of channel 1: 0
        &[0x35, 0x00, 0x00, 0x01], // the one to output A
        &[0x36, 0x70, 0x01, 0x00], // the other, and the part's own, to output B
        &[0x34, 0x70, 0x00, 0x01], // the one is held
        &[0x04, 0x20, 0x21, 0x00], // single-shot
    ] {
        i2c.write(0x32, write).unwrap();
    }
    bench.run_for(Duration::from_millis(5));
    (bench, part)
}

/// The bench's look inside the part knows nothing of the driver.
#[test]
fn what_is_read_is_what_the_bench_sees_inside_the_part() {
    let (bench, part) = bench();
    let inside = part.snapshot();
    let mut inspector = Inspector::new(bench.i2c(), 0x32, &corncrake::DESCRIPTION);
    for (c, channel) in inside.channels.iter().enumerate() {
        let mut code = |register: &str| {
            let contents = inspector.read(&format!("{register}_{c}")).unwrap();
            contents.value("code").unwrap()
        };
        assert_eq!(code("SENSE"), Value::Signed(channel.sense.into()));
        assert_eq!(
            code("bus"),
            Value::Unsigned(channel.bus.try_into().unwrap())
        );
        let product = i64::from(channel.sense) * i64::from(channel.bus);
        assert_eq!(code("Power"), Value::Signed(product));
    }
    let mut bits = |register: &str| {
        let contents = inspector.read(register).unwrap();
        contents.values().fold(0, |bits, (field, value)| {
            bits | u32::from(value == Value::Flag(true)) << field.low
        })
    };
    // Over-voltage of channel 0 is bit 0, under-current of channel 1 bit 8.
    assert_eq!(inside.levels, 1 | 1 << 8);
    assert_eq!(bits("LEVELS"), inside.levels);
    assert_eq!(bits("CAUSES"), inside.causes);
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
    let mut inspector = Inspector::new(bench.i2c(), 0x32, &corncrake::DESCRIPTION);
    let first = inspector.read_all().unwrap();
    let log = bench.log();
    assert_eq!(inspector.read_all().unwrap(), first);
    assert_eq!(part.snapshot(), before);

    // All but LATCH and RESTART.
    assert_eq!((first.len(), log.len()), (64, 64));
    for (transaction, contents) in log.iter().zip(&first) {
        let mut parts = transaction.events.split(|event| *event == Event::Restart);
        let written: Vec<_> = parts
            .next()
            .unwrap()
            .iter()
            .map(|event| match event {
                Event::Sent { byte, .. } => *byte,
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(written, [0x64, contents.register().pointer]);
        let mut read = parts.next().unwrap().iter();
        assert!(matches!(read.next(), Some(Event::Sent { byte: 0x65, .. })));
        assert!(read.all(|event| matches!(event, Event::Received { .. })));
        assert!(parts.next().is_none());
    }
}

const ODD: Description = Description {
    spec: &corncrake::SPEC,
    addresses: &[0x40],
    checked: false,
    selector: None,
    registers: &[
        odd("TOUCHY", 1, Access::ReadChanges),
        odd("DEAF", 2, Access::Write),
        odd("PLAIN", 3, Access::Read),
    ],
};

const fn odd(name: &'static str, pointer: u8, access: Access) -> Register {
    Register {
        name,
        pointer,
        len: 1,
        order: Order::LowFirst,
        access,
        block: false,
        pages: &[],
        fields: &[],
    }
}

#[test]
fn what_is_not_for_onlookers_is_left_alone() {
    let mut fake = Fake::default();
    fake.registers.insert(3, vec![0x5A]);
    let mut inspector = Inspector::new(&mut fake, 0x40, &ODD);
    for (name, why) in [("TOUCHY", "changes the part"), ("DEAF", "only be written")] {
        let error = inspector.read(name).unwrap_err();
        let told = error.to_string();
        assert!(told.starts_with(name) && told.contains(why), "{told}");
        assert!(
            matches!(error, InspectError::NotForOnlookers { register } if register.name == name)
        );
    }
    let all = inspector.read_all().unwrap();
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
            ..Fake::default()
        };
        fake.registers.insert(0x01, vec![0x12, 0x34]);
        let mut inspector = Inspector::new(&mut fake, 0x33, &corncrake::DESCRIPTION);
        let error = inspector.read("SERIAL").unwrap_err();
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
        for part in ["SERIAL", "0x01", "0x33", "12, 34", &format!("{came:#04x}")] {
            assert!(told.contains(part), "{told}");
        }
    }

    let bench = Bench::new(1);
    let mut inspector = Inspector::new(bench.i2c(), 0x34, &corncrake::DESCRIPTION);
    let error = inspector.read("run").unwrap_err();
    let told = error.to_string();
    assert!(
        told.starts_with("RUN (0x04) of the part at 0x34 cannot be read: "),
        "{told}"
    );
    assert!(matches!(error, InspectError::Bus { .. }), "{told}");

    let told = inspector.read("SENSE_4").unwrap_err().to_string();
    assert!(
        told.starts_with("Corncrake has no register SENSE_4; it has IDENTITY, "),
        "{told}"
    );
}

/// Ranges that no part has make no figures, and neither does a resistor that is none.
#[test]
fn no_figures_from_ranges_or_resistors_that_are_none() {
    let mut fake = Fake {
        checked: Some(0),
        ..Fake::default()
    };
    fake.registers.insert(0x06, vec![0x00, 0x03]);
    fake.registers.insert(0x80, vec![0x00; 111]);
    fake.registers.insert(0x64, vec![0x12, 0x34]);
    fake.registers.insert(0x60, vec![0x00, 0x00, 0x64]);
    let mut inspector = Inspector::new(&mut fake, 0x32, &corncrake::DESCRIPTION);
    let none = (Channel::C0, Resistance::from_nanoohms(0));
    let ranges = inspector.read("RANGES").unwrap();
    let scales = crake_sim::old::inspect::Scales::new(&corncrake::SPEC, &[none]).with(&ranges);
    assert_eq!(
        (
            scales.sense_lsb_nv(Channel::C0),
            scales.bus_lsb_nv(Channel::C0)
        ),
        (Some(500), None)
    );
    let bus = inspector.read("BUS_0").unwrap();
    let figures = |contents: &crake_sim::old::inspect::Contents| -> Vec<Quantity> {
        let fields = scales.fields(contents);
        fields.flat_map(|(_, _, quantities)| quantities).collect()
    };
    assert_eq!(figures(&bus), []);
    let sense = inspector.read("SENSE_0").unwrap();
    assert_eq!(
        figures(&sense),
        [Quantity {
            value: 50e-6,
            unit: "V"
        }]
    );
}

/// The worked frame block of section 10.1: LSBs by its own ranges, which differ from those in
/// RANGES here, as after a RUN.
#[test]
fn the_frame_block_goes_by_its_own_ranges() {
    let worked = crake_suite::sample::sample_block(&Document::old_corncrake());
    let mut fake = Fake {
        checked: Some(0),
        ..Fake::default()
    };
    fake.registers.insert(0x06, vec![0x22, 0x22]);
    fake.registers.insert(0x80, worked.block.clone());
    let mut inspector = Inspector::new(&mut fake, 0x32, &corncrake::DESCRIPTION);
    let scales = inspector.scales(&[]).unwrap();
    assert_eq!(scales.bus_lsb_nv(Channel::C0), Some(1_000_000));
    let frame = inspector.read("FRAME").unwrap();
    let mut compared = 0;
    for (field, _, quantities) in scales.fields(&frame) {
        // RANGES 0x6041, section 3.4: the channels' nibbles are 1, 4, 0 and 6.
        let lsb_nv = match field.name {
            "sense_0" | "sense_2" => 500,
            "sense_1" | "sense_3" => 200,
            "bus_0" => 250_000,
            "bus_1" | "bus_2" => 100_000,
            "bus_3" => 1_000_000,
            _ => continue,
        };
        let code = worked.fields[&field.name.replace('_', " ")];
        assert_eq!(billionths(&quantities, "V"), Some((code * lsb_nv) as f64));
        compared += 1;
    }
    assert_eq!(compared, 8);
}
