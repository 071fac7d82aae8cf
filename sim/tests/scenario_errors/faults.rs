//! One mistake in a `[[fault]]`, behind the last line of the valid scenario.

use crate::scenario_errors::{VALID, message};

#[test]
fn each_mistake_in_a_fault_has_its_message() {
    let first = VALID.lines().count() + 1;
    let with = |keys: &str| message(&format!("{VALID}[[fault]]\n{keys}"));
    for good in [
        "kind = \"address_not_acknowledged\"",
        "kind = \"bits_flipped\"\nbyte = 3\nbits = 0x80\nregister = \"latch\"\ntimes = 1",
        "kind = \"no_supply\"\nfrom_s = 1\nuntil_s = 2.5\nregister = 0x80\nafter_transfers = 9",
        "kind = \"sense_value\"\nrail = \"LOGIC\"\nresistance_ohm = 1\nuntil_s = 20",
        "kind = \"line_released\"\noutput = \"B\"",
    ] {
        assert_eq!(with(good), "no error", "{good}");
    }
    let keys_of_all = "kind, from_s, until_s";
    for (keys, line, expected) in [
        (
            "from_s = 1",
            0,
            "[[fault]] needs kind: what goes wrong, such as \"address_not_acknowledged\" or \
             \"reset\"",
        ),
        (
            "kind = \"fire\"",
            1,
            "kind = \"fire\": it must be \"address_not_acknowledged\" or \
             \"data_not_acknowledged\" or \"bits_flipped\" or \"clock_held\" or \
             \"arbitration_lost\" or \"answer_lost\" or \"write_lost\" or \
             \"no_data_pull_up\" or \"no_clock_pull_up\" or \"reset\" or \"no_supply\" or \"line_low\" or \"line_released\" or \"sense_value\" or \
             \"sense_drift\" or \"sense_open\" or \"sense_swapped\"",
        ),
        (
            "kind = \"reset\"\nfrom_s = 10",
            2,
            "from_s = 10: it must be before duration_s, or the fault never comes",
        ),
        (
            "kind = \"reset\"\nfrom_s = -1",
            2,
            "from_s = -1: a time must lie between 0 and 315576000 s",
        ),
        (
            "kind = \"no_supply\"\nfrom_s = 2\nuntil_s = 2",
            3,
            "until_s = 2: it must be after from_s, which is 0 unless given",
        ),
        (
            "kind = \"reset\"\nuntil_s = 2",
            2,
            "unknown key until_s in [[fault]]; it takes kind, part, from_s, register, after_transfers",
        ),
        (
            "kind = \"line_low\"",
            0,
            "[[fault]] needs output: \"A\" or \"B\"",
        ),
        (
            "kind = \"line_low\"\noutput = \"C\"",
            2,
            "output = \"C\": it must be \"A\" or \"B\"",
        ),
        (
            "kind = \"sense_open\"\nrail = \"LOGIK\"",
            2,
            "rail = \"LOGIK\": no rail is called so; there is \"LOGIC\"",
        ),
        (
            "kind = \"sense_value\"\nrail = \"LOGIC\"",
            0,
            "[[fault]] needs resistance_ohm: a sense resistor must lie between 0.0001 and 10 ohm",
        ),
        (
            "kind = \"sense_drift\"\nrail = \"LOGIC\"\ndrift_percent = -101",
            3,
            "drift_percent = -101: a resistor drifts by -100 to 1000 %",
        ),
        (
            "kind = \"clock_held\"\nheld_s = 2",
            2,
            "held_s = 2: a clock is held for above 0 and at most 1 s; after 25 ms the transfer is \
             given up",
        ),
        (
            "kind = \"write_lost\"\nregister = \"LATCHES\"",
            2,
            "register = \"LATCHES\": the part has no register of this name; crake-sim registers \
             --part corncrake lists them",
        ),
        (
            "kind = \"write_lost\"\nregister = 256",
            2,
            "register = 256: a register is a name of the datasheet, or a pointer from 0 to 255",
        ),
        (
            "kind = \"write_lost\"\ntimes = 0",
            2,
            "times = 0: it strikes a whole number of transfers from 1 to 1000000000000; leave it \
             out for all",
        ),
        (
            "kind = \"write_lost\"\nafter_transfers = 0.5",
            2,
            "after_transfers = 0.5: the number of transfers that pass first must be a whole \
             number from 0 to 1000000000000",
        ),
        (
            "kind = \"bits_flipped\"\nbits = 0",
            2,
            "bits = 0: the bits of a byte are 1 to 255, such as 0x80",
        ),
        (
            "kind = \"bits_flipped\"\nbyte = 256",
            2,
            "byte = 256: a data byte is 0 to 255",
        ),
    ] {
        let line = first + line;
        assert_eq!(
            with(keys),
            format!("case.toml:{line}: {expected}"),
            "{keys}"
        );
    }
    let stray = with("kind = \"sense_open\"\nrail = \"LOGIC\"\ntimes = 2");
    let takes = keys_of_all.replace("kind", "kind, rail");
    assert!(
        stray.ends_with(&format!("unknown key times in [[fault]]; it takes {takes}")),
        "{stray}"
    );
    let no_table = message(&format!("fault = 3\n{VALID}"));
    assert_eq!(no_table, "case.toml:1: fault = 3: [[fault]] tables");
}
