//! What goes over the bus, against the worked examples of the document (B8): byte for byte, check
//! bytes included. Their device stands at 0x58, as this one.

use std::collections::BTreeMap;

use crake::ShuntMonitor;
use crake::alert::{AlertFlags, Limit, Limits, Outputs, Threshold};
use crake::units::{Current, Voltage};
use crake::{Channel, Sample};
use crake_suite::markdown::Document;

use super::desk::{CONFIG, Desk, Transfer};

/// The transfers of each example that has no byte refused, by number, less address bytes.
fn examples() -> BTreeMap<u32, Vec<Transfer>> {
    let document = Document::read("docs/pmbus-device.md");
    let table = document.table("B8 ", &["#", "what", "before", "bytes", "values"]);
    let mut examples = BTreeMap::new();
    for row in table.rows().filter(|row| !row[3].contains('!')) {
        let text = row[3].trim_matches('`').replace('~', "");
        let transfers = text.split_terminator('P').map(|transfer| {
            let mut parts = transfer.trim().trim_start_matches("S ").split(" Sr ");
            let mut bytes = || {
                let words = parts.next().unwrap_or_default().split_whitespace().skip(1);
                words
                    .map(|byte| u8::from_str_radix(byte, 16).unwrap())
                    .collect()
            };
            Transfer {
                written: bytes(),
                read: bytes(),
            }
        });
        examples.insert(row[0].parse().unwrap(), transfers.collect());
    }
    assert!(examples.len() > 30);
    examples
}

/// All transfers of these examples are among those of the driver, as they are.
fn all_there(desk: &Desk, numbers: &[u32]) {
    let (examples, transfers) = (examples(), desk.taken());
    for number in numbers {
        for transfer in &examples[number] {
            assert!(
                transfers.contains(transfer),
                "example {number}: {transfer:02X?}, {transfers:02X?}"
            );
        }
    }
}

#[test]
fn transfers_are_those_of_the_worked_examples() {
    let desk = Desk::ideal();
    desk.run_ms(20);
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    // PAGE, VOUT_MODE, COEFFICIENTS, QUERY, PMBUS_REVISION.
    let init = desk.taken();
    assert!(
        init.iter().any(|t| t.written == [0x19] && t.read == [0xB0]),
        "26, less check byte"
    );
    desk.tape.borrow_mut().transfers = init;
    all_there(&desk, &[1, 2, 4, 21, 22, 23, 24, 27]);
    monitor.sample().unwrap();
    all_there(&desk, &[2, 5, 6, 7, 9, 10, 11, 13, 14, 15, 16, 17]);
    // Set right before they are read, so that no sample comes in between.
    for (example, at, page, counts, samples) in [
        (18, 5, 0, 386_387, 3_150),
        (19, 17, 2, 386_376, 3_150),
        (20, 24, 3, 8_388_607, 16_777_215),
    ] {
        desk.before(at, move |part, _| {
            assert!(part.with(|model| model.preload(page, counts, samples)));
        });
        monitor.sample().unwrap();
        all_there(&desk, &[example]);
    }
    // 0x0666 × 2^-9 is 3.19921875 V, the greatest word not above 3.2 V; 845 × 2^-8 A not above
    // 3.301 A. The device keeps 3.296875 A of it, which is safe.
    let limits = [
        Limit::new(
            Channel::C0,
            Threshold::OverVoltage(Voltage::from_millivolts(3_200)),
        ),
        Limit::new(
            Channel::C1,
            Threshold::OverCurrent(Current::from_milliamps(3_301)),
        ),
    ]
    .map(|limit| limit.to(Outputs::A));
    let mut seen = AlertFlags::empty();
    monitor
        .set_limits(&Limits::new(&limits), &mut seen)
        .unwrap();
    let transfers = desk.taken();
    let example = &examples()[&34];
    assert!(transfers.contains(&example[0]), "34, VOUT_OV_WARN_LIMIT");
    desk.tape.borrow_mut().transfers = transfers;
    all_there(&desk, &[33]);
    desk.run_ms(20);
    monitor.read_alerts(AlertFlags::all(), &mut seen).unwrap();
    let transfers = desk.taken();
    // STATUS_VOUT, and the one bit of it cleared.
    for transfer in &example[2..4] {
        assert!(transfers.contains(transfer), "34: {transfer:02X?}");
    }
}

/// Values of examples 5 to 17 in their own units, as the document gives them.
#[test]
fn readings_are_those_of_the_worked_examples() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let document = Document::read("docs/pmbus-device.md");
    let table = document.table("B8 ", &["#", "what", "before", "bytes", "values"]);
    let value = |number: &str| {
        let text = table.cell(number, "values");
        text.split(' ').next().unwrap().parse::<f64>().unwrap()
    };
    let sample = monitor.sample().unwrap();
    // Our codes of 500, 100, 1000 and 1000 µV, 500, 500, 500 and 1000 µA; half of one.
    let cases = [
        (Channel::C0, ["5", "6", "7"], [250e-6, 250e-6]),
        (Channel::C2, ["11", "13", "14"], [500e-6, 250e-6]),
        (Channel::C3, ["15", "16", "17"], [500e-6, 500e-6]),
    ];
    for (channel, [volts, amperes, watts], [half_volt, half_ampere]) in cases {
        let reading = sample.reading(channel).unwrap();
        let off = |shown: i64, number: &str| (shown as f64 * 1e-9 - value(number)).abs();
        assert!(off(reading.voltage.as_nanovolts(), volts) <= half_volt * 1.000_001);
        assert!(off(reading.current.as_nanoamps(), amperes) <= half_ampere * 1.000_001);
        assert!(
            off(reading.power.as_nanowatts(), watts) <= 0.5e-6,
            "{channel}"
        );
    }
    // 1.199951171875 V and -1.5 A, examples 9 and 10, and their product by our codes.
    let reading = sample.reading(Channel::C1).unwrap();
    assert_eq!(reading.voltage.as_nanovolts(), 1_200_000_000);
    assert_eq!(reading.current.as_nanoamps(), -1_500_000_000);
    assert_eq!(reading.power.as_nanowatts(), -1_800_000_000);
}
