//! Truth of switched rails against exact rational arithmetic.

use super::*;

/// Straight from (0, `from`) to (`length_ns`, `to`), level from there on, and never rounded.
struct Ramp {
    from: i64,
    to: i64,
    length_ns: u64,
}

impl Ramp {
    fn at(&self, ns: u64) -> BigRational {
        let share = BigRational::new(ns.min(self.length_ns).into(), self.length_ns.into());
        exact(self.from) + (exact(self.to) - exact(self.from)) * share
    }

    fn profile(&self) -> Recorded {
        Recorded::ramp((0, self.from), (self.length_ns, self.to)).expect("a ramp")
    }
}

/// Charge and energy of a rail by its definition, in whole rationals: a ramp of current always on,
/// constant loads behind switches, a ramp of voltage behind an impedance.
struct Definition {
    load: Ramp,
    source: Ramp,
    impedance_uohm: u64,
    switched_na: Vec<i64>,
}

impl Definition {
    /// Current and voltage where a piece begins or ends, rounded as the rail's documentation says.
    /// The loads were asked at `asked_ns` and answered with a straight line from there to the end
    /// of the ramp.
    fn ends(&self, asked_ns: u64, at_ns: u64, on: &[bool]) -> [BigRational; 2] {
        let switched = on.iter().zip(&self.switched_na).filter(|(on, _)| **on);
        let switched: i64 = switched.map(|(_, na)| na).sum();
        let start = nearest(&self.load.at(asked_ns));
        let ramp = if asked_ns < self.load.length_ns {
            let length = exact(self.load.length_ns - asked_ns);
            let change = exact(self.load.to) - &start;
            nearest(&(start + change * exact(at_ns - asked_ns) / length))
        } else {
            start
        };
        let current = ramp + exact(switched);
        let drop = &current * exact(self.impedance_uohm) / exact(1_000_000);
        let voltage = nearest(&self.source.at(at_ns)) - nearest(&drop);
        [current, voltage]
    }

    /// Charge in halves and energy in sixths until `until_ns`; `changes` are the moments from which
    /// the switches are as listed, the first of them 0.
    fn totals(&self, changes: &[(u64, Vec<bool>)], until_ns: u64) -> [BigRational; 2] {
        let mut totals = [exact(0), exact(0)];
        for (index, (changed_ns, on)) in changes.iter().enumerate() {
            let next_ns = changes.get(index + 1).map_or(u64::MAX, |next| next.0);
            let mut from_ns = *changed_ns;
            while from_ns < next_ns.min(until_ns) {
                // Straight up to where a ramp ends, if that is still ahead.
                let ramps = [self.load.length_ns, self.source.length_ns];
                let ends = ramps.into_iter().filter(|&end| end > from_ns).min();
                let line_to_ns = ends.unwrap_or(from_ns + 1_000_000_000_000);
                let held_to_ns = line_to_ns.min(next_ns).min(until_ns);
                let asked_ns = match self.load.length_ns {
                    end if end <= from_ns => end.max(*changed_ns),
                    _ => *changed_ns,
                };
                let [i0, v0] = self.ends(asked_ns, from_ns, on);
                let [i1, v1] = self.ends(asked_ns, line_to_ns, on);
                let length = exact(line_to_ns - from_ns);
                let (a, b) = ((i1 - &i0) / &length, (v1 - &v0) / &length);
                let x = exact(held_to_ns - from_ns);
                totals[0] += exact(2) * &i0 * &x + &a * &x * &x;
                totals[1] += exact(6) * &i0 * &v0 * &x
                    + exact(3) * (&i0 * &b + &v0 * &a) * &x * &x
                    + exact(2) * a * b * &x * &x * &x;
                from_ns = held_to_ns;
            }
        }
        totals
    }
}

/// Goal: truth is the integral of the definition wherever switches act, whenever and however often
/// anybody asks. Method: random rails; random moments at which up to three switches change or the
/// truth is asked for, now or up to 1 ms back. Each cut may round its total once, by half a unit.
#[test]
fn truth_of_switched_rails_is_the_integral_by_definition() {
    for seed in 0..40 {
        let mut dice = Rng::new(seed).stream("switched rails");
        let mut within = |least: i64, greatest: i64| {
            least + dice.below((greatest - least + 1).unsigned_abs()) as i64
        };
        let flat = within(0, 2) == 0;
        let mut ramp = |most: i64| {
            let (from, to) = (within(-most, most), within(-most, most));
            Ramp {
                from,
                to: if flat { from } else { to },
                length_ns: within(1, 40_000_000).unsigned_abs(),
            }
        };
        let definition = Definition {
            load: ramp(3 * AMPERE),
            source: ramp(20 * VOLT),
            impedance_uohm: within(0, 500_000).unsigned_abs(),
            switched_na: (0..3).map(|_| within(-AMPERE, 5 * AMPERE)).collect(),
        };
        let bench = Bench::new(seed);
        let mut on: Vec<bool> = (0..3).map(|_| within(0, 1) == 1).collect();
        let mut switches: Vec<Switch> = on
            .iter()
            .map(|&on| {
                if on {
                    Switch::closed(bench.clock())
                } else {
                    Switch::open(bench.clock())
                }
            })
            .collect();
        let mut loads = vec![Load::of(definition.load.profile())];
        for (switch, &na) in switches.iter().zip(&definition.switched_na) {
            loads.push(Load::of(constant(na)).behind(switch));
        }
        let source = Source::of(definition.source.profile());
        let source = source
            .behind_microohms(definition.impedance_uohm)
            .expect("impedance");
        let mut rail = Switched::new(source, loads).expect("rail");

        let mut changes = vec![(0, on.clone())];
        for _ in 0..60 {
            bench.run_for(Duration::from_nanos(within(0, 1_500_000).unsigned_abs()));
            let now_ns = bench.now_ns();
            let which = within(0, 5) as usize;
            if let Some(switch) = switches.get_mut(which) {
                on[which] = !on[which];
                switch.set_state(on[which].into()).expect("never fails");
                changes.push((now_ns, on.clone()));
                continue;
            }
            let back_ns = within(0, 1_000_000).unsigned_abs();
            let asked = if which == 3 {
                [now_ns, now_ns.saturating_sub(back_ns)]
            } else {
                [now_ns; 2]
            };
            for at_ns in asked {
                let truth = rail.truth(at_ns);
                let expected = definition.totals(&changes, at_ns);
                let cuts = if flat { 0 } else { changes.len() };
                let tolerance = BigRational::new(cuts.into(), 2.into());
                let got = [truth.charge_half_na_ns, truth.energy_sixth_na_nv_ns];
                for (got, expected) in got.into_iter().zip(expected) {
                    let apart = exact(got) - &expected;
                    assert!(
                        apart <= tolerance && -apart <= tolerance,
                        "seed {seed} at {at_ns}: {got} for {expected}"
                    );
                }
            }
        }
    }
}
