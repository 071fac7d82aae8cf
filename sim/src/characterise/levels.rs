//! Levels at which a load stays: sleep, active, peak. They are found from how long the current
//! lay where, by the split of greatest variance between classes (Otsu 1979), on a logarithmic
//! scale, since asleep and awake are decades apart.

use super::report::Level;

/// Bins for each decade and each sign.
const PER_DECADE: usize = 40;
/// From 1 nA.
const DECADES: usize = 13;
/// Of each sign, after that of zero.
const SIDE: usize = PER_DECADE * DECADES;
/// Magnitudes so much smaller than the greatest are one level.
const FLOOR: f64 = 1e-5;
/// Means of neighbours stand apart by this part of a decade, a factor of 1.5, at least.
const APART: f64 = 0.176;

/// Time, charge and energy by magnitude and sign of the current.
pub(super) struct Levels {
    bins: Vec<Bin>,
}

#[derive(Clone, Copy, Default)]
struct Bin {
    time_s: f64,
    charge_c: f64,
    energy_j: f64,
    readings: u64,
    /// Readings on the way from one level to another.
    passing: u64,
}

/// Where the classes end, as bins: each one's first bin.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Classes {
    begins: Vec<usize>,
}

fn bin(current_a: f64) -> usize {
    let decades = (current_a.abs() * 1e9).log10();
    let magnitude = match decades >= 0.0 {
        true => 1 + ((decades * PER_DECADE as f64) as usize).min(SIDE - 1),
        false => 0,
    };
    if current_a < 0.0 {
        SIDE - magnitude
    } else {
        SIDE + magnitude
    }
}

impl Levels {
    pub(super) fn new() -> Self {
        Self {
            bins: vec![Bin::default(); 2 * SIDE + 1],
        }
    }

    /// A reading that stands for so long; whether it lies on the way from one level to another.
    pub(super) fn take(&mut self, current_a: f64, power_w: f64, time_s: f64, is_passing: bool) {
        let bin = &mut self.bins[bin(current_a)];
        bin.time_s += time_s;
        bin.charge_c += current_a * time_s;
        bin.energy_j += power_w * time_s;
        bin.readings += 1;
        bin.passing += u64::from(is_passing);
    }

    /// One class, or two or three that stand apart.
    pub(super) fn classes(&self, greatest_a: f64) -> Classes {
        let floor = bin(greatest_a * FLOOR) - SIDE;
        // Decades above the floor, signed.
        let place = |at: usize| {
            let magnitude = at.abs_diff(SIDE).saturating_sub(floor) as f64 / PER_DECADE as f64;
            if at < SIDE { -magnitude } else { magnitude }
        };
        let used: Vec<(usize, f64, f64)> = (0..self.bins.len())
            .filter(|at| self.bins[*at].readings > 0)
            .map(|at| (at, place(at), self.bins[at].time_s))
            .collect();
        // Sums of weight, weight × place, weight × place² up to each bin.
        let mut sums = vec![[0.0; 3]];
        for (_, place, weight) in &used {
            let [w, x, xx] = sums[sums.len() - 1];
            sums.push([w + weight, x + weight * place, xx + weight * place * place]);
        }
        let class = |from: usize, to: usize| {
            let [w, x, xx] = std::array::from_fn(|k| sums[to][k] - sums[from][k]);
            let mean = if w > 0.0 { x / w } else { 0.0 };
            let square = if w > 0.0 {
                (xx / w - mean * mean).max(0.0)
            } else {
                0.0
            };
            (w, mean, square.sqrt())
        };
        let between = |ends: &[usize]| -> f64 {
            let parts = ends.windows(2).map(|ends| class(ends[0], ends[1]));
            parts.map(|(w, mean, _)| w * mean * mean).sum()
        };
        let stand_apart = |ends: &[usize]| {
            let parts: Vec<_> = ends
                .windows(2)
                .map(|ends| class(ends[0], ends[1]))
                .collect();
            parts.windows(2).all(|two| {
                let (low, high) = (two[0], two[1]);
                let apart = high.1 - low.1;
                low.0 > 0.0 && high.0 > 0.0 && apart >= APART.max(2.0 * (low.2 + high.2))
            })
        };
        // A class of which most is passed through is no level.
        let is_stayed_at = |from: usize, to: usize| {
            let bins = used[from..to].iter().map(|(at, ..)| &self.bins[*at]);
            let (readings, passing) = bins.fold((0, 0), |(readings, passing), bin| {
                (readings + bin.readings, passing + bin.passing)
            });
            2 * passing <= readings
        };
        let count = used.len();
        let best = |splits: Vec<Vec<usize>>| {
            let mut apart: Vec<_> = splits
                .into_iter()
                .filter(|ends| stand_apart(ends))
                .collect();
            apart.sort_by(|one, other| between(other).total_cmp(&between(one)));
            let all =
                |ends: &&Vec<usize>| ends.windows(2).all(|ends| is_stayed_at(ends[0], ends[1]));
            apart.iter().find(all).cloned()
        };
        let three =
            (1..count).flat_map(|one| (one + 1..count).map(move |two| vec![0, one, two, count]));
        let two = (1..count).map(|one| vec![0, one, count]);
        let ends = best(three.collect()).or_else(|| best(two.collect()));
        let ends = ends.unwrap_or_else(|| vec![0, count]);
        Classes {
            begins: ends[..ends.len() - 1]
                .iter()
                .map(|end| used[*end].0)
                .collect(),
        }
    }

    /// What each class comes to.
    pub(super) fn levels(&self, classes: &Classes) -> Vec<Level> {
        let all_s: f64 = self.bins.iter().map(|bin| bin.time_s).sum();
        let all_j: f64 = self.bins.iter().map(|bin| bin.energy_j.abs()).sum();
        let count = classes.begins.len();
        let level = |number: usize| {
            let begin = if number == 0 {
                0
            } else {
                classes.begins[number]
            };
            let end = classes
                .begins
                .get(number + 1)
                .copied()
                .unwrap_or(self.bins.len());
            let bins = &self.bins[begin..end];
            let sum = |of: fn(&Bin) -> f64| bins.iter().map(of).sum::<f64>();
            let (time_s, charge_c) = (sum(|bin| bin.time_s), sum(|bin| bin.charge_c));
            let share = |part: f64, all: f64| if all > 0.0 { part / all } else { 0.0 };
            Level {
                name: "",
                mean_current_a: share(charge_c, time_s),
                time_share: share(time_s, all_s),
                energy_share: share(sum(|bin| bin.energy_j.abs()), all_j),
                visits: 0,
                of_one_reading: 0,
            }
        };
        let mut levels: Vec<_> = (0..count).map(level).collect();
        let back = levels
            .iter()
            .take_while(|level| level.mean_current_a < 0.0)
            .count();
        for (number, level) in levels.iter_mut().enumerate() {
            level.name = name(number, back, count);
        }
        levels
    }
}

/// Of a level, of which the lowest so many flow back.
fn name(number: usize, back: usize, count: usize) -> &'static str {
    match (number.checked_sub(back), count - back) {
        (None, _) => "back",
        (_, 1) => "active",
        (Some(0), _) => "sleep",
        (Some(1), _) => "active",
        _ => "peak",
    }
}

impl Classes {
    pub(super) fn count(&self) -> usize {
        self.begins.len()
    }

    /// The class of a current.
    pub(super) fn of(&self, current_a: f64) -> usize {
        let bin = bin(current_a);
        let mut later = self.begins.iter().skip(1);
        later
            .position(|begin| bin < *begin)
            .unwrap_or(self.begins.len() - 1)
    }
}
