//! Mistakes in profiles.

use crate::scenario_errors::{message, with_load};

#[test]
fn mistakes_of_other_profiles_have_their_messages() {
    let cases = [
        (
            "kind = \"constant\"\n",
            "case.toml:36: rail \"LOGIC\": [rail.load] needs current_a: a current must lie \
             between -1000 and 1000 A",
        ),
        (
            "kind = \"constant\"\ncurrent_a = 1\nvoltage_v = 1\n",
            "case.toml:39: rail \"LOGIC\": unknown key voltage_v in [rail.load]; it takes kind, \
             current_a, closes_s, opens_s",
        ),
        (
            "kind = \"steps\"\ninitial_a = 1\nsteps = [[0, 1]]\n",
            "case.toml:36: rail \"LOGIC\": point 1 (from 0) is not after the one before it",
        ),
        (
            "kind = \"steps\"\ninitial_a = 1\nsteps = [1]\n",
            "case.toml:39: rail \"LOGIC\": steps = 1: steps are pairs of time and value, such as \
             [[10, 0.5], [20, 0.1]]",
        ),
        (
            "kind = \"ramp\"\nstart_s = 2\nfrom_a = 1\nend_s = 1\nto_a = 2\n",
            "case.toml:36: rail \"LOGIC\": point 1 (from 0) is not after the one before it",
        ),
        (
            "kind = \"sum\"\nparts = []\n",
            "case.toml:36: rail \"LOGIC\": there is no point at all",
        ),
        (
            "kind = \"sum\"\nparts = 3\n",
            "case.toml:38: rail \"LOGIC\": parts = 3: parts are loads, such as [{ kind = \
             \"constant\", current_a = 0.1 }]",
        ),
        (
            "kind = \"sum\"\nparts = [\n{ kind = \"constant\", current_a = 900 },\n{ kind = \
             \"constant\", current_a = 900 }]\n",
            "case.toml:36: rail \"LOGIC\": values may come to 1800 A (or V); they must stay \
             within ±1000",
        ),
        (
            "kind = \"sum\"\nparts = [\n{ kind = \"constant\", curent_a = 9 }]\n",
            "case.toml:39: rail \"LOGIC\": parts needs current_a: a current must lie between \
             -1000 and 1000 A",
        ),
        (
            "kind = \"constant\"\ncurrent_a = \"inf\"\n",
            "case.toml:38: rail \"LOGIC\": current_a = \"inf\": not a number",
        ),
    ];
    for (load, expected) in cases {
        assert_eq!(message(&with_load(load)), expected, "{load}");
    }
    // 10 A at 72 V come to 2^127 sixths of 10^-27 J after 39384533.208441951 s.
    let ten = |duration_s: &str| {
        let long = with_load("kind = \"constant\"\ncurrent_a = -10\n");
        message(&long.replace("duration_s = 10", &format!("duration_s = {duration_s}")))
    };
    assert_eq!(ten("39384533.208441951"), "no error");
    assert!(ten("39384533.208441952").contains("might exceed 28 GJ"));
    // 1 kA at the 72 V that inputs stand, for 10^6 s, is 72 GJ.
    let long = with_load("kind = \"constant\"\ncurrent_a = 1000\n")
        .replace("duration_s = 10", "duration_s = 1e6");
    assert_eq!(
        message(&long),
        "case.toml:19: rail \"LOGIC\": its energy over duration_s might exceed 28 GJ, as far as \
         the truth counts: shorten duration_s"
    );
}
