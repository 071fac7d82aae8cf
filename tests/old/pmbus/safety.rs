use crake::old::alert::{Causes, Limit, Outputs, Watch, Watches};
use crake::old::part::pmbus::gallinule::{Gallinule, Map};
use crake::old::part::pmbus::{Declaration, Device, Pmbus, Writable};
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Came, Channel, Fault, ShuntMonitor, Task};
use crake_sim::part::pmbus::{Description, Pec, Refusal};

use super::desk::{ADDRESS, Desk, board, setup};

/// Gallinule without check bytes.
#[derive(Debug)]
pub struct Unchecked;

impl Device for Unchecked {
    const DECLARATION: &'static Declaration = &Declaration {
        checked: false,
        ..*Map::DECLARATION
    };
}

pub const WATCHES: [Watch; 6] = [
    Watch::new(Channel::C0, Limit::OverCurrent(Current::from_amps(5)))
        .held()
        .to(Outputs::A),
    Watch::new(Channel::C0, Limit::OverPower(Power::from_watts(15)))
        .held()
        .to(Outputs::A),
    Watch::new(
        Channel::C1,
        Limit::UnderVoltage(Voltage::from_millivolts(1_100)),
    )
    .held()
    .to(Outputs::A),
    Watch::new(Channel::C2, Limit::OverVoltage(Voltage::from_volts(50)))
        .held()
        .to(Outputs::A),
    Watch::new(
        Channel::C2,
        Limit::UnderCurrent(Current::from_milliamps(100)),
    )
    .to(Outputs::A),
    Watch::new(Channel::C3, Limit::OverCurrent(Current::from_amps(1)))
        .held()
        .to(Outputs::A),
];

/// Every task there is.
fn everything<E: core::fmt::Debug>(monitor: &mut dyn ShuntMonitor<4, BusError = E>, desk: &Desk) {
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    monitor.latch().unwrap();
    let mut found = Causes::empty();
    monitor
        .arm(&setup(), &Watches::limits(&WATCHES), &mut found)
        .unwrap();
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
    monitor.service(Causes::all(), &mut found).unwrap();
    monitor
        .configure(&setup().with(
            Channel::C1,
            Some(crake::old::part::pmbus::gallinule::ranges(1)),
        ))
        .unwrap();
    monitor
        .arm(&setup(), &Watches::limits(&[]), &mut found)
        .unwrap();
    monitor.fetch(&mut [0; 4]).unwrap();
    let joint = monitor.joint();
    monitor.attach(&joint).unwrap();
    assert!(!found.is_empty());
}

/// Devices that differ in how they are asked and how they refuse.
pub fn devices() -> Vec<(Description, bool)> {
    let mut devices = vec![];
    for has_query in [true, false] {
        for pec in [Pec::None, Pec::Optional, Pec::Required] {
            for refusal in [None, Some(Refusal::NotAcknowledged), Some(Refusal::Taken)] {
                let mut description = Description::gallinule();
                (description.has_query, description.pec) = (has_query, pec);
                if let Some(refusal) = refusal {
                    for page in &mut description.pages {
                        page.refusal = refusal;
                    }
                }
                devices.push((description, pec != Pec::None));
            }
        }
    }
    devices
}

/// Whatever is done with whatever device: nothing is written but what the type can say, and nothing
/// that disturbs.
#[test]
fn nothing_is_written_that_could_change_an_output() {
    let allowed: Vec<u8> = Writable::ALL.iter().map(|command| command.code()).collect();
    // PMBus Part II, by code: PAGE, SMBALERT_MASK, eight warn limits, four status registers,
    // USER_DATA_00.
    assert_eq!(
        allowed,
        [
            0x00, 0x1B, 0x42, 0x43, 0x4A, 0x6A, 0x57, 0x58, 0x5D, 0x6B, 0x7A, 0x7B, 0x7C, 0x7E,
            0xB0
        ]
    );
    for (description, checked) in devices() {
        let what = format!(
            "{:?}, {}, {:?}",
            description.pec, description.has_query, description.pages[0].refusal
        );
        let (desk, board) = (Desk::of(description), board());
        if checked {
            everything(&mut desk.monitor(Gallinule::new(), &board), &desk);
        } else {
            everything(
                &mut desk.monitor(Pmbus::<Unchecked, 4>::new(), &board),
                &desk,
            );
        }
        let written = desk.written();
        assert!(
            written.iter().all(|code| allowed.contains(code)),
            "{what}: {written:02X?}"
        );
        assert!(written.len() >= 10, "{what}: {written:02X?}");
        assert_eq!(desk.disturbances(), 0, "{what}");
    }
}

/// Between any two writes of PAGE stands a group that begins and ends with a reading of PAGE.
#[test]
fn every_group_begins_and_ends_with_its_page() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    everything(&mut monitor, &desk);
    let tape = desk.tape.borrow();
    // Codes of paged commands (B3).
    let paged = |code: u8| matches!(code, 0x20 | 0x30 | 0x40..=0x6B | 0x78..=0x7C | 0x86..=0x97);
    let mut confirmed = false;
    let mut open = false;
    for (bytes, read) in &tape.transfers {
        match (bytes[0], *read) {
            (0x00, 0) => {
                assert!(!open, "a group without an end before {bytes:02X?}");
                confirmed = false;
            }
            (0x00, _) => (confirmed, open) = (true, false),
            (code, _) if paged(code) => {
                assert!(confirmed, "{bytes:02X?} without a page");
                open = true;
            }
            _ => {}
        }
    }
}

/// Another host selects another page in the middle of a group: no value of that page is shown, and
/// the next call is right again.
#[test]
fn somebody_else_selects_a_page() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    desk.tape.borrow_mut().rewind();
    monitor.latch().unwrap();
    let transfers = desk.tape.borrow().transfers.len();
    let (mut refused, mut named) = (0, 0);
    for number in 0..transfers {
        desk.before(number, |_, bus| {
            embedded_hal::i2c::I2c::write(bus, ADDRESS, &[0x00, 1]).unwrap();
        });
        match monitor.latch() {
            Ok(frame) => {
                for (channel, expected) in Channel::first(4).zip(super::readings::usual()) {
                    let got = frame.reading(channel).unwrap();
                    assert_eq!(got.voltage, expected.voltage, "{number}");
                }
            }
            Err(error) => {
                let wrong = matches!(error.came, Came::Fault(Fault::WrongPage { got: 1, .. }));
                named += usize::from(wrong);
                assert_eq!(error.task, Task::Latch);
                assert!(error.is_worth_repeating());
                refused += 1;
            }
        }
        monitor.latch().unwrap();
    }
    // Three groups of other pages have three to four readings each; those that page 1 has, too, are
    // found out by PAGE alone.
    assert!(
        refused >= 11 && named >= 6,
        "{refused}, {named} of {transfers}"
    );
}

/// Another host selects another page in the middle of a look: that page's warnings are not told as
/// this one's, nor cleared.
#[test]
fn a_look_at_another_page_tells_and_clears_nothing() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    let mut found = Causes::empty();
    monitor
        .arm(&setup(), &Watches::limits(&WATCHES[..1]), &mut found)
        .unwrap();
    assert!(desk.part.with(|model| model.raise(1, 0x7B, 0x20)));
    desk.run_ms(20);
    for number in 0..8 {
        desk.before(number, |_, bus| {
            embedded_hal::i2c::I2c::write(bus, ADDRESS, &[0x00, 1]).unwrap();
        });
        // An error or none: it depends on where it was.
        let _ = monitor.service(Causes::all(), &mut found);
        assert_eq!(found, Causes::empty(), "{number}");
        assert_eq!(desk.peek(Some(1), 0x7B), 0x20, "{number}");
    }
}
