//! Registers of which each page has its own: the page is selected, and put back as it was.

use std::collections::BTreeMap;
use std::time::Duration;

use crake_sim::bench::{Bench, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::{Event, Logging};
use crake_sim::inspect::{Contents, GALLINULE, InspectError, Inspector, Register, Value};
use crake_sim::part::pmbus::{Description, Device, Model};
use crake_sim::plant::{Constant, Rail, Source};
use crake_suite::markdown::Document;
use crc::{CRC_8_SMBUS, Crc};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

const ADDRESS: u8 = 0x58;

fn pec(bytes: &[u8]) -> u8 {
    Crc::<u8>::new(&CRC_8_SMBUS).checksum(bytes)
}

/// Pages that answer as they are told.
struct Fake {
    /// By page and command, as on the wire without the PEC. PAGE is apart.
    answers: BTreeMap<(u8, u8), Vec<u8>>,
    page: u8,
    /// PAGE takes none but this.
    takes: Option<u8>,
    /// Pages written, whatever came of it.
    selected: Vec<u8>,
}

impl Fake {
    fn on(page: u8) -> Self {
        Self {
            answers: BTreeMap::new(),
            page,
            takes: None,
            selected: Vec::new(),
        }
    }

    fn with(mut self, page: u8, code: u8, answer: &[u8]) -> Self {
        self.answers.insert((page, code), answer.to_vec());
        self
    }

    fn inspector(&mut self) -> Inspector<&mut Self> {
        Inspector::new(self, ADDRESS, &GALLINULE)
    }
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
        match operations {
            [Operation::Write([0x00, page, check])] => {
                assert_eq!(*check, pec(&[address << 1, 0x00, *page]));
                self.selected.push(*page);
                if self.takes.is_none_or(|only| only == *page) {
                    self.page = *page;
                }
                Ok(())
            }
            [Operation::Write([code]), Operation::Read(into)] => {
                let mut answer = match code {
                    0x00 => vec![self.page],
                    _ => {
                        let answer = self.answers.get(&(self.page, *code));
                        answer.ok_or(ErrorKind::Bus)?.clone()
                    }
                };
                let mut covered = vec![address << 1, *code, address << 1 | 1];
                covered.extend(&answer);
                answer.push(pec(&covered));
                answer.resize(into.len(), 0xFF);
                into.copy_from_slice(&answer);
                Ok(())
            }
            _ => Err(ErrorKind::Other),
        }
    }
}

/// Every worked example of B8 that reads a page's value: the words on the wire, and what the
/// document says that they are worth.
#[test]
fn worked_examples_in_volts_amperes_and_watts() {
    let document = Document::read("docs/pmbus-device.md");
    let mut compared = 0;
    for row in document.table("B8 ", &["#", "what", "before"]).rows() {
        let Some((value, unit)) = row[4].split_once(' ') else {
            continue;
        };
        let (Ok(value), true) = (value.parse::<f64>(), ["V", "A", "W"].contains(&unit)) else {
            continue;
        };
        let page = row[2].strip_prefix("page ").unwrap();
        let page: u8 = page.split(';').next().unwrap().parse().unwrap();
        let bytes: Vec<_> = row[3]
            .trim_matches('`')
            .split(' ')
            .filter_map(|word| u8::from_str_radix(word, 16).ok())
            .collect();
        let mut fake = Fake::on(0xFF).with(page, bytes[1], &bytes[3..5]);
        let mut inspector = fake.inspector();
        let contents = inspector.read_page(&row[1], page).unwrap();
        assert_eq!(contents.register().pointer, bytes[1]);
        let scales = inspector.scales(&[]).unwrap();
        let fields: Vec<_> = scales.fields(&contents).collect();
        let [(_, word, quantities)] = &fields[..] else {
            panic!("{}", row[1]);
        };
        let expected = u16::from_le_bytes([bytes[3], bytes[4]]);
        assert_eq!(*word, Value::Unsigned(expected.into()));
        let [quantity] = &quantities[..] else {
            panic!("{quantities:?}");
        };
        assert_eq!(quantity.unit, unit);
        // Doubles, rounded at most twice.
        assert!(
            (quantity.value - value).abs() <= value.abs() * 1e-15,
            "example {}: {} for {value}",
            row[0],
            quantity.value
        );
        compared += 1;
    }
    // 5 to 17.
    assert_eq!(compared, 13);
}

/// A device with a rail on each page, for more than a sample period already.
fn bench() -> (Bench, Part<Model>) {
    let bench = Bench::new(7);
    let order = Device::new(Description::gallinule(), ADDRESS).unwrap();
    let part = bench.part(order).unwrap();
    for (page, volts, milliamperes) in
        [(0, 3, 4_200), (1, 1, -1_500), (2, 48, -1_250), (3, 54, 700)]
    {
        let source = Source::of(Constant::new(volts * 1_000_000_000).unwrap());
        let load = Constant::new(milliamperes * 1_000_000).unwrap();
        let rail = Rail::new(source, load).unwrap();
        part.rail(page, rail, SenseResistor::ideal(0)).unwrap();
    }
    bench.run_for(Duration::from_millis(20));
    (bench, part)
}

/// What the register holds by a transfer written by hand from B2.2 and B3, on the page selected by
/// hand.
fn by_hand(bench: &Bench, register: &Register, page: Option<u8>) -> Vec<u8> {
    let mut i2c = bench.i2c();
    if let Some(page) = page {
        i2c.write(ADDRESS, &[0x00, page]).unwrap();
    }
    // The count of a block comes first.
    let count = usize::from(matches!(register.pointer, 0x86 | 0x87 | 0x99..=0x9B | 0xB0));
    let mut bytes = vec![0; usize::from(register.len) + count];
    i2c.write_read(ADDRESS, &[register.pointer], &mut bytes)
        .unwrap();
    bytes.split_off(count)
}

/// Whatever page is selected before: everything is read on its page, no status bit is left behind,
/// nothing but PAGE is written, and PAGE is as before.
#[test]
fn looking_puts_the_page_back() {
    for before in [0, 1, 2, 3, 0xFF] {
        let (bench, part) = bench();
        bench.i2c().write(ADDRESS, &[0x00, before]).unwrap();
        bench.set_logging(Logging::Full);
        let mut inspector = Inspector::new(bench.i2c(), ADDRESS, &GALLINULE);
        let all = inspector.read_all().unwrap();
        let log = bench.log();
        assert_eq!(part.with(|model| model.page()), before);
        assert!(part.with(|model| model.disturbances().is_empty()));
        for transaction in &log {
            let sent = transaction
                .events
                .iter()
                .take_while(|event| **event != Event::Restart);
            let sent: Vec<_> = sent
                .filter_map(|event| match event {
                    Event::Sent { byte, .. } => Some(*byte),
                    _ => None,
                })
                .collect();
            // A command to be read, or PAGE with its PEC.
            assert!(
                sent.len() == 2 || (sent[1] == 0x00 && sent.len() == 4),
                "{sent:02X?}"
            );
        }

        // By B3: 9 that the device has once, 22 on three pages, 4 on two, 14 on the input alone, 2
        // on all.
        assert_eq!(all.len(), 9 + 22 * 3 + 4 * 2 + 14 + 2 * 4);
        let mut seen = Vec::new();
        for contents in &all {
            let register = contents.register();
            let place = (register.name, contents.page());
            assert!(!seen.contains(&place), "{place:?} twice");
            seen.push(place);
            match register.name {
                "PAGE" => assert_eq!(contents.bytes(), [before]),
                // They go on while others are read.
                "READ_EIN" | "READ_EOUT" => assert_eq!(contents.bytes().len(), 6),
                _ => {
                    let expected = by_hand(&bench, register, contents.page());
                    assert_eq!(contents.bytes(), expected, "{place:?}");
                }
            }
        }
        let status = GALLINULE.register("STATUS_CML").unwrap();
        assert_eq!(by_hand(&bench, status, None), [0]);
        assert!(seen.contains(&("READ_VOUT", Some(2))));
    }
}

#[test]
fn a_page_that_is_selected_already_is_not_written() {
    let mut fake = Fake::on(1).with(1, 0x8B, &[0x33, 0x13]);
    let contents = fake.inspector().read_page("read_vout", 1).unwrap();
    assert_eq!(
        (contents.page(), contents.bytes()),
        (Some(1), &[0x33, 0x13][..])
    );
    assert!(fake.selected.is_empty());
    let mut fake = Fake::on(3).with(1, 0x8B, &[0x33, 0x13]);
    fake.inspector().read_page("READ_VOUT", 1).unwrap();
    assert_eq!((fake.page, &fake.selected[..]), (3, &[1, 3][..]));
    // One that the device has once needs no page.
    let mut fake = Fake::on(2).with(2, 0x98, &[0x22]);
    let contents = fake.inspector().read_each("PMBUS_REVISION").unwrap();
    assert_eq!(
        contents.iter().map(Contents::page).collect::<Vec<_>>(),
        [None]
    );
    assert!(fake.selected.is_empty());
}

#[test]
fn pages_that_a_register_does_not_have() {
    let mut fake = Fake::on(0);
    for (name, page, told) in [
        (
            "READ_VOUT",
            None,
            "READ_VOUT: each of the pages [0, 1, 2] has one",
        ),
        (
            "READ_VOUT",
            Some(3),
            "READ_VOUT is none of page 3: the pages [0, 1, 2]",
        ),
        (
            "READ_POUT",
            Some(1),
            "READ_POUT is none of page 1: the pages [0, 2]",
        ),
        ("MFR_ID", Some(0), "MFR_ID belongs to no page"),
    ] {
        let mut inspector = fake.inspector();
        let read = match page {
            None => inspector.read(name),
            Some(page) => inspector.read_page(name, page),
        };
        let error = read.unwrap_err();
        assert!(error.to_string().starts_with(told), "{error}");
        assert!(matches!(error, InspectError::NoSuchPage { .. }));
    }
    assert!(fake.selected.is_empty());
}

/// The register cannot be read, or comes in another length: the page is put back all the same.
#[test]
fn the_page_is_put_back_after_an_error() {
    let mut fake = Fake::on(3);
    let error = fake.inspector().read_page("READ_VOUT", 2).unwrap_err();
    assert!(matches!(error, InspectError::Bus { register, .. } if register.name == "READ_VOUT"));
    assert_eq!((fake.page, &fake.selected[..]), (3, &[2, 3][..]));

    // A block of 5 where 6 belong; B2.2's 0xFF for ever is none either.
    for came in [5, 0xFF] {
        let mut fake = Fake::on(3).with(2, 0x87, &[came, 1, 2, 3, 4, 5]);
        let error = fake.inspector().read_page("READ_EOUT", 2).unwrap_err();
        let told = error.to_string();
        assert!(
            matches!(error, InspectError::Count { came: count, .. } if count == came),
            "{told}"
        );
        for part in ["READ_EOUT", "0x87", "0x58", "block of 6", &came.to_string()] {
            assert!(told.contains(part), "{told}");
        }
        assert_eq!((fake.page, &fake.selected[..]), (3, &[2, 3][..]));
    }
}

/// WRITE_PROTECT 80 (A2.4) takes a write of PAGE and ignores it: another page's value is not passed
/// off as this one's.
#[test]
fn a_page_that_cannot_be_selected_is_told() {
    let (bench, part) = bench();
    bench.i2c().write(ADDRESS, &[0x00, 2]).unwrap();
    part.with(|model| model.protect(0x80));
    let mut inspector = Inspector::new(bench.i2c(), ADDRESS, &GALLINULE);
    let error = inspector.read_page("READ_VOUT", 1).unwrap_err();
    let told = error.to_string();
    assert!(
        matches!(
            error,
            InspectError::NotSelected {
                page: 1,
                shown: 2,
                ..
            }
        ),
        "{told}"
    );
    assert_eq!(
        told,
        "PAGE (0x00) of the part at 0x58 was set to 1 and shows 2"
    );
    assert_eq!(part.with(|model| model.page()), 2);

    // One that takes the page and then no other: told too.
    let mut fake = Fake::on(3).with(1, 0x8B, &[0x33, 0x13]);
    fake.takes = Some(1);
    let error = fake.inspector().read_page("READ_VOUT", 1).unwrap_err();
    assert!(matches!(
        error,
        InspectError::NotSelected {
            page: 3,
            shown: 1,
            ..
        }
    ));

    let bench = Bench::new(1);
    let mut inspector = Inspector::new(bench.i2c(), 0x59, &GALLINULE);
    let error = inspector.read_page("READ_VOUT", 1).unwrap_err();
    assert!(matches!(error, InspectError::Bus { register, .. } if register.name == "PAGE"));
}
