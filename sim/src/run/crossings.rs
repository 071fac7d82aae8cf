//! When a rail really passes a limit: worked out from its trajectory, for the time that an alert
//! takes to be compared with.

use crate::plant::{Piece, PlantError};
use crate::scenario::{AlertKind, AlertPlan, RailPlan};

/// Stretches, in rising order, during which the rail's true value lies beyond the limit by more
/// than `margin`, in nanoseconds: from the crossing to the return.
///
/// `margin` in nano-units is what instrument and board may be off by: within it an output may speak
/// early, late or not at all.
pub(super) fn excursions(
    plan: &RailPlan,
    alert: &AlertPlan,
    margin: i64,
    until_ns: u64,
) -> Result<Vec<(u64, u64)>, PlantError> {
    let mut rail = plan.rail()?;
    let mut excursions: Vec<(u64, u64)> = Vec::new();
    let (mut at_ns, mut beyond) = (0, false);
    while at_ns < until_ns {
        let Some(piece) = rail.piece(at_ns) else {
            break;
        };
        let curve = Curve::new(&piece, alert, margin);
        for x in curve.turns() {
            // A moment after the turn tells on which side the value goes on.
            let after = curve.is_beyond(x);
            let turn_ns = piece.from_ns + (x * curve.length_ns) as u64;
            match (beyond, after) {
                (false, true) => excursions.push((turn_ns, until_ns)),
                (true, false) => {
                    if let Some(last) = excursions.last_mut() {
                        last.1 = turn_ns;
                    }
                }
                _ => {}
            }
            beyond = after;
        }
        at_ns = piece.to_ns;
    }
    Ok(excursions)
}

/// `a x² + b x + c` over a piece, x from 0 to 1: how far beyond the limit the value is.
struct Curve {
    a: f64,
    b: f64,
    c: f64,
    length_ns: f64,
}

impl Curve {
    fn new(piece: &Piece, alert: &AlertPlan, margin: i64) -> Self {
        let (i0, i1) = (piece.start_na as f64, piece.end_na as f64);
        let (v0, v1) = (piece.start_nv as f64, piece.end_nv as f64);
        // nA × nV = 1e-9 nW.
        let (a, b, c) = match alert.kind {
            AlertKind::OverVoltage | AlertKind::UnderVoltage => (0.0, v1 - v0, v0),
            AlertKind::OverCurrent | AlertKind::UnderCurrent => (0.0, i1 - i0, i0),
            AlertKind::OverPower => (
                (i1 - i0) * (v1 - v0) / 1e9,
                (i0 * (v1 - v0) + v0 * (i1 - i0)) / 1e9,
                i0 * v0 / 1e9,
            ),
        };
        let sign = match alert.kind {
            AlertKind::UnderVoltage | AlertKind::UnderCurrent => -1.0,
            _ => 1.0,
        };
        let length_ns = (piece.to_ns - piece.from_ns) as f64;
        Self {
            a: sign * a,
            b: sign * b,
            c: sign * (c - alert.limit as f64) - margin as f64,
            length_ns,
        }
    }

    /// The piece's beginning, and where the value passes the limit within it, rising.
    fn turns(&self) -> Vec<f64> {
        let mut turns = vec![0.0];
        // Where there is no root it is infinite or no number, and lies in no range.
        let roots = if self.a == 0.0 {
            vec![-self.c / self.b]
        } else {
            let root = (self.b * self.b - 4.0 * self.a * self.c).sqrt();
            let roots = [-root, root].map(|root| (root - self.b) / (2.0 * self.a));
            roots.to_vec()
        };
        turns.extend(roots.into_iter().filter(|x| (0.0..1.0).contains(x)));
        turns.sort_by(f64::total_cmp);
        turns
    }

    /// Whether the value lies beyond the limit just after `x`: there, or about to.
    fn is_beyond(&self, x: f64) -> bool {
        let after = x + 1e-9;
        (self.a * after + self.b) * after + self.c > 0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;

    fn piece(i: (i64, i64), v: (i64, i64)) -> Piece {
        Piece {
            from_ns: 1_000,
            to_ns: 2_000,
            start_na: i.0,
            end_na: i.1,
            start_nv: v.0,
            end_nv: v.1,
        }
    }

    fn alert(kind: AlertKind, limit: i64) -> AlertPlan {
        AlertPlan {
            line: 1,
            kind,
            limit,
            debounce: 1,
            latching: true,
            output: crate::scenario::Route::A,
            hysteresis: None,
            look_again_ns: None,
        }
    }

    #[test]
    fn a_ramp_passes_where_the_straight_line_does() {
        let over = Curve::new(
            &piece((0, 100), (0, 0)),
            &alert(AlertKind::OverCurrent, 20),
            5,
        );
        assert_eq!(over.turns(), [0.0, 0.25]);
        assert!(!over.is_beyond(0.0) && over.is_beyond(0.25));
        let under = Curve::new(
            &piece((0, 100), (0, 0)),
            &alert(AlertKind::UnderCurrent, 30),
            5,
        );
        assert!(under.is_beyond(0.0) && !under.is_beyond(0.25));
    }

    #[test]
    fn power_passes_where_the_product_does() {
        // From 0 A to 4 A while 3 V fall to 1 V: P = 4x (3 - 2x) W is above 4 W between x = 1/2 and
        // x = 1.
        let amps = (0, 4_000_000_000);
        let volts = (3_000_000_000, 1_000_000_000);
        let curve = Curve::new(
            &piece(amps, volts),
            &alert(AlertKind::OverPower, 4_000_000_000),
            0,
        );
        assert_eq!(curve.turns(), [0.0, 0.5]);
        assert!(curve.is_beyond(0.5));
    }

    const END: u64 = 2_000_000_000;

    /// With this source and load, and a limit of one kind.
    fn found(source: &str, load: &str, limit: &str) -> Vec<(u64, u64)> {
        let text = format!(
            "title = \"t\"\nduration_s = 2\n[[rail]]\nname = \"A\"\n\
             sense.resistance_ohm = 0.005\nsource = {{ {source} }}\nload = {{ {load} }}\n\
             [[rail.alert]]\n{limit}\noutput = \"A\"\n"
        );
        let scenario = Scenario::parse(&text, "case.toml").expect("a scenario");
        let rail = &scenario.rails[0];
        excursions(rail, &rail.alerts[0], 0, END).expect("a rail")
    }

    fn near(found: &[(u64, u64)], expected: &[(u64, u64)]) {
        let close = |one: u64, other: u64| one.abs_diff(other) <= 2;
        let all = found.iter().zip(expected);
        let same = all.clone().all(|(a, b)| close(a.0, b.0) && close(a.1, b.1));
        assert!(
            same && found.len() == expected.len(),
            "{found:?}, not {expected:?}"
        );
    }

    const RISING: &str = "kind = \"ramp\", start_s = 0, from_a = 0, end_s = 1, to_a = 10";
    const FALLING: &str = "kind = \"ramp\", start_s = 0, from_v = 10, end_s = 1, to_v = 0";

    /// By hand: 10 V fall to none while none rises to 10 A, 100 x (1 − x) W, which are 16 W at
    /// 0.2 s and 0.8 s; and 10 x A are 2.5 A at 0.25 s.
    #[test]
    fn a_power_that_rises_and_falls_passes_twice() {
        let power = found(FALLING, RISING, "kind = \"over_power\"\nlimit_w = 16");
        near(&power, &[(200_000_000, 800_000_000)]);
        let under = found(FALLING, RISING, "kind = \"under_current\"\nlimit_a = 2.5");
        near(&under, &[(0, 250_000_000)]);
    }

    /// A ramp of 10 A a second is above 0.05 A, and so is the power of 5 V above 0.25 W, from 5 ms
    /// on: near the beginning of a piece is within it.
    #[test]
    fn a_limit_near_the_beginning_is_passed_there() {
        let source = "voltage_v = 5";
        let current = found(source, RISING, "kind = \"over_current\"\nlimit_a = 0.05");
        near(&current, &[(5_000_000, END)]);
        let power = found(source, RISING, "kind = \"over_power\"\nlimit_w = 0.25");
        near(&power, &[(5_000_000, END)]);
    }

    /// What stands at its limit is not beyond it.
    #[test]
    fn a_value_at_its_limit_has_not_passed() {
        let at = found(
            "voltage_v = 5",
            "current_a = 1",
            "kind = \"over_current\"\nlimit_a = 1",
        );
        near(&at, &[]);
        let above = found(
            "voltage_v = 5",
            "current_a = 1",
            "kind = \"over_current\"\nlimit_a = 0.999",
        );
        near(&above, &[(0, END)]);
        let power = |limit_w| {
            let limit = format!("kind = \"over_power\"\nlimit_w = {limit_w}");
            found("voltage_v = 5", "current_a = 1", &limit)
        };
        near(&power(5.0), &[]);
        near(&power(4.999), &[(0, END)]);
        // Nor what passes it when all is over.
        let load = "kind = \"steps\", initial_a = 0, steps = [[2, 2]]";
        let over = found(
            "voltage_v = 5",
            load,
            "kind = \"over_current\"\nlimit_a = 1",
        );
        near(&over, &[]);
    }
}
