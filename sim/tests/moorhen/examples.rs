//! The worked examples of section 9, byte by byte.

use crake_sim::board::SenseResistor;

use crate::moorhen::{
    common::{plants::Steady, sheet::play},
    datasheet::{Input, both, busy, done, enable, number, pointer, table, value},
    fixture::{Fixture, word},
};

/// The input whose result or limit a pointer names.
fn input_at(pointer: u8) -> Option<Input> {
    let mut inputs = Input::all().into_iter();
    inputs.find(|input| [input.result(), input.limit()].contains(&pointer))
}

/// A part that has converted what the example says, in the range that it says.
fn converted(input: Input, values: &str) -> Fixture {
    let of = |name| value(values, name);
    let fixture = Fixture::ideal();
    let range = of("sense range").or(of("rail range")).expect("a range");
    let range = if range == 1 { input.bit } else { 0 };
    fixture.set("CONFIGURATION", enable(input.channel) | range);
    let nano_ohms = of("resistance").unwrap_or(1_000_000_000);
    // What the document says of the quantity, and nothing that was worked out here.
    let plant = Steady {
        current_na: of("current").unwrap_or(0) as f64,
        voltage_nv: of("voltage").unwrap_or(0) as f64,
    };
    let resistor = SenseResistor::ideal(nano_ohms as u64);
    let channel = input.channel;
    let put = fixture.part.rail(channel, plant, resistor);
    put.expect("channel");
    fixture.shoot();
    fixture
}

/// A part in the state that the example begins with.
fn prepared(at: u8, what: &str, values: &str) -> Fixture {
    if let Some(input) = input_at(at).filter(|input| input.result() == at) {
        return converted(input, values);
    }
    let fixture = Fixture::ideal();
    if what == "trigger" || at == pointer("STATUS") {
        fixture.set("CONFIGURATION", both());
    }
    let over_range = value(values, "over range");
    if at == pointer("STATUS") {
        if over_range.is_some_and(|bits| bits != 0) {
            fixture.steady(0, 1e9, 0.0);
            fixture.steady(1, 0.0, 1e12);
        }
        if value(values, "busy") == Some(1) {
            fixture.trigger();
        } else {
            fixture.shoot();
            assert_eq!(fixture.named("STATUS") & done(), done());
        }
    } else if at == pointer("CONFIGURATION") && what.ends_with("sample is good") {
        fixture.set(
            "CONFIGURATION",
            value(values, "value").expect("a value") as u16,
        );
    } else if at == pointer("ALERT_FLAGS") {
        fixture.set("CONFIGURATION", both());
        fixture.set("SENSE_LIMIT_0", 99);
        fixture.set("RAIL_LIMIT_1", 99);
        fixture.steady(0, 100.0 * 36e3, 0.0);
        fixture.steady(1, 0.0, 100.0 * 7e6);
        fixture.shoot();
        if what.ends_with("rail 1 stays") {
            fixture.set("ALERT_FLAGS", Input::all()[0].bit);
        }
    } else if what == "restart" {
        fixture.set("RAIL_LIMIT_0", 0x0123);
    }
    fixture
}

#[test]
fn every_worked_transfer_is_answered_as_the_document_says() {
    let mut played = 0;
    for row in table("| # | what | bytes | values |") {
        let (what, transfer, values) = (row[1], row[2].trim_matches('`'), row[3]);
        let pointer = transfer.split(' ').nth(2).expect("a pointer");
        let at = number(&format!("0x{pointer}")) as u8;
        let fixture = prepared(at, what, values);
        // Everything is acknowledged, obeyed or not.
        assert!(play(&fixture.wire, transfer), "{what}");
        played += 1;
        if transfer.contains("Sr") {
            let is_read = what.starts_with("read");
            assert!(is_read, "its bytes were compared: {what}");
            continue;
        }
        match what {
            "clear DONE" => assert_eq!(fixture.named("STATUS"), 0),
            "trigger" => assert_eq!(fixture.named("STATUS"), busy()),
            "trigger with another value: ignored" => assert_eq!(fixture.named("STATUS"), 0),
            "clear the flag of sense 0" => {
                assert_eq!(fixture.named("ALERT_FLAGS"), Input::all()[3].bit);
            }
            "restart" => {
                fixture.run_us(2_200);
                assert_eq!(fixture.named("RAIL_LIMIT_0"), 0x0FFF);
            }
            _ if values == "ignored" => assert_eq!(fixture.read(at), 0, "{what}"),
            _ => {
                let found = fixture.read(at);
                match value(values, "code") {
                    Some(code) => assert_eq!(found, word(code), "{what}"),
                    None => assert_eq!(Some(i64::from(found)), value(values, "value"), "{what}"),
                }
            }
        }
    }
    assert_eq!(played, 33);
}

/// What the document says of an example's codes and quantities agrees with its own tables.
#[test]
fn the_values_of_the_examples_follow_from_the_tables() {
    let (mut codes, mut powers) = (0, 0);
    let (mut current_na, inputs) = (0, Input::all());
    for row in table("| # | what | bytes | values |") {
        let Some(code) = value(row[3], "code") else {
            continue;
        };
        let of = |name| value(row[3], name);
        if let Some(range) = of("sense range") {
            let nv = of("sense voltage").expect("a voltage");
            assert_eq!(nv as f64, code as f64 * inputs[0].lsb_nv(range as usize));
            let ohms = of("resistance").expect("ohms");
            current_na = of("current").expect("a current");
            assert_eq!(nv * 1_000_000_000, current_na * ohms, "{}", row[1]);
            codes += 1;
        } else if let Some(range) = of("rail range") {
            let nv = of("voltage").expect("a voltage");
            assert_eq!(nv as f64, code as f64 * inputs[1].lsb_nv(range as usize));
            if let Some(nw) = of("power") {
                // The current is that of the example before, of the same sample.
                let exact = i128::from(nv) * i128::from(current_na);
                assert_eq!(exact, i128::from(nw) * 1_000_000_000, "{}", row[1]);
                powers += 1;
            }
            codes += 1;
        }
    }
    assert_eq!((codes, powers), (11, 2));
}
