//! What counts as a jump of a rail that is held against its declaration, and over what time.

use super::declared::{PULSES, found, told};
use super::text::{declared, source};

/// What is told of the number of jumps of a load in steps from 1 A on.
fn number(duration_s: &str, source: &str, steps: &str, per_hour: u32) -> Vec<String> {
    let load = format!("[rail.load]\nkind = \"steps\"\ninitial_a = 1\nsteps = {steps}\n");
    let per_hour = format!("steps_per_hour = {per_hour}");
    let declared = declared(("steps_per_hour = 9000", &per_hour));
    let told = told(duration_s, source, &load, &declared);
    let of_current = |told: &String| told.contains("its current jumps");
    told.into_iter().filter(of_current).collect()
}

/// What the source does counts apart from what its impedance makes of the load; what comes after
/// the scenario's end counts for the number of steps alone.
#[test]
fn jumps_of_the_source_are_told() {
    let jumping = "[rail.source]\nkind = \"steps\"\ninitial_v = 12\n\
                   steps = [[2, 11.5], [70, 14]]\nimpedance_ohm = 1\n";
    let steps = |edit: &str| {
        let declared = declared(("flow", &format!("{edit}flow")));
        told("60", jumping, PULSES, &declared)
    };
    assert_eq!(
        steps("voltage_steps_per_hour = 2\nvoltage_step_v = 0.5\n"),
        [""; 0]
    );
    let number = "but its source's voltage jumps 2 times in an hour";
    let height = "but its source's voltage jumps by 0.5 V at 2 s";
    assert_eq!(
        steps(""),
        [
            format!("rail \"ONE\": voltage_steps_per_hour = 0, {number}"),
            format!("rail \"ONE\": voltage_step_v = 0, {height}")
        ]
    );
}

/// Two jumps in every two milliseconds are 3.6 million in an hour, of which only the first seconds
/// are looked at.
#[test]
fn many_jumps_of_the_source_are_counted_at_their_rate() {
    let jumping = "[rail.source]\nkind = \"pulses\"\nlow_v = 11.5\nhigh_v = 12\n\
                   period_s = 0.002\nwidth_s = 0.001\nimpedance_ohm = 1\n";
    let steps = |per_hour: u32| {
        let edit = format!("voltage_steps_per_hour = {per_hour}\nvoltage_step_v = 0.5\nflow");
        told("60", jumping, PULSES, &declared(("flow", &edit)))
    };
    assert_eq!(steps(3_600_001), [""; 0]);
    let told = steps(3_000_000);
    let [told] = &told[..] else {
        panic!("{told:?}")
    };
    // Less one, as the last jump may be just to come.
    let begin =
        "rail \"ONE\": voltage_steps_per_hour = 3000000, but its source's voltage jumps 3599";
    assert!(told.starts_with(begin), "{told}");
}

/// 2 A at once through 5 Ω and 1 Ω into 1 mF, a time constant of 12 scans: one jump up, and a fall
/// that is none.
#[test]
fn an_inrush_is_one_jump() {
    let load =
        "[rail.load]\nkind = \"inrush\"\ncapacitance_f = 0.001\nseries_ohm = 5\ncloses_s = 2\n";
    let told = |edit: (&str, &str)| told("5", &source("12", "1"), load, &declared(edit));
    assert_eq!(
        told(("steps_per_hour = 9000", "steps_per_hour = 1")),
        [""; 0]
    );
    let number = "rail \"ONE\": steps_per_hour = 0, but its current jumps 1 time in an hour";
    assert_eq!(
        told(("steps_per_hour = 9000", "steps_per_hour = 0")),
        [number]
    );
    let height = "rail \"ONE\": step_a = 1, but its current jumps by 2 A at 2 s";
    assert_eq!(told(("step_a = 9", "step_a = 1")), [height]);
}

/// "A change of more than a thousandth of the greatest current (for the source, of the greatest
/// rail voltage)."
#[test]
fn a_thousandth_is_no_jump() {
    let jumps = |volts: &str, amps: &str| {
        let source =
            format!("[rail.source]\nkind = \"steps\"\ninitial_v = 12\nsteps = [[2, {volts}]]\n");
        let load =
            format!("[rail.load]\nkind = \"steps\"\ninitial_a = -2\nsteps = [[1, {amps}]]\n");
        let declared = declared((
            "steps_per_hour = 9000\nstep_a = 9",
            "steps_per_hour = 0\nstep_a = 0",
        ));
        let told = found("5", &source, &load, &declared);
        told.iter()
            .map(|told| (told.key, told.found))
            .collect::<Vec<_>>()
    };
    assert_eq!(jumps("11.988", "-1.998"), []);
    let told = jumps("11.987999999", "-1.997999999");
    let (amps, volts) = (0.002_000_001, 0.012_000_001);
    let expected = [
        ("steps_per_hour", 1.0),
        ("voltage_steps_per_hour", 1.0),
        ("step_a", amps),
        ("voltage_step_v", volts),
    ];
    assert_eq!(told, expected);
}

/// An hour, and a duration, end before the moment that they come to.
#[test]
fn a_jump_as_the_hour_ends_is_none_of_it() {
    let steady = source("12", "0");
    let times = |seen: &str| {
        [format!(
            "rail \"ONE\": steps_per_hour = 0, but its current jumps {seen} in an hour"
        )]
    };
    let late = |moment: &str| number("60", &steady, &format!("[[30, 2], [{moment}, 1]]"), 0);
    assert_eq!(late("3600"), times("1 time"));
    assert_eq!(late("3599.999999999"), times("2 times"));
    assert_eq!(
        number("7200", &steady, "[[3700, 2], [7200, 1]]", 1),
        [""; 0]
    );
    assert_eq!(
        number("7201", &steady, "[[3700, 2], [7200, 1]]", 1).len(),
        1
    );
}

/// Pieces of a millisecond are followed for 100 s beyond the duration of 60 s: one jump in 160 s is
/// 22.5 in an hour, two are 45.
#[test]
fn a_hundred_thousand_pieces_beyond_the_end_are_looked_at() {
    let jumping = "[rail.source]\nkind = \"pulses\"\nlow_v = 11.5\nhigh_v = 12\n\
                   period_s = 0.002\nwidth_s = 0.001\nimpedance_ohm = 0\n";
    let jumps = |moment: &str| number("60", jumping, &format!("[[30, 2], [{moment}, 1]]"), 0);
    let times = |seen: u32| {
        [format!(
            "rail \"ONE\": steps_per_hour = 0, but its current jumps {seen} times in an hour"
        )]
    };
    assert_eq!(jumps("160"), times(22));
    assert_eq!(jumps("159.999"), times(45));
}
