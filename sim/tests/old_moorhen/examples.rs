//! The worked examples of section 9, byte by byte.

use crake_sim::board::SenseResistor;

use crate::old_moorhen::{
    common::{plants::Steady, sheet::play},
    datasheet::{Input, number, pointer, table, value},
    desk::Desk,
};

/// The input whose result or limit a pointer names.
fn input_at(pointer: u8) -> Option<Input> {
    let mut inputs = Input::all().into_iter();
    inputs.find(|input| [input.result(), input.limit()].contains(&pointer))
}

/// A part that converts what the example says, with the ranges that it says, and has finished as many single-shots.
fn converting(input: Input, values: &str) -> Desk {
    let of = |name| value(values, name);
    let desk = Desk::ideal();
    let range = of("sense range bit")
        .or(of("bus range bit"))
        .expect("a range bit");
    desk.set("RANGES", if range == 1 { input.bit } else { 0 });
    let nano_ohms = of("resistance").unwrap_or(1_000_000_000);
    // What the document says of the quantity, and nothing that was worked out here.
    let plant = Steady {
        current_na: of("current").unwrap_or(0) as f64,
        voltage_nv: of("voltage").unwrap_or(0) as f64,
    };
    let resistor = SenseResistor::ideal(nano_ohms as u64);
    desk.part
        .rail(input.channel, plant, resistor)
        .expect("channel");
    for _ in 0..of("count").expect("a count") {
        desk.shoot();
    }
    desk
}

/// A part in the state that the example begins with.
fn prepared(at: u8, what: &str, values: &str) -> Desk {
    if let Some(input) = input_at(at).filter(|input| input.result() == at) {
        return converting(input, values);
    }
    let desk = Desk::ideal();
    if at == pointer("PROGRESS") {
        // Sense of channel 0 beyond its range.
        desk.steady(0, 1e9, 0.0);
        (0..value(values, "count").expect("a count")).for_each(|_| desk.shoot());
        if value(values, "busy") == Some(1) {
            desk.trigger();
        }
    } else if at == pointer("CAUSES") {
        desk.set("BUS_LIMIT_0", 99 << 3);
        desk.set("SENSE_LIMIT_1", 99 << 3);
        desk.steady(0, 0.0, 100.0 * 7e6);
        desk.steady(1, 100.0 * 36e3, 0.0);
        desk.shoot();
    } else if what == "restart" {
        desk.set("MARK", 0x1234);
    }
    desk
}

#[test]
fn every_worked_transfer_is_answered_as_the_document_says() {
    let mut played = 0;
    for row in table("| # | what | bytes | values |") {
        let (what, transfer, values) = (row[1], row[2].trim_matches('`'), row[3]);
        let at = number(&format!(
            "0x{}",
            transfer.split(' ').nth(2).expect("a pointer")
        )) as u8;
        let desk = prepared(at, what, values);
        // Everything is acknowledged, obeyed or not.
        assert!(play(&desk.wire, transfer), "{what}");
        played += 1;
        if transfer.contains("Sr") {
            assert!(what.starts_with("read"), "its bytes were compared: {what}");
            continue;
        }
        match what {
            "trigger" => assert_eq!(desk.named("PROGRESS"), 0x0400),
            "trigger with another value: ignored" => assert_eq!(desk.named("PROGRESS"), 0),
            "clear the one of channel 1" => assert_eq!(desk.named("CAUSES"), 0x0080),
            "restart" => {
                desk.run_us(2_200);
                assert_eq!(desk.named("MARK"), 0);
            }
            _ if values == "ignored" => assert_eq!(desk.read(at), 0, "{what}"),
            _ => {
                let word = desk.read(at);
                if let Some(code) = value(values, "code") {
                    // The code stands from bit 3 on.
                    assert_eq!(i64::from(word), (code * 8).rem_euclid(32_768), "{what}");
                } else {
                    assert_eq!(Some(i64::from(word)), value(values, "value"), "{what}");
                }
            }
        }
    }
    assert_eq!(played, 27);
}

/// What the document says of an example's codes and quantities agrees with its own tables.
#[test]
fn the_values_of_the_examples_follow_from_the_tables() {
    let mut codes = 0;
    for row in table("| # | what | bytes | values |") {
        let Some(code) = value(row[3], "code") else {
            continue;
        };
        let of = |name| value(row[3], name);
        let inputs = Input::all();
        if let Some(range) = of("sense range bit") {
            let nv = of("sense voltage").expect("a voltage");
            assert_eq!(nv as f64, code as f64 * inputs[0].lsb_nv(range as usize));
            let (ohms, na) = (
                of("resistance").expect("ohms"),
                of("current").expect("a current"),
            );
            assert_eq!(nv * 1_000_000_000, na * ohms, "{}", row[1]);
            codes += 1;
        } else if let Some(range) = of("bus range bit") {
            let nv = of("voltage").expect("a voltage");
            assert_eq!(nv as f64, code as f64 * inputs[1].lsb_nv(range as usize));
            codes += 1;
        }
    }
    assert_eq!(codes, 9);
}
