//! Mistakes in loads and sources that follow the voltage or another rail.

use crate::scenario_errors::{VALID, message, with_load};

#[test]
fn mistakes_of_loads_have_their_messages() {
    let inrush = "kind = \"inrush\"\ncapacitance_f = 0.001\nseries_ohm = 5\n";
    let charger = "kind = \"charger\"\ntrickle_a = 0.1\ntrickle_below_v = 3\n\
        constant_current_a = 1\nconstant_voltage_v = 4.2\nend_a = 0.1\n";
    assert_eq!(message(&with_load(inrush)), "no error");
    let cases = [
        (
            "kind = \"resistance\"\nresistance_ohm = 0\n".to_owned(),
            "38: rail \"LOGIC\": resistance_ohm = 0: a resistance must lie between 0.001 and \
             1000000000 ohm",
        ),
        (
            "kind = \"constant_power\"\npower_w = 1\n".to_owned(),
            "36: rail \"LOGIC\": [rail.load] needs down_to_v: the least voltage must lie between \
             0.000001 and 72 V",
        ),
        (
            inrush.replace("0.001", "0.0000001"),
            "36: rail \"LOGIC\": a capacitor must be below 1000 F, and 1 µs or more with its \
             series resistance",
        ),
        (
            inrush.replace("= 5", "= 5\ncloses_s = 2\nopens_s = 2"),
            "41: rail \"LOGIC\": opens_s = 2: it must be after closes_s, which is 0 unless given",
        ),
        (
            charger.replace("end_a = 0.1", "end_a = -1"),
            "42: rail \"LOGIC\": end_a = -1: a charger's current must lie between 0 and 1000 A",
        ),
        (
            format!("kind = \"sum\"\nparts = [{{ {} }}]\n", "kind = \"power\""),
            "38: rail \"LOGIC\": kind = \"power\": it must be \"constant\" or \"steps\" or \
             \"ramp\" \
             or \"pulses\" or \"recorded\" or \"sum\" or \"resistance\" or \"constant_power\" or \
             \"inrush\" or \"charger\"",
        ),
    ];
    let (before, rest) = VALID.split_once("[rail.source]\n").unwrap();
    let (_, after) = rest.split_once("[rail.load]\n").unwrap();
    let (_, after) = after.split_once("[rail.load_declared]\n").unwrap();
    let constant = "[rail.source]\nvoltage_v = 4\n";
    assert_eq!(
        message(&format!(
            "{before}{constant}[rail.load]\n{charger}[rail.load_declared]\n{after}"
        )),
        "case.toml:19: rail \"LOGIC\": a charger needs a source of kind \"cell\""
    );
    assert_eq!(message(&with_load(charger)), "no error");
    for (load, expected) in cases {
        assert_eq!(message(&with_load(&load)), format!("case.toml:{expected}"));
    }
}

#[test]
fn mistakes_of_converters_have_their_messages() {
    let (_, rail) = VALID.split_once("[[rail]]").unwrap();
    let (before, rest) = rail.split_once("[rail.source]\n").unwrap();
    let (_, after) = rest.split_once("[rail.load]\n").unwrap();
    let fed = |name: &str, channel: &str, input: &str, edit: (&str, &str)| {
        let converter = format!(
            "kind = \"converter\"\ninput = \"{input}\"\nvoltage_v = 1.8\nefficiency = 0.9\n\
             input_down_to_v = 2.5\nimpedance_ohm = 0.6\n"
        );
        let converter = converter.replace(edit.0, edit.1);
        let rail = format!("[[rail]]{before}[rail.source]\n{converter}[rail.load]\n{after}");
        rail.replacen("LOGIC", name, 1)
            .replacen("channel = 0", &format!("channel = {channel}"), 1)
    };
    let core = |input: &str, edit: (&str, &str)| {
        message(&format!("{VALID}{}", fed("CORE", "1", input, edit)))
    };
    assert_eq!(core("LOGIC", ("", "")), "no error");
    let line = VALID.lines().count() + 13;
    assert_eq!(
        core("LOGC", ("", "")),
        format!("case.toml:{line}: rail \"CORE\": input = \"LOGC\": there is no rail of that name")
    );
    let itself = "the converter would feed itself";
    assert_eq!(
        core("CORE", ("", "")),
        format!("case.toml:{line}: rail \"CORE\": input = \"CORE\": {itself}")
    );
    let (head, _) = VALID.split_once("[[rail]]").unwrap();
    let ring = [
        head,
        &fed("ONE", "0", "TWO", ("", "")),
        &fed("TWO", "1", "ONE", ("", "")),
        &fed("THREE", "2", "TWO", ("", "")),
    ];
    // With a rail that hangs on it, and alone.
    for ring in [&ring[..], &ring[..3]] {
        assert_eq!(
            message(&ring.concat()),
            format!("case.toml:31: rail \"ONE\": input = \"TWO\": {itself}")
        );
    }
    assert_eq!(
        core("LOGIC", ("0.9", "1.1")),
        format!(
            "case.toml:{}: rail \"CORE\": efficiency = 1.1: an efficiency must lie between 0.01 \
             and 1",
            line + 2
        )
    );
    // A millivolt at the input, for milliwatts: amperes beyond what a rail may have.
    let fed = fed("CORE", "1", "LOGIC", ("2.5", "0.00001"));
    let told = message(&format!("{VALID}{fed}"));
    let expected = "case.toml:19: rail \"LOGIC\", with its converters: a current of ";
    assert!(told.starts_with(expected), "{told}");
}
