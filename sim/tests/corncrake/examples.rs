//! The worked examples of section 10, byte by byte.

use crake_sim::{board::SenseResistor, part::corncrake::Output};

use crate::corncrake::{
    common::sheet::play,
    datasheet::{fenced, number, table, value},
    fixture::{Fixture, Steady},
};

const SENSE_LSB_NV: [i64; 2] = [500, 200];
const RAIL_LSB_NV: [i64; 3] = [100_000, 250_000, 1_000_000];

/// A part that converts what the example says, in the ranges that it says, and has finished a scan.
fn converting(pointer: u8, values: &str) -> Fixture {
    let fixture = Fixture::ideal();
    let channel = usize::from(pointer % 4);
    let sense_range = value(values, "sense range").unwrap_or(0);
    let rail_range = value(values, "rail range").unwrap_or(0);
    fixture.write(
        0x06,
        &((sense_range << 2 | rail_range) << (4 * channel)).to_be_bytes()[6..],
    );
    let nano_ohms = value(values, "resistance").unwrap_or(1_000_000_000);
    let code = value(values, "code").expect("code");
    let (sense, rail) = match pointer {
        0x60..=0x63 => (code, 0),
        0x64..=0x67 => (0, code),
        // A product of the two codes in both examples: those of the sample block.
        _ => [(84_000, 33_000), (-7_500, 48_250)]
            .into_iter()
            .find(|(s, b)| s * b == code)
            .expect("a product"),
    };
    let sense_nv = sense * SENSE_LSB_NV[sense_range as usize];
    let plant = Steady {
        current_na: sense_nv as f64 * 1e9 / nano_ohms as f64,
        voltage_nv: (rail * RAIL_LSB_NV[rail_range as usize]) as f64,
    };
    // What the document says of the quantity must be what the plant shows.
    if let Some(current) = value(values, "current") {
        assert_eq!(plant.current_na, current as f64);
    }
    if let Some(voltage) = value(values, "voltage") {
        assert_eq!(plant.voltage_nv, voltage as f64);
    }
    fixture
        .part
        .rail(channel, plant, SenseResistor::ideal(nano_ohms as u64))
        .expect("channel");
    fixture.run(0x14);
    fixture.run_conversions(12);
    fixture
}

/// A part in the state that the example begins with.
fn prepared(bytes: &[u8], what: &str, values: &str) -> Fixture {
    let pointer = bytes[1];
    let reads = bytes[0] == 0x64 && what.starts_with("read");
    match pointer {
        0x60..=0x6B if reads => converting(pointer, values),
        0x6C..=0x73 if reads => {
            let fixture = Fixture::ideal();
            let code = value(values, "code").expect("code");
            fixture
                .part
                .preload(usize::from(pointer % 4), code, code)
                .expect("channel");
            fixture
        }
        0x01 if reads => {
            let fixture = Fixture::ideal();
            (0..7).for_each(|_| fixture.write(0x07, &[1]));
            fixture
        }
        0x04 if what == "stop" => {
            let fixture = Fixture::ideal();
            fixture.run(0x14);
            fixture
        }
        0x37 => over_current_of_channel_3(),
        0x78 if reads => captured(&[]),
        0x7A if reads => {
            let codes = [0, 1, 2].map(|i| value(values, &format!("code {i}")).expect("code"));
            let fixture = captured(&codes);
            fixture.write(0x79, &[0x03, 0xFD, 3]);
            fixture
        }
        _ if what == "alert response" => {
            let fixture = Fixture::ideal();
            // Reset seen reaches output A.
            fixture.write(0x35, &[0x40, 0, 0]);
            assert!(fixture.part.is_low(Output::A));
            fixture
        }
        _ => Fixture::ideal(),
    }
}

fn over_current_of_channel_3() -> Fixture {
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[0x08]);
    fixture.write(0x2A, &[0, 0, 10]);
    fixture.write(0x34, &[0x72, 0, 0]);
    fixture.steady(3, 11.0 * 500.0, 0.0);
    fixture.run(0x20);
    fixture.run_conversions(6);
    fixture.write(0x0A, &[1]);
    fixture.write(0x37, &[0x20, 0, 0]);
    fixture
}

/// A capture on channel 1 that has ended with these codes at its end, from index 1021 on.
fn captured(last: &[i64]) -> Fixture {
    let fixture = Fixture::ideal();
    let codes: Vec<i64> = (0..1021).chain(last.iter().copied()).collect();
    fixture.listed(1, &codes);
    fixture.run(0x31);
    fixture
        .bench
        .run_for(core::time::Duration::from_millis(100));
    fixture
}

#[test]
fn every_worked_transfer_is_answered_as_the_document_says() {
    let mut played = 0;
    for row in table("| # | what | bytes | values |") {
        let (what, transfer, values) = (row[1], row[2].trim_matches('`'), row[3]);
        let bytes: Vec<u8> = transfer
            .split(' ')
            .filter(|token| !matches!(*token, "S" | "Sr" | "P"))
            .map(|hex| number(&format!("0x{hex}")) as u8)
            .collect();
        let fixture = prepared(&bytes, what, values);
        let acknowledged = play(&fixture.wire, transfer);
        assert_eq!(acknowledged, values != "refused", "{what}");
        // What was written reads back, where it can be read.
        let pointer = bytes[1];
        if transfer.contains("Sr") || what == "alert response" {
            // A read: its bytes were compared.
        } else if values == "refused" {
            assert_eq!(fixture.read(pointer, 1), [0], "{what}");
        } else if pointer == 0x37 {
            assert_eq!(fixture.unsigned(0x37, 3), 0, "{what}");
        } else if pointer == 0x03 {
            assert_eq!(fixture.sample().tag(), bytes[2], "{what}");
        } else {
            let width = bytes.len() - 3;
            assert_eq!(fixture.read(pointer, width), &bytes[2..2 + width], "{what}");
            let wanted = value(values, "value")
                .or(value(values, "code"))
                .or_else(|| Some(value(values, "index")? << 8 | value(values, "number")?))
                .expect("a value");
            assert_eq!(fixture.signed(pointer, width), wanted, "{what}");
        }
        played += 1;
    }
    assert_eq!(played, 32);
}

/// The block of section 10.1, reached by converting: only the running sums are put in place by
/// hand.
#[test]
fn the_worked_sample_block_comes_out_of_a_part_in_that_state() {
    let fields = table("| field | value |");
    let field = |name: &str| {
        number(
            fields
                .iter()
                .find(|row| row[0] == name)
                .unwrap_or_else(|| panic!("{name}"))[1],
        )
    };
    let fixture = Fixture::ideal();
    let ranges = field("ranges");
    for channel in 0..4 {
        let code = ranges >> (4 * channel) & 0xF;
        let sense_lsb = SENSE_LSB_NV[(code >> 2) as usize];
        let rail_lsb = RAIL_LSB_NV[(code & 3) as usize];
        // The greatest code with its flag set: the input lies beyond it.
        let beyond = if field("flags") >> (2 * channel) & 1 == 1 {
            1_000
        } else {
            0
        };
        let sense = field(&format!("sense {channel}")) + beyond;
        fixture.steady(
            channel,
            (sense * sense_lsb) as f64,
            (field(&format!("rail {channel}")) * rail_lsb) as f64,
        );
    }
    fixture.write(0x0A, &[1]);
    fixture.write(0x06, &ranges.to_be_bytes()[6..]);
    fixture.write(0x07, &[(field("configuration") >> 4) as u8]);
    fixture.run(field("mode") as u8);
    let writes_so_far = fixture.writes();
    for _ in writes_so_far..field("writes") as u64 {
        fixture.write(0x10, &[0xFF, 0xFF]);
    }
    // Far enough for one mean of 16 scans; then wait for rest.
    fixture.run_conversions(40 * 32);
    while fixture.state() & 0x80 != 0 {
        fixture.run_conversions(1);
    }
    for channel in 0..4 {
        let (charge, energy) = (
            field(&format!("charge {channel}")),
            field(&format!("energy {channel}")),
        );
        fixture
            .part
            .preload(channel, charge, energy)
            .expect("channel");
    }
    fixture.part.preload_scans(field("scans") as u32);
    fixture.latch(field("tag") as u8, 1);
    assert!(play(&fixture.wire, fenced("### 10.1 A sample block")));
}

#[test]
fn the_block_after_a_reset_is_the_one_in_the_document() {
    let fixture = Fixture::ideal();
    assert!(play(
        &fixture.wire,
        fenced("### 10.2 The sample block after a reset")
    ));
    fixture.run(0x10);
    fixture.run_conversions(100);
    assert!(
        fixture
            .raw_write(&fixture.with_check(0x09, &[0xA5]))
            .iter()
            .all(|&yes| yes)
    );
    fixture.bench.run_for(core::time::Duration::from_millis(1));
    assert!(play(
        &fixture.wire,
        fenced("### 10.2 The sample block after a reset")
    ));
}
