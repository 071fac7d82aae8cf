use std::fmt::Write;

use super::number::shortest;

/// A value at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When, in seconds; finite.
    pub time_s: f64,
    /// The value in its chart's unit; finite.
    pub value: f64,
    /// How far it may be off, either way, in the same unit; none where nothing is claimed.
    pub bound: Option<f64>,
}

/// A curve that keeps its peaks, however many points it is given: where they become too many, time
/// is cut into bins of equal length, and of each the least and the greatest value stay. The last
/// point stays as well: a total ends where it has come to.
///
/// Takes some 260 kB at the most.
#[derive(Clone, Debug, Default)]
pub struct Series {
    points: Vec<Point>,
    /// Length of a bin in seconds, a power of two, so that bins merge into whole ones.
    bin_s: Option<f64>,
    given: u64,
}

/// Points that a curve keeps: some ten for each pixel of a screen.
const KEPT_MAX: usize = 8_192;

/// Digits of a value that is drawn, and of a bound.
const DIGITS: (usize, usize) = (8, 4);

impl Series {
    /// Without a point.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a point. Times do not fall; one that does goes to where the curve has come to.
    pub fn push(&mut self, point: Point) {
        self.given += 1;
        match self.bin_s {
            None => self.points.push(point),
            Some(bin_s) => {
                if let Some(last) = self.points.pop() {
                    self.merge(last, bin_s);
                }
                self.points.push(point);
            }
        }
        if self.points.len() > KEPT_MAX {
            self.coarsen();
        }
    }

    /// How many points it was given.
    #[must_use]
    pub const fn given(&self) -> u64 {
        self.given
    }

    /// What it keeps, by time.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// Length of a bin in seconds, of which the least and the greatest value are kept; none where
    /// every point is.
    #[must_use]
    pub const fn bin_s(&self) -> Option<f64> {
        self.bin_s
    }

    /// The points with the least and the greatest value; none without a point.
    #[must_use]
    pub fn extremes(&self) -> Option<[Point; 2]> {
        extremes(self.points.iter())
    }

    /// The same from one moment until before another.
    #[must_use]
    pub fn extremes_within(&self, from_s: f64, to_s: f64) -> Option<[Point; 2]> {
        let within = |point: &&Point| (from_s..to_s).contains(&point.time_s);
        extremes(self.points.iter().filter(within))
    }

    /// Adds a point to the last bin or to one of its own.
    fn merge(&mut self, point: Point, bin_s: f64) {
        let bin = |point: &Point| (point.time_s / bin_s).floor();
        let [.., one, other] = self.points[..] else {
            self.points.push(point);
            return;
        };
        if bin(&one) != bin(&point) {
            self.points.push(point);
            return;
        }
        let three = [one, other, point];
        let place = |of: Point| three.iter().position(|it| *it == of).unwrap_or(0);
        let [least, greatest] = extremes(three.iter()).map_or([0, 2], |both| both.map(place));
        let (first, last) = match least.cmp(&greatest) {
            std::cmp::Ordering::Less => (least, greatest),
            std::cmp::Ordering::Greater => (greatest, least),
            // All alike: where it begins and where it has come to.
            std::cmp::Ordering::Equal => (0, 2),
        };
        let kept = self.points.len() - 2;
        self.points[kept] = three[first];
        self.points[kept + 1] = three[last];
    }

    /// Makes bins longer until half of the points are gone.
    fn coarsen(&mut self) {
        let [first, .., last] = self.points[..] else {
            return;
        };
        let span_s = (last.time_s - first.time_s).max(f64::MIN_POSITIVE);
        let mut bin_s = self.bin_s.map_or_else(
            || (span_s / KEPT_MAX as f64).log2().ceil().exp2(),
            |bin_s| 2.0 * bin_s,
        );
        self.points.pop();
        while self.points.len() > KEPT_MAX / 2 {
            for point in std::mem::take(&mut self.points) {
                self.merge(point, bin_s);
            }
            self.bin_s = Some(bin_s);
            bin_s *= 2.0;
        }
        self.points.push(last);
    }

    /// As JSON: arrays of times, values and bounds; no times where they are `times`.
    pub(super) fn json(&self, times: Option<&Self>, out: &mut String) {
        let mut list = |name: &str, of: &dyn Fn(&Point) -> Option<f64>, digits: usize| {
            // Writing to a string cannot fail.
            let _ = write!(out, "\"{name}\":[");
            for (place, point) in self.points.iter().enumerate() {
                if place > 0 {
                    out.push(',');
                }
                match of(point) {
                    Some(value) => shortest(value, digits, out),
                    None => out.push_str("null"),
                }
            }
            out.push_str("],");
        };
        let alike = times.is_some_and(|other| {
            let same = |(one, other): (&Point, &Point)| one.time_s == other.time_s;
            other.points.len() == self.points.len()
                && self.points.iter().zip(&other.points).all(same)
        });
        if !alike {
            list("t", &|point| Some(point.time_s), 12);
        }
        list("v", &|point| Some(point.value), DIGITS.0);
        if self.points.iter().any(|point| point.bound.is_some()) {
            list("b", &|point| point.bound, DIGITS.1);
        }
        let _ = write!(out, "\"given\":{}", self.given);
    }
}

fn extremes<'p>(mut points: impl Iterator<Item = &'p Point>) -> Option<[Point; 2]> {
    let first = *points.next()?;
    let wider = |[least, greatest]: [Point; 2], point: &Point| {
        [
            if point.value < least.value {
                *point
            } else {
                least
            },
            if point.value > greatest.value {
                *point
            } else {
                greatest
            },
        ]
    };
    Some(points.fold([first; 2], wider))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(time_s: f64, value: f64) -> Point {
        Point {
            time_s,
            value,
            bound: Some(0.25),
        }
    }

    #[test]
    fn few_points_stay_as_they_are() {
        let mut series = Series::new();
        let points: Vec<Point> = (0..100).map(|n| point(f64::from(n), 1.0)).collect();
        points.iter().for_each(|one| series.push(*one));
        assert_eq!(series.points(), points);
        assert_eq!((series.given(), series.bin_s()), (100, None));
    }

    /// A day at a sample a second with a peak of one sample up and one down: both are kept, with
    /// their moments, and so is the end, which is neither least nor greatest of its bin.
    #[test]
    fn a_peak_of_one_sample_survives() {
        let mut series = Series::new();
        for n in 0..86_400 {
            let value = match n {
                50_001 => 7.0,
                50_003 => -7.0,
                86_399 => 0.45,
                n => f64::from(n % 10) / 10.0,
            };
            series.push(point(f64::from(n), value));
        }
        let [least, greatest] = series.extremes().unwrap();
        assert_eq!(
            (least, greatest),
            (point(50_003.0, -7.0), point(50_001.0, 7.0))
        );
        let kept = series.points().len();
        assert!((KEPT_MAX / 4..=KEPT_MAX).contains(&kept), "{kept}");
        let rising = |pair: &[Point]| pair[0].time_s <= pair[1].time_s;
        assert!(series.points().windows(2).all(rising));
        // Each bin has the least and the greatest of its own, in the order in which they came.
        let bin_s = series.bin_s().unwrap();
        let within = |at: f64| (at / bin_s).floor() == (50_001.0 / bin_s).floor();
        let bin: Vec<_> = series
            .points()
            .iter()
            .filter(|it| within(it.time_s))
            .collect();
        assert_eq!(bin, [&point(50_001.0, 7.0), &point(50_003.0, -7.0)]);
        assert_eq!(series.points().last(), Some(&point(86_399.0, 0.45)));
    }

    /// Bursts with hours of nothing between them: bins are of time, and the memory is bounded.
    #[test]
    fn irregular_times_keep_the_bound() {
        let mut series = Series::new();
        for burst in 0..40 {
            for n in 0..2_000 {
                let at = f64::from(burst) * 10_000.0 + f64::from(n) / 1_000.0;
                series.push(point(at, f64::from(n)));
                assert!(series.points().len() <= KEPT_MAX);
            }
        }
        for burst in 0..40 {
            let from = f64::from(burst) * 10_000.0;
            let [least, greatest] = series.extremes_within(from, from + 10_000.0).unwrap();
            assert_eq!((least.value, greatest.value), (0.0, 1_999.0));
        }
    }
}
