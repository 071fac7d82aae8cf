//! Runs that do not come to their end: what the driver refuses of a scenario that was put together
//! in code, by the line of its file, and parts that are not there.

use crake::part::moorhen::{Address, Moorhen};
use crake_sim::part::moorhen as model;
use crake_sim::run::{Fitting, RunError, Silent, run, run_with};
use crake_sim::scenario::{PartKind, Scenario};

/// Two parts whose rails have the same channel; the lines are those of `[[rail]]` and of the second
/// rail's `limit_a`. A transfer that goes wrong changes nothing of what is refused.
const TWO: &str = r#"title = "t"
duration_s = 0.2
[[part]]
name = "DECK"
[[part]]
name = "CABIN"
model = "moorhen"
[[rail]]
name = "MAIN"
part = "DECK"
sense.resistance_ohm = 0.01
source.voltage_v = 5
load.current_a = 1
[[rail]]
name = "LAMP"
part = "CABIN"
sense.resistance_ohm = 0.03
source.voltage_v = 5
load.current_a = 1
[[rail.alert]]
kind = "over_voltage"
limit_v = 6
output = "A"
[[rail.alert]]
kind = "over_current"
limit_a = 2
output = "A"
[[fault]]
kind = "arbitration_lost"
part = "DECK"
times = 1
"#;
const LAMP_LINE: u64 = 14;
const OVER_CURRENT_LINE: u64 = 26;

fn refused(spoil: impl Fn(&mut Scenario)) -> RunError {
    let mut scenario = Scenario::parse(TWO, "two.toml").unwrap();
    run(&scenario, 1, &mut Silent).expect("a good scenario");
    spoil(&mut scenario);
    run(&scenario, 1, &mut Silent).expect_err("a bad one")
}

#[test]
fn what_the_driver_refuses_has_rail_and_line() {
    let volts = 1_000_000_000;
    let sense = refused(|it| it.rails[1].sense.sense_full_scale_nv = 40 * volts);
    let rail = refused(|it| it.rails[1].sense.rail_full_scale_nv = 400 * volts);
    let resistor = refused(|it| it.rails[1].sense.resistance_nohm = 0);
    for error in [sense, rail, resistor] {
        assert!(matches!(error, RunError::Rail { .. }), "{error:?}");
        assert_eq!(error.line(), Some(LAMP_LINE), "{error}");
        assert!(error.to_string().starts_with("rail \"LAMP\": "), "{error}");
    }
    let limit = refused(|it| it.rails[1].alerts[1].limit = 90 * volts);
    assert!(matches!(limit, RunError::Alert { .. }), "{limit:?}");
    assert_eq!(limit.line(), Some(OVER_CURRENT_LINE), "{limit}");
    assert!(limit.to_string().starts_with("rail \"LAMP\": "), "{limit}");
}

/// The second strap's map for a part on the first: nobody answers. Where nothing is to go wrong the
/// run ends with it.
#[test]
fn a_part_that_is_not_there_ends_the_run() {
    let text = TWO.split("[[fault]]").next().unwrap();
    let text = text.replace("[[part]]\nname = \"DECK\"\n", "");
    let (head, rest) = text.split_once("[[rail]]").unwrap();
    let (_, rail) = rest.split_once("[[rail]]").unwrap();
    let scenario = Scenario::parse(&format!("{head}[[rail]]{rail}"), "one.toml").unwrap();
    let strap = |map| Fitting::<_, _, 2> {
        kind: &PartKind::MOORHEN,
        order: |address, _| Some(model::Moorhen::ideal(address)),
        map,
        outputs: &[model::Output::Alert],
    };
    let right = strap(|_| Moorhen::new(Address::Strap0));
    assert!(run_with(&[&right], &scenario, 1, &mut Silent).is_ok());
    let wrong = strap(|_| Moorhen::new(Address::Strap1));
    let error = run_with(&[&wrong], &scenario, 1, &mut Silent).unwrap_err();
    assert!(matches!(error, RunError::Driver(_)), "{error:?}");
    assert_eq!(error.line(), None);
    let nobody = Fitting::<_, _, 2> {
        order: |_, _| None::<model::Moorhen>,
        ..strap(|_| Moorhen::new(Address::Strap0))
    };
    let error = run_with(&[&nobody], &scenario, 1, &mut Silent).unwrap_err();
    assert!(matches!(error, RunError::Bench(_)), "{error:?}");
    let error = run_with(&[], &scenario, 1, &mut Silent).unwrap_err();
    assert_eq!(
        error.to_string(),
        "no model was given of the part \"moorhen\""
    );
}
