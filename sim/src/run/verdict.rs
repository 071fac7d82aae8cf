use schemars::JsonSchema;
use serde::Serialize;

use super::reactions::AlertReport;
use super::report::{Figure, RailReport};
use crate::quantity::spoken;

/// What a run comes to, in one line.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Verdict {
    /// Whether every total lies within its bound, and every reaction came within its own.
    pub holds: bool,
    /// The greatest share of a bound that a total uses; none where no total has one.
    pub greatest_share: Option<f64>,
    /// Whose it is, such as "DRIVE charge".
    pub of: Option<String>,
    /// What does not hold, each with its rail.
    pub outside: Vec<String>,
}

impl Verdict {
    /// Of the rails with these names, each with what it is to be called.
    pub(super) fn new(
        names: &[(&str, String)],
        rails: &[RailReport],
        alerts: &[AlertReport],
    ) -> Self {
        let called = |name: &str| {
            let mut names = names.iter();
            let found = names.find(|(other, _)| *other == name);
            found.map_or_else(|| name.to_owned(), |(_, called)| called.clone())
        };
        let totals = || {
            rails
                .iter()
                .flat_map(|rail| totals(rail, &called(&rail.name)))
        };
        let share = |figure: &Figure| {
            let bounded = figure.saturation == "none" && figure.bound > 0.0;
            bounded.then(|| figure.difference.abs() / figure.bound)
        };
        let greatest = totals()
            .filter_map(|(name, figure)| Some((name, share(figure)?)))
            .max_by(|(_, one), (_, other)| one.total_cmp(other));
        let is_measured = |name: &str| rails.iter().any(|rail| rail.name == name);
        let unmeasured = names.iter().filter(|(name, _)| !is_measured(name));
        let mut outside: Vec<String> = unmeasured
            .map(|(_, called)| format!("{called} was never measured"))
            .collect();
        let beyond = totals().filter(|(_, figure)| !figure.within);
        outside.extend(beyond.map(|(name, _)| format!("{name} lies outside its bound")));
        for alert in alerts {
            let of = format!("{} of {}", spoken(alert.kind), called(&alert.rail));
            let steps = [
                (
                    "limit to edge",
                    alert.crossing_to_edge_s,
                    alert.crossing_to_edge_bound_s,
                ),
                (
                    "edge to event",
                    alert.edge_to_event_s,
                    alert.edge_to_event_bound_s,
                ),
            ];
            for (step, took_s, bound_s) in steps {
                let told = format!("{of}: {step} takes longer than its bound");
                if took_s.is_some_and(|took_s| took_s > bound_s) && !outside.contains(&told) {
                    outside.push(told);
                }
            }
        }
        Self {
            holds: outside.is_empty(),
            greatest_share: greatest.as_ref().map(|(_, share)| *share),
            of: greatest.map(|(name, _)| name),
            outside,
        }
    }
}

fn totals<'r>(rail: &'r RailReport, called: &str) -> [(String, &'r Figure); 2] {
    [
        (format!("{called} energy"), &rail.energy_j),
        (format!("{called} charge"), &rail.charge_c),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::Parts;

    fn figure(difference: f64, bound: f64, within: bool) -> Figure {
        Figure {
            measured: 1.0 + difference,
            by_part_clock: 1.0,
            truth: 1.0,
            difference,
            bound,
            bound_parts: Parts::default(),
            saturation: "none",
            within,
        }
    }

    fn rail(name: &str, energy_j: Figure, charge_c: Figure) -> RailReport {
        RailReport {
            name: name.to_owned(),
            part: "Corncrake".to_owned(),
            channel: 0,
            duration_s: 1.0,
            energy_j,
            charge_c,
            voltage_v: None,
            current_a: None,
            power_w: None,
            mean_current_a: 1.0,
            mean_power_w: 1.0,
        }
    }

    fn called(name: &str) -> (&str, String) {
        (name, name.to_owned())
    }

    fn alert(crossing_to_edge_s: Option<f64>, edge_to_event_s: Option<f64>) -> AlertReport {
        AlertReport {
            time_s: 1.0,
            rail: "TWO".to_owned(),
            kind: "over_current",
            output: "A",
            value: None,
            limit: None,
            crossing_to_edge_s,
            crossing_to_edge_bound_s: 0.010,
            edge_to_event_s,
            edge_to_event_bound_s: 0.005,
        }
    }

    #[test]
    fn the_greatest_share_is_told_with_its_rail() {
        let one = rail("ONE", figure(0.1, 1.0, true), figure(-0.3, 1.0, true));
        let two = rail("TWO", figure(-0.2, 0.4, true), figure(0.0, 1.0, true));
        let verdict = Verdict::new(
            &[called("ONE"), ("TWO", "TWO on CABIN".to_owned())],
            &[one, two],
            &[alert(Some(0.010), Some(0.005))],
        );
        assert!(verdict.holds && verdict.outside.is_empty());
        assert_eq!(verdict.greatest_share, Some(0.5));
        assert_eq!(verdict.of.as_deref(), Some("TWO on CABIN energy"));
    }

    #[test]
    fn a_total_outside_its_bound_fails_the_run() {
        let far_too_low = rail("ONE", figure(-2.0, 1.0, false), figure(0.0, 1.0, true));
        let verdict = Verdict::new(&[called("ONE")], &[far_too_low], &[]);
        assert!(!verdict.holds);
        assert_eq!(verdict.outside, ["ONE energy lies outside its bound"]);
    }

    #[test]
    fn a_rail_that_was_never_measured_fails_the_run() {
        let one = rail("ONE", figure(0.0, 1.0, true), figure(0.0, 1.0, true));
        let verdict = Verdict::new(&[called("ONE"), called("TWO")], &[one], &[]);
        assert!(!verdict.holds);
        assert_eq!(verdict.outside, ["TWO was never measured"]);
    }

    #[test]
    fn a_reaction_above_its_bound_fails_the_run() {
        let all_well = || rail("TWO", figure(0.0, 1.0, true), figure(0.0, 1.0, true));
        let late = [alert(Some(0.0101), None), alert(Some(0.02), None)];
        let verdict = Verdict::new(&[called("TWO")], &[all_well()], &late);
        let told = "over-current of TWO: limit to edge takes longer than its bound";
        assert_eq!(
            (verdict.holds, verdict.outside),
            (false, vec![told.to_owned()])
        );
        let verdict = Verdict::new(
            &[called("TWO")],
            &[all_well()],
            &[alert(None, Some(0.0051))],
        );
        let told = "over-current of TWO: edge to event takes longer than its bound";
        assert_eq!(
            (verdict.holds, verdict.outside),
            (false, vec![told.to_owned()])
        );
    }
}
