//! Limits at the ends of what a channel shows, and beside each other.

use crate::scenario_errors::{message, spoilt};

/// What is said of these limits of LOGIC, each a kind, a key and a value.
fn limits(limits: &[(&str, &str, &str)]) -> String {
    let mut text = "greatest_a = 0.03\n".to_owned();
    for (kind, key, value) in limits {
        text += &format!("[[rail.alert]]\nkind = \"{kind}\"\n{key} = {value}\noutput = \"A\"\n");
    }
    message(&spoilt("greatest_a = 0.03\n", &text))
}

/// The datasheet's ranges (3.4, 4): 25 mV take the one of -131072 to 131071 codes of 200 nV, which
/// 0.5 ohm makes -52.4288 mA to 52.4284 mA; 6.5 V that of 65535 codes of 100 µV, 6.5535 V. Power is
/// their product, in whole nanowatts.
#[test]
fn a_limit_lies_between_what_the_channel_shows() {
    for (kind, key, just_in, beyond) in [
        ("over_current", "limit_a", "0.052428399", "0.0524284"),
        ("over_current", "limit_a", "-0.052428799", "-0.0524288"),
        ("under_current", "limit_a", "0.052428399", "0.0524284"),
        ("under_voltage", "limit_v", "0.000000001", "0"),
        ("over_voltage", "limit_v", "6.553499999", "6.5535"),
        ("over_power", "limit_w", "0.343589518", "0.343589519"),
        ("over_power", "limit_w", "-0.343592139", "-0.343592140"),
    ] {
        assert_eq!(limits(&[(kind, key, just_in)]), "no error", "{kind}");
        let told = limits(&[(kind, key, beyond)]);
        let begins = format!("case.toml:51: rail \"LOGIC\": {key} = {beyond}: the channel shows ");
        assert!(told.starts_with(&begins), "{told}");
    }
}

#[test]
fn over_and_under_leave_something_between_them() {
    for (key, over, under) in [
        ("limit_a", "over_current", "under_current"),
        ("limit_v", "over_voltage", "under_voltage"),
    ] {
        for (first, second) in [(over, under), (under, over)] {
            let (apart, crossed) = match first == over {
                true => ("0.019999999", "0.020000001"),
                false => ("0.020000001", "0.019999999"),
            };
            let with = |value| limits(&[(first, key, "0.02"), (second, key, value)]);
            assert_eq!(with(apart), "no error", "{first} {second}");
            for value in ["0.02", crossed] {
                let told = format!(
                    "case.toml:55: rail \"LOGIC\": {key} = {value}: over- and under-limit cross: \
                     the other, at line 51, is 0.02"
                );
                assert_eq!(with(value), told);
            }
        }
    }
}
