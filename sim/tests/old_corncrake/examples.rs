//! The worked examples of section 10, byte by byte.

use crake_sim::{board::SenseResistor, old::corncrake::Output};

use crate::old_corncrake::{
    common::sheet::play,
    datasheet::{fenced, number, table, value},
    desk::{Desk, Steady},
};

const SENSE_LSB_NV: [i64; 2] = [500, 200];
const BUS_LSB_NV: [i64; 3] = [100_000, 250_000, 1_000_000];

/// A part that converts what the example says, in the ranges that it says, and has finished a
/// round.
fn converting(pointer: u8, values: &str) -> Desk {
    let desk = Desk::ideal();
    let channel = usize::from(pointer % 4);
    let sense_range = value(values, "sense range").unwrap_or(0);
    let bus_range = value(values, "bus range").unwrap_or(0);
    desk.write(
        0x06,
        &((sense_range << 2 | bus_range) << (4 * channel)).to_be_bytes()[6..],
    );
    let nano_ohms = value(values, "resistance").unwrap_or(1_000_000_000);
    let code = value(values, "code").expect("code");
    let (sense, bus) = match pointer {
        0x60..=0x63 => (code, 0),
        0x64..=0x67 => (0, code),
        // A product of the two codes in both examples: those of the frame block.
        _ => [(84_000, 33_000), (-7_500, 48_250)]
            .into_iter()
            .find(|(s, b)| s * b == code)
            .expect("a product"),
    };
    let sense_nv = sense * SENSE_LSB_NV[sense_range as usize];
    let plant = Steady {
        current_na: sense_nv as f64 * 1e9 / nano_ohms as f64,
        voltage_nv: (bus * BUS_LSB_NV[bus_range as usize]) as f64,
    };
    // What the document says of the quantity must be what the plant shows.
    if let Some(current) = value(values, "current") {
        assert_eq!(plant.current_na, current as f64);
    }
    if let Some(voltage) = value(values, "voltage") {
        assert_eq!(plant.voltage_nv, voltage as f64);
    }
    desk.part
        .rail(channel, plant, SenseResistor::ideal(nano_ohms as u64))
        .expect("channel");
    desk.run(0x14, 0x77, 0);
    desk.run_conversions(12);
    desk
}

/// A part in the state that the example begins with.
fn prepared(bytes: &[u8], what: &str, values: &str) -> Desk {
    let pointer = bytes[1];
    let reads = bytes[0] == 0x64 && what.starts_with("read");
    match pointer {
        0x60..=0x6B if reads => converting(pointer, values),
        0x6C..=0x73 if reads => {
            let desk = Desk::ideal();
            let code = value(values, "code").expect("code");
            desk.part
                .preload(usize::from(pointer % 4), code, code)
                .expect("channel");
            desk
        }
        0x01 if reads => {
            let desk = Desk::ideal();
            (0..7).for_each(|_| desk.write(0x07, &[1]));
            desk
        }
        0x37 => over_current_of_channel_3(),
        _ if what == "alert response" => {
            let desk = Desk::ideal();
            // Reset seen reaches output A.
            desk.write(0x35, &[0x40, 0, 0]);
            assert!(desk.part.is_low(Output::A));
            desk
        }
        _ => Desk::ideal(),
    }
}

fn over_current_of_channel_3() -> Desk {
    let desk = Desk::ideal();
    desk.write(0x05, &[0x08]);
    desk.write(0x2A, &[0, 0, 10]);
    desk.write(0x34, &[0x72, 0, 0]);
    desk.steady(3, 11.0 * 500.0, 0.0);
    desk.run(0x20, 1, 0);
    desk.run_conversions(6);
    desk.write(0x37, &[0x60, 0, 0]);
    desk
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
        let desk = prepared(&bytes, what, values);
        let acknowledged = play(&desk.wire, transfer);
        assert_eq!(acknowledged, values != "refused", "{what}");
        // What was written reads back, where it can be read.
        let pointer = bytes[1];
        if transfer.contains("Sr") || what == "alert response" {
            // A read: its bytes were compared.
        } else if values == "refused" {
            assert_eq!(desk.read(pointer, 1), [0], "{what}");
        } else if pointer == 0x37 {
            assert_eq!(desk.unsigned(0x37, 3), 0, "{what}");
        } else if pointer == 0x03 {
            assert_eq!(desk.frame().tag(), bytes[2], "{what}");
        } else {
            let width = bytes.len() - 3;
            assert_eq!(desk.read(pointer, width), &bytes[2..2 + width], "{what}");
            let wanted = value(values, "value")
                .or(value(values, "code"))
                .expect("a value");
            assert_eq!(desk.signed(pointer, width), wanted, "{what}");
        }
        played += 1;
    }
    assert_eq!(played, 27);
}

/// The block of section 10.1, reached by converting: only the accumulators are put in place by
/// hand.
#[test]
fn the_worked_frame_block_comes_out_of_a_part_in_that_state() {
    let fields = table("| field | value |");
    let field = |name: &str| {
        number(
            fields
                .iter()
                .find(|row| row[0] == name)
                .unwrap_or_else(|| panic!("{name}"))[1],
        )
    };
    let desk = Desk::ideal();
    let ranges = field("ranges");
    for channel in 0..4 {
        let code = ranges >> (4 * channel) & 0xF;
        let sense_lsb = SENSE_LSB_NV[(code >> 2) as usize];
        let bus_lsb = BUS_LSB_NV[(code & 3) as usize];
        // The greatest code with its flag set: the input lies beyond it.
        let beyond = if field("flags") >> (2 * channel) & 1 == 1 {
            1_000
        } else {
            0
        };
        let sense = field(&format!("sense {channel}")) + beyond;
        desk.steady(
            channel,
            (sense * sense_lsb) as f64,
            (field(&format!("bus {channel}")) * bus_lsb) as f64,
        );
    }
    desk.write(0x0A, &[1]);
    desk.write(0x06, &ranges.to_be_bytes()[6..]);
    desk.write(0x07, &[(field("set-up") >> 4) as u8]);
    desk.run(field("mode") as u8, 1, 0);
    let serial_so_far = desk.unsigned(0x01, 2);
    for _ in serial_so_far..field("serial") as u64 {
        desk.write(0x10, &[0xFF, 0xFF]);
    }
    // Far enough for one mean of 16 rounds; then wait for rest.
    desk.run_conversions(40 * 32);
    while desk.state() & 0x80 != 0 {
        desk.run_conversions(1);
    }
    for channel in 0..4 {
        let (charge, energy) = (
            field(&format!("charge {channel}")),
            field(&format!("energy {channel}")),
        );
        desk.part.preload(channel, charge, energy).expect("channel");
    }
    desk.part.preload_rounds(field("rounds") as u32);
    desk.latch(field("tag") as u8, 1);
    assert!(play(&desk.wire, fenced("### 10.1 A frame block")));
}

#[test]
fn the_block_after_a_reset_is_the_one_in_the_document() {
    let desk = Desk::ideal();
    assert!(play(
        &desk.wire,
        fenced("### 10.2 The frame block after a reset")
    ));
    desk.run(0x10, 1, 0);
    desk.run_conversions(100);
    assert!(
        desk.raw_write(&desk.with_check(0x09, &[0xA5]))
            .iter()
            .all(|&yes| yes)
    );
    desk.bench.run_for(core::time::Duration::from_millis(1));
    assert!(play(
        &desk.wire,
        fenced("### 10.2 The frame block after a reset")
    ));
}
