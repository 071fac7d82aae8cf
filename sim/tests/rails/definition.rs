//! What a rail is by definition, in exact rational arithmetic.

use crake_sim::plant::{Bounds, Profile, Section, Truth};
use num_bigint::BigInt;
use num_rational::BigRational;

pub type Exact = BigRational;

pub fn exact(value: impl Into<BigInt>) -> Exact {
    Exact::from_integer(value.into())
}

/// Rounded to nearest, halves towards plus infinity: the rule of the rail's break points.
fn nearest(value: &Exact) -> BigInt {
    (value + Exact::new(1.into(), 2.into()))
        .floor()
        .to_integer()
}

/// SplitMix64, from its authors' public-domain text; from memory.
pub struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, bound: u64) -> u64 {
        self.roll() % bound
    }

    /// Below 2^`bits`, small as often as great.
    pub fn of_any_size(&mut self, bits: u64) -> u64 {
        let bits = self.below(bits + 1);
        self.below(1 << bits)
    }

    pub fn within(&mut self, least: i64, greatest: i64) -> i64 {
        let span = u64::try_from(greatest - least).unwrap() + 1;
        least + i64::try_from(self.below(span)).unwrap()
    }
}

/// A profile that is nothing but its sections: jumps, slopes and levels of all lengths.
#[derive(Clone)]
pub struct Listed(pub Vec<Section>);

impl Listed {
    pub fn random(dice: &mut Dice, least: i64, greatest: i64, until_ns: u64) -> Self {
        let mut sections = Vec::new();
        let (mut from_ns, mut level) = (0, dice.within(least, greatest));
        while from_ns < until_ns {
            let to_ns = from_ns + 1 + dice.of_any_size(20);
            let jumps = dice.below(2) == 0;
            let start = if jumps {
                dice.within(least, greatest)
            } else {
                level
            };
            let flat = dice.below(3) == 0;
            let end = if flat {
                start
            } else {
                dice.within(least, greatest)
            };
            sections.push(Section {
                from_ns,
                to_ns,
                start,
                end,
            });
            (from_ns, level) = (to_ns, end);
        }
        Self(sections)
    }

    pub fn end_ns(&self) -> u64 {
        self.0.iter().map(|section| section.to_ns).max().unwrap()
    }

    /// Value at `at_ns` seen from the section that begins at or before it, as an exact number.
    pub fn exactly(&self, section_at_ns: u64, at_ns: u64) -> Exact {
        let section = self.section(section_at_ns);
        let length = exact(section.to_ns - section.from_ns);
        let change = exact(section.end) - exact(section.start);
        exact(section.start) + change * exact(at_ns - section.from_ns) / length
    }
}

impl Profile for Listed {
    fn section(&self, at_ns: u64) -> Section {
        let found = self.0.iter().find(|section| at_ns < section.to_ns);
        *found.unwrap()
    }

    fn bounds(&self) -> Bounds {
        let values = || {
            self.0
                .iter()
                .flat_map(|section| [section.start, section.end])
        };
        Bounds {
            least: values().min().unwrap(),
            greatest: values().max().unwrap(),
        }
    }
}

/// What a rail is by definition, worked out in rationals only.
pub struct Definition {
    /// Begin, end, current and voltage at both ends.
    pub stretches: Vec<(u64, u64, [Exact; 2], [Exact; 2])>,
}

impl Definition {
    pub fn new(load: &Listed, source: &Listed, impedance_uohm: u64) -> Self {
        let until_ns = load.end_ns().min(source.end_ns());
        let ends = load.0.iter().chain(&source.0).map(|section| section.to_ns);
        let mut breaks: Vec<u64> = ends
            .filter(|&end| end < until_ns)
            .chain([0, until_ns])
            .collect();
        breaks.sort_unstable();
        breaks.dedup();
        let stretch = |pair: &[u64]| {
            let (from, to) = (pair[0], pair[1]);
            let at = |at: u64| {
                let current = exact(nearest(&load.exactly(from, at)));
                let drop = &current * exact(impedance_uohm) / exact(1_000_000);
                let open = source.exactly(from, at);
                let voltage = exact(nearest(&open)) - exact(nearest(&drop));
                (current, voltage)
            };
            let ((i0, v0), (i1, v1)) = (at(from), at(to));
            (from, to, [i0, i1], [v0, v1])
        };
        Self {
            stretches: breaks.windows(2).map(stretch).collect(),
        }
    }

    /// Integrals of current, voltage and power over from..to.
    pub fn integrals(&self, from_ns: u64, to_ns: u64) -> [Exact; 3] {
        let mut sums = [exact(0), exact(0), exact(0)];
        for (begin, end, i, v) in &self.stretches {
            let (from, to) = (from_ns.max(*begin), to_ns.min(*end));
            if from >= to {
                continue;
            }
            let length = exact(end - begin);
            let at = |ends: &[Exact; 2], at: u64| {
                &ends[0] + (&ends[1] - &ends[0]) * exact(at - begin) / &length
            };
            let (i0, i1, v0, v1) = (at(i, from), at(i, to), at(v, from), at(v, to));
            let span = exact(to - from);
            sums[0] += (&i0 + &i1) * &span / exact(2);
            sums[1] += (&v0 + &v1) * &span / exact(2);
            let weighted = exact(2) * (&i0 * &v0 + &i1 * &v1) + &i0 * &v1 + &i1 * &v0;
            sums[2] += weighted * &span / exact(6);
        }
        sums
    }

    pub fn truth(&self, at_ns: u64) -> Truth {
        let [charge, _, energy] = self.integrals(0, at_ns);
        Truth {
            charge_half_na_ns: nearest(&(charge * exact(2))).try_into().unwrap(),
            energy_sixth_na_nv_ns: nearest(&(energy * exact(6))).try_into().unwrap(),
        }
    }
}

/// Asserts that `value` is `expected` to a few rounding steps of numbers as great as `scale`.
pub fn assert_close(value: f64, expected: &Exact, scale: i64) {
    let value = Exact::from_float(value).unwrap();
    let allowed = exact(scale) / exact(1_i64 << 49);
    let off = &value - expected;
    assert!(off <= allowed && -off <= allowed, "{value} for {expected}");
}
