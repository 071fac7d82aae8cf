//! Devices that are not as they were declared, and devices that are declared to know less.

use crake::board::Board;
use crake::bus::Fault;
use crake::config::{Config, FullScale, ScanRate};
use crake::info::{AlertInfo, PartInfo};
use crake::part::pmbus::{Declaration, Device, Format, Page, Pmbus, RAIL, gallinule};
use crake::units::Voltage;
use crake::{Channel, ErrorKind, Sample, ShuntMonitor};
use crake_sim::part::pmbus::{self as model, Description, Exponent, Pec};

use super::desk::{ADDRESS, BOARD, CHANNELS, CONFIG, Desk};

/// Command, expected, got.
type Difference = (Fault, u8, u32, u32);

fn difference(desk: &Desk) -> Difference {
    let error = desk.monitor().init(&CONFIG).unwrap_err();
    match error.kind {
        ErrorKind::Differs {
            fault,
            expected,
            got,
        } => (fault, error.register, expected, got),
        other => panic!("{other:?}"),
    }
}

/// Each quantity of a page in another format than declared: the command is named, and both formats
/// in the standard's own bytes (A2.4).
#[test]
fn another_format_than_declared_is_refused_with_both_named() {
    let linear = model::Format::Linear11(Exponent::From(-8));
    let direct = |m, b, r| model::Format::Direct(model::Coefficients { m, b, r });
    let ulinear = |exponent| model::Format::Ulinear16 { exponent };
    // QUERY: supported and read is A0, written besides E0; DIRECT adds 0C.
    type Change = fn(&mut Description, model::Format);
    let voltage: [Change; 4] = [
        |it, format| it.pages[0].voltage.format = format,
        |it, format| it.pages[1].voltage.format = format,
        |it, format| it.pages[2].voltage.format = format,
        |it, format| it.pages[3].voltage.format = format,
    ];
    let current_0: Change = |it, format| it.pages[0].current.format = format;
    let current_2: Change = |it, format| it.pages[2].current.format = format;
    let power_2: Change = |it, format| it.pages[2].power = Some(format);
    let power_3: Change = |it, format| it.pages[3].power = Some(format);
    let line = |m: i16, b: i16| u32::from(m as u16) | u32::from(b as u16) << 16;
    for (change, format, expected) in [
        (voltage[0], ulinear(-10), (Fault::Format, 0x20, 0x17, 0x16)),
        (
            voltage[1],
            direct(5_000, 0, 0),
            (Fault::Format, 0x20, 0x14, 0x40),
        ),
        (voltage[2], ulinear(-9), (Fault::Format, 0x20, 0x40, 0x17)),
        (
            voltage[2],
            direct(5_001, -1_200, -1),
            (
                Fault::Format,
                0x8B,
                line(5_000, -1_200),
                line(5_001, -1_200),
            ),
        ),
        (
            voltage[3],
            direct(500, 0, 0),
            (Fault::Format, 0x88, 0xA0, 0xAC),
        ),
        (
            current_0,
            direct(800, 0, 0),
            (Fault::Format, 0x8C, 0xA0, 0xAC),
        ),
        (current_2, linear, (Fault::Format, 0x8C, 0xAC, 0xA0)),
        (
            current_2,
            direct(800, 474, 0),
            (Fault::Format, 0x8C, line(800, 475), line(800, 474)),
        ),
        (
            current_2,
            direct(800, 475, -1),
            (Fault::Format, 0x8C, 0, 0xFF),
        ),
        (power_2, linear, (Fault::Format, 0x96, 0xAC, 0xA0)),
        (power_3, direct(4, 0, 0), (Fault::Format, 0x97, 0xA0, 0xAC)),
    ] {
        let mut description = Description::gallinule();
        change(&mut description, format);
        assert_eq!(difference(&Desk::of(description)), expected);
    }
}

/// Power or a count that a page does not have: QUERY says 00.
#[test]
fn what_was_declared_and_is_not_there_is_refused() {
    let mut description = Description::gallinule();
    description.pages[3].power = None;
    let expected = (Fault::Format, 0x97, 0xA0, 0x00);
    assert_eq!(difference(&Desk::of(description)), expected);
    let mut description = Description::gallinule();
    description.pages[0].energy = None;
    let expected = (Fault::Format, 0x87, 0xAC, 0x00);
    assert_eq!(difference(&Desk::of(description)), expected);
}

/// A2.1: VOUT_MODE 001 in bits 7 to 5; A2.4: QUERY 101 in bits 4 to 2.
#[test]
fn vid_is_refused_by_name() {
    let desk = Desk::ideal();
    desk.tape.borrow_mut().forged = vec![(vec![0x20], vec![0x21])];
    assert_eq!(difference(&desk), (Fault::Vid, 0x20, 0x17, 0x21));
    let desk = Desk::ideal();
    desk.tape.borrow_mut().forged = vec![(vec![0x1A, 1, 0x8B], vec![1, 0xB4])];
    assert_eq!(difference(&desk), (Fault::Vid, 0x8B, 0xA0, 0xB4));
    let error = desk.monitor().init(&CONFIG).unwrap_err().to_string();
    assert!(error.contains("VID") && error.contains("0x8B"), "{error}");
    // Relative limits (revision 1.3) are another format, and not VID.
    let desk = Desk::ideal();
    desk.tape.borrow_mut().forged = vec![(vec![0x20], vec![0x97])];
    assert_eq!(difference(&desk), (Fault::Format, 0x20, 0x17, 0x97));
}

/// CAPABILITY: bit 7 check bytes, bit 4 SMBALERT#. PMBUS_REVISION: 1.1 clears no single bits.
#[test]
fn a_device_that_lacks_what_is_counted_on_is_refused() {
    let desk = Desk::ideal();
    desk.tape.borrow_mut().forged = vec![(vec![0x19], vec![0x20])];
    assert_eq!(difference(&desk), (Fault::Identity, 0x19, 0x90, 0x00));
    let desk = Desk::ideal();
    desk.tape.borrow_mut().forged = vec![(vec![0x98], vec![0x11])];
    assert_eq!(difference(&desk), (Fault::Identity, 0x98, 2, 1));
}

/// Gallinule without check bytes, QUERY or a mark.
#[derive(Debug)]
struct Plain;
impl Device for Plain {
    const INFO: &'static PartInfo = &PartInfo {
        undetectable: crake::info::Undetectable::all(),
        ..gallinule::INFO
    };
    const DECLARATION: &'static Declaration = &Declaration {
        check_byte: false,
        query: false,
        mark: None,
        ..gallinule::DECLARATION
    };
}

/// The same, declared wrongly where nobody but VOUT_MODE tells.
#[derive(Debug)]
struct Wrong;
const WRONG: [Page; 4] = {
    let mut pages = [gallinule::DECLARATION.pages[0]; 4];
    pages[0].voltage = Format::Linear16(-8);
    pages[1] = gallinule::DECLARATION.pages[1];
    pages[2] = gallinule::DECLARATION.pages[2];
    pages[3] = gallinule::DECLARATION.pages[3];
    pages
};
impl Device for Wrong {
    const INFO: &'static PartInfo = Plain::INFO;
    const DECLARATION: &'static Declaration = &Declaration {
        pages: &WRONG,
        ..*Plain::DECLARATION
    };
}

/// A device that knows none of them is taken at its declaration, but for VOUT_MODE.
#[test]
fn a_device_that_answers_no_questions() {
    let mut description = Description::gallinule();
    (description.pec, description.has_query) = (Pec::None, false);
    description.has_user_data = false;
    let desk = Desk::of(description.clone());
    let mut monitor = desk.monitor_of(Pmbus::<Plain, 4>::new(ADDRESS), &BOARD);
    monitor.init(&CONFIG).unwrap();
    let sample = monitor.sample().unwrap();
    assert!(
        CHANNELS
            .into_iter()
            .all(|channel| sample.reading(channel).is_ok())
    );
    assert!(
        desk.taken()
            .iter()
            .all(|transfer| transfer.written[0] != 0x1A)
    );
    let mut monitor = desk.monitor_of(Pmbus::<Wrong, 4>::new(ADDRESS), &BOARD);
    let error = monitor.init(&CONFIG).unwrap_err();
    let (fault, expected, got) = (Fault::Format, 0x18, 0x17);
    let kind = ErrorKind::Differs {
        fault,
        expected,
        got,
    };
    assert_eq!((error.kind, error.register), (kind, 0x20));
}

/// Page 0 alone, on a device without PAGE, with voltages in half precision.
#[derive(Debug)]
struct Halves;
const SOLO: PartInfo = PartInfo {
    channels: 1,
    sense_ranges: gallinule::INFO.sense_ranges.split_at(1).0,
    rail_ranges: gallinule::INFO.rail_ranges.split_at(1).0,
    sense_errors: gallinule::INFO.sense_errors.split_at(1).0,
    rail_errors: gallinule::INFO.rail_errors.split_at(1).0,
    alerts: AlertInfo {
        kinds: gallinule::INFO.alerts.kinds.split_at(1).0,
        ..gallinule::INFO.alerts
    },
    ..gallinule::INFO
};
impl Device for Halves {
    const INFO: &'static PartInfo = &SOLO;
    const DECLARATION: &'static Declaration = &Declaration {
        pages: &[Page {
            voltage: Format::Half,
            ..gallinule::DECLARATION.pages[0]
        }],
        paged: false,
        ..gallinule::DECLARATION
    };
}

/// VOUT_MODE 60 is required of it (A2.1); QUERY's format bits, for which the document has no code,
/// are let alone; words are read as IEEE 754 has them: 0x429A is 845 × 2^-8.
#[test]
fn half_precision_on_a_device_without_pages() {
    static SOLO_BOARD: Board<1> = Pmbus::<Halves, 1>::board(&[RAIL]);
    let mut description = Description::gallinule();
    description.pages.truncate(1);
    let desk = Desk::of(description);
    let mut monitor = desk.monitor_of(Pmbus::<Halves, 1>::new(ADDRESS), &SOLO_BOARD);
    let scale = FullScale::new(Voltage::from_volts(10), Voltage::from_volts(5));
    let config = Config::continuous([scale], ScanRate::per_second(100));
    let error = monitor.init(&config).unwrap_err();
    let (fault, expected, got) = (Fault::Format, 0x60, 0x17);
    let kind = ErrorKind::Differs {
        fault,
        expected,
        got,
    };
    assert_eq!((error.kind, error.register), (kind, 0x20));
    desk.tape.borrow_mut().forged = vec![
        (vec![0x20], vec![0x60]),
        (vec![0x1A, 1, 0x8B], vec![1, 0xA8]),
        (vec![0x8B], vec![0x9A, 0x42]),
    ];
    desk.taken();
    monitor.init(&config).unwrap();
    let reading = monitor.sample().unwrap().reading(Channel::C0).unwrap();
    // 3.30078125 V by 500 µV.
    assert_eq!(reading.voltage, Voltage::from_millivolts(3_301));
    assert!(
        desk.taken()
            .iter()
            .all(|transfer| transfer.written[0] != 0x00)
    );
}

/// A check byte of a process call that is wrong twice is asked for a third time, and no more.
#[test]
fn a_damaged_answer_is_asked_for_again() {
    for (times, well) in [(2, true), (3, false)] {
        let desk = Desk::ideal();
        desk.tape.borrow_mut().damaged = Some((vec![0x1A, 1, 0x8B], times));
        let result = desk.monitor().init(&CONFIG);
        assert_eq!(result.is_ok(), well);
        if let Err(error) = result {
            assert_eq!((error.fault(), error.register), (Fault::CheckByte, 0x1A));
        }
    }
}
