use std::collections::BTreeSet;

use crake::alert::{AlertFlags, AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::info::PartInfo;
use crake::part::pmbus::{Declaration, Device, Pmbus, Writable, gallinule};
use crake::units::{Current, Power, Voltage};
use crake::{Channel, Sample, ShuntMonitor};
use crake_sim::part::pmbus::{Description, Pec, Refusal};
use crake_suite::markdown::Document;

use embedded_hal::i2c::I2c;

use super::desk::{ADDRESS, BOARD, CONFIG, Desk, Transfer};

/// Gallinule without check bytes.
#[derive(Debug)]
struct Unchecked;

impl Device for Unchecked {
    const INFO: &'static PartInfo = &gallinule::INFO;
    const DECLARATION: &'static Declaration = &Declaration {
        check_byte: false,
        ..gallinule::DECLARATION
    };
}

/// Without QUERY.
#[derive(Debug)]
struct Silent<const CHECKED: bool>;

impl<const CHECKED: bool> Device for Silent<CHECKED> {
    const INFO: &'static PartInfo = &gallinule::INFO;
    const DECLARATION: &'static Declaration = &Declaration {
        check_byte: CHECKED,
        query: false,
        ..gallinule::DECLARATION
    };
}

const LIMITS: [Limit; 6] = [
    Limit::new(Channel::C0, Threshold::OverCurrent(Current::from_amps(5))),
    Limit::new(Channel::C0, Threshold::OverPower(Power::from_watts(15))),
    Limit::new(
        Channel::C1,
        Threshold::UnderVoltage(Voltage::from_millivolts(1_100)),
    ),
    Limit::new(Channel::C2, Threshold::OverVoltage(Voltage::from_volts(50))),
    Limit::new(
        Channel::C2,
        Threshold::UnderCurrent(Current::from_milliamps(-2_000)),
    ),
    Limit::new(Channel::C3, Threshold::OverCurrent(Current::from_amps(1))),
];

/// Every operation there is.
fn everything<E: core::fmt::Debug, S: Sample<4> + ?Sized>(
    monitor: &mut dyn ShuntMonitor<4, BusError = E, Sample = S>,
    desk: &Desk,
) {
    let limits = LIMITS.map(|limit| limit.to(Outputs::A));
    let limits = Limits::new(&limits);
    monitor.init(&CONFIG).unwrap();
    desk.run_ms(20);
    monitor.sample().unwrap();
    let mut queue: AlertQueue<'_, 8> = AlertQueue::new();
    queue.set_limits(monitor, &limits).unwrap();
    desk.run_ms(20);
    desk.part.with(|model| {
        // Warnings of every page.
        for (page, register, bits) in [
            (0, 0x7B, 0x21),
            (1, 0x7A, 0x60),
            (2, 0x7A, 0x40),
            (3, 0x7C, 0x63),
        ] {
            assert!(model.raise(page, register, bits));
        }
    });
    queue.service(monitor).unwrap();
    assert!(queue.next_event().is_some());
    desk.run_ms(20);
    queue.service(monitor).unwrap();
    monitor
        .set_masks(&[AlertFlags::all(), AlertFlags::empty()])
        .unwrap();
    queue
        .configure(monitor, &CONFIG.without(Channel::C1))
        .unwrap();
    queue.set_limits(monitor, &Limits::new(&[])).unwrap();
    let token = monitor.token();
    monitor.resume(&CONFIG, token).unwrap();
    assert!(monitor.start_capture(Channel::C0).is_err());
}

/// The allow-list against the document's own (end of B3): PAGE, SMBALERT_MASK, the warn limits,
/// three status registers, USER_DATA_00; none of the commands that change an output (B3's second
/// table), nor CLEAR_FAULTS or WRITE_PROTECT.
#[test]
fn no_command_that_changes_an_output_can_be_made() {
    let document = Document::read("docs/pmbus-device.md");
    let columns = ["code", "name", "access", "bytes", "pages", "reset"];
    let tables: Vec<_> = document.tables("B3 ", &columns).collect();
    let [watching, changing] = tables[..] else {
        panic!("two tables")
    };
    let code = |row: &[String]| u8::from_str_radix(&row[0], 16).unwrap();
    let allowed: BTreeSet<u8> = Writable::ALL.iter().map(|command| command.code()).collect();
    let may = |name: &str| {
        ["PAGE", "SMBALERT_MASK", "USER_DATA_00"].contains(&name)
            || name.ends_with("_WARN_LIMIT")
            || ["STATUS_VOUT", "STATUS_IOUT", "STATUS_INPUT"].contains(&name)
    };
    let expected = watching
        .rows()
        .filter(|row| may(&row[1]))
        .map(code)
        .collect();
    assert_eq!(allowed, expected);
    assert_eq!(allowed.len(), Writable::ALL.len());
    assert!(changing.rows().count() > 20);
    assert!(changing.rows().all(|row| !allowed.contains(&code(row))));
}

/// Whatever is done with whatever device: nothing is written but what is on the list, and nothing
/// that disturbs.
#[test]
fn nothing_is_written_that_could_change_an_output() {
    let allowed: Vec<u8> = Writable::ALL.iter().map(|command| command.code()).collect();
    for has_query in [true, false] {
        for pec in [Pec::None, Pec::Optional, Pec::Required] {
            for refusal in [Refusal::NotAcknowledged, Refusal::Taken] {
                let what = format!("{has_query}, {pec:?}, {refusal:?}");
                let mut description = Description::gallinule();
                (description.has_query, description.pec) = (has_query, pec);
                for page in &mut description.pages {
                    page.refusal = refusal;
                }
                let desk = Desk::of(description);
                match (has_query, pec) {
                    (true, Pec::None) => {
                        let device = Pmbus::<Unchecked, 4>::new(ADDRESS);
                        everything(&mut desk.monitor_of(device, &BOARD), &desk);
                    }
                    (true, _) => everything(&mut desk.monitor(), &desk),
                    (false, Pec::None) => {
                        let device = Pmbus::<Silent<false>, 4>::new(ADDRESS);
                        everything(&mut desk.monitor_of(device, &BOARD), &desk);
                    }
                    (false, _) => {
                        let device = Pmbus::<Silent<true>, 4>::new(ADDRESS);
                        everything(&mut desk.monitor_of(device, &BOARD), &desk);
                    }
                }
                let transfers = desk.taken();
                let writes = transfers.iter().filter(|transfer| transfer.read.is_empty());
                let written: BTreeSet<u8> = writes.map(|transfer| transfer.written[0]).collect();
                assert!(
                    written.iter().all(|code| allowed.contains(code)),
                    "{what}: {written:02X?}"
                );
                assert!(written.len() >= 10, "{what}: {written:02X?}");
                assert!(
                    desk.part.with(|model| model.disturbances().is_empty()),
                    "{what}"
                );
                // Nothing was asked that it does not know, either.
                let mut status = [0];
                desk.bus()
                    .write_read(ADDRESS, &[0x7E], &mut status)
                    .unwrap();
                assert_eq!(status, [0], "{what}");
            }
        }
    }
}

/// Between two writes of PAGE stands a group that begins with a reading of PAGE, and ends with one
/// unless it cleared bits that were seen.
#[test]
fn every_group_begins_and_ends_with_its_page() {
    let desk = Desk::ideal();
    everything(&mut desk.monitor(), &desk);
    // Codes of paged commands (B3).
    let paged = |code: u8| matches!(code, 0x20 | 0x30 | 0x40..=0x6B | 0x78..=0x7C | 0x86..=0x97);
    let (mut confirmed, mut open) = (false, false);
    for Transfer { written, read } in desk.taken() {
        match (written[0], read.is_empty()) {
            (0x00, true) => {
                assert!(!open, "a group without an end before {written:02X?}");
                confirmed = false;
            }
            (0x00, false) => (confirmed, open) = (true, false),
            (0x7A..=0x7C, true) => assert!(confirmed && !open, "cleared on a page not read back"),
            (code, _) if paged(code) => {
                assert!(confirmed, "{written:02X?} without a page");
                open = true;
            }
            _ => {}
        }
    }
}
