//! What goes over the bus, against the worked examples of the document (B8): byte for byte, check
//! bytes included. Their device stands at 0x58, as this one.

use crake::old::alert::{Causes, Limit, Outputs, Watch, Watches};
use crake::old::part::pmbus::gallinule::Gallinule;
use crake::old::units::{Current, Voltage};
use crake::old::{Channel, ShuntMonitor};

use super::desk::{Desk, board, setup};

/// What the examples have after the address byte: bytes written, and how many are read after a
/// repeated START.
const INIT: [(&str, &[u8], usize); 12] = [
    ("1, select page 2", &[0x00, 0x02, 0xE4], 0),
    ("2, read PAGE back", &[0x00], 2),
    ("4, VOUT_MODE", &[0x20], 2),
    (
        "21, COEFFICIENTS of READ_IOUT",
        &[0x30, 0x02, 0x8C, 0x01],
        7,
    ),
    (
        "22, COEFFICIENTS of READ_VOUT",
        &[0x30, 0x02, 0x8B, 0x01],
        7,
    ),
    ("23, QUERY of READ_VOUT", &[0x1A, 0x01, 0x8B], 3),
    ("24, QUERY of VOUT_OV_WARN_LIMIT", &[0x1A, 0x01, 0x42], 3),
    ("25, QUERY of READ_POUT", &[0x1A, 0x01, 0x96], 3),
    (
        "26, CAPABILITY, whose check byte is not asked for",
        &[0x19],
        1,
    ),
    ("27, PMBUS_REVISION", &[0x98], 2),
    ("31, mask of STATUS_INPUT", &[0x1B, 0x01, 0x7C], 3),
    ("32, USER_DATA_00 read", &[0xB0], 6),
];

const LATCH: [(&str, &[u8], usize); 11] = [
    ("2, read PAGE back", &[0x00], 2),
    ("5, READ_VOUT", &[0x8B], 3),
    ("6, READ_IOUT", &[0x8C], 3),
    ("7, READ_POUT", &[0x96], 3),
    ("15, READ_VIN", &[0x88], 3),
    ("16, READ_IIN", &[0x89], 3),
    ("17, READ_PIN", &[0x97], 3),
    ("18, READ_EOUT", &[0x87], 8),
    ("20, READ_EIN", &[0x86], 8),
    ("1, select page 2", &[0x00, 0x02, 0xE4], 0),
    ("39, select page 1", &[0x00, 0x01, 0xED], 0),
];

/// 0x0666 × 2^-9 is 3.19921875 V, the greatest word not above 3.2 V; 0xC34D is 845 × 2^-8, not
/// above 3.301 A.
const ARM: [(&str, &[u8], usize); 3] = [
    ("34, VOUT_OV_WARN_LIMIT", &[0x42, 0x66, 0x06, 0x51], 0),
    ("33, IOUT_OC_WARN_LIMIT", &[0x4A, 0x4D, 0xC3, 0x6C], 0),
    ("33, read back", &[0x4A], 3),
];

const SERVICE: [(&str, &[u8], usize); 2] = [
    ("34, STATUS_VOUT", &[0x7A], 2),
    ("34, one bit of it cleared", &[0x7A, 0x40, 0x0D], 0),
];

fn all_there(desk: &Desk, examples: &[(&str, &[u8], usize)]) {
    let mut tape = desk.tape.borrow_mut();
    for (what, written, read) in examples {
        let expected = (written.to_vec(), *read);
        assert!(tape.transfers.contains(&expected), "example {what}");
    }
    tape.rewind();
}

#[test]
fn transfers_are_those_of_the_worked_examples() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    all_there(&desk, &INIT);
    desk.run_ms(20);
    monitor.latch().unwrap();
    assert_eq!(desk.tape.borrow().transfers.len(), 28);
    all_there(&desk, &LATCH);
    let watches = [
        Watch::new(
            Channel::C0,
            Limit::OverVoltage(Voltage::from_millivolts(3_200)),
        )
        .held()
        .to(Outputs::A),
        Watch::new(
            Channel::C1,
            Limit::OverCurrent(Current::from_milliamps(3_301)),
        )
        .held()
        .to(Outputs::A),
    ];
    let mut found = Causes::empty();
    monitor
        .arm(&setup(), &Watches::limits(&watches), &mut found)
        .unwrap();
    all_there(&desk, &ARM);
    desk.run_ms(20);
    monitor.service(Causes::all(), &mut found).unwrap();
    all_there(&desk, &SERVICE);
}
