use std::collections::VecDeque;

/// Counts the jumps of a quantity that goes straight from point to point.
///
/// A jump is a change of more than `smooth`, at once, or in one direction and most of it within one
/// scan: the part samples once a scan.
#[derive(Default)]
pub(super) struct Jumps {
    scan_ns: u64,
    /// What comes later counts for the number in an hour alone.
    until_ns: u64,
    smooth: i64,
    /// Where the last stretch ended.
    last: Option<i64>,
    run: Option<Run>,
    /// Moments of jumps within the last hour.
    within_hour: VecDeque<u64>,
    most_in_an_hour: u64,
    count: u64,
    /// Of them, before `until_ns`.
    count_until: u64,
    greatest: (i64, u64),
    ended_ns: u64,
}

/// Stretches that follow each other in one direction.
struct Run {
    from_ns: u64,
    start: i64,
    end: i64,
    /// What it has come to one scan after it began.
    within_scan: i64,
}

impl Jumps {
    pub(super) fn new(scan_ns: u64, smooth: i64, until_ns: u64) -> Self {
        Self {
            scan_ns,
            until_ns,
            smooth: smooth.max(ROUNDING),
            ..Self::default()
        }
    }

    /// The next stretch, from a moment and a value to others.
    pub(super) fn note(&mut self, (from_ns, start): (u64, i64), (to_ns, end): (u64, i64)) {
        let height = self.last.map(|last| (start - last).abs());
        let height = height.unwrap_or_default();
        if height > self.smooth {
            self.end_run();
            self.jump(from_ns, height);
        }
        self.last = Some(end);
        let goes_on = |run: &Run| (run.end - run.start).signum() == (end - start).signum();
        if !self.run.as_ref().is_some_and(goes_on) {
            self.end_run();
            if end == start {
                return;
            }
            self.run = Some(Run {
                from_ns,
                start,
                end: start,
                within_scan: start,
            });
        }
        if let Some(run) = &mut self.run {
            let scan_end_ns = run.from_ns + self.scan_ns;
            if let Some(left_ns) = scan_end_ns.checked_sub(from_ns) {
                let share = left_ns.min(to_ns - from_ns);
                let change = i128::from(end - start) * i128::from(share);
                run.within_scan = start + (change / i128::from(to_ns - from_ns)) as i64;
            }
            run.end = end;
        }
    }

    /// The quantity was followed up to `at_ns`.
    pub(super) fn end(&mut self, at_ns: u64) {
        self.end_run();
        self.ended_ns = at_ns;
    }

    /// Whether there are more than so many in an hour, and more than their share, and one, in the
    /// time that counts.
    pub(super) fn are_more_than(&self, per_hour: u32) -> bool {
        let share = u128::from(per_hour) * u128::from(self.until_ns) / u128::from(HOUR_NS);
        let allowed = share + u128::from(per_hour > 0);
        self.per_hour() > u64::from(per_hour)
            && (self.until_ns >= HOUR_NS || u128::from(self.count_until) > allowed)
    }

    /// Greatest number in any hour; over less than an hour, as many as that makes in one.
    pub(super) fn per_hour(&self) -> u64 {
        if self.ended_ns >= HOUR_NS {
            return self.most_in_an_hour;
        }
        let scaled = u128::from(self.count) * u128::from(HOUR_NS);
        let rate = scaled.checked_div(self.ended_ns.into()).unwrap_or_default();
        u64::try_from(rate).unwrap_or(u64::MAX)
    }

    /// As a declaration counts them: the most in an hour, and the rate over the time that counts,
    /// which is greater where that is less; none if it is no number of 32 bits.
    pub(super) fn declared(&self) -> Option<u32> {
        let rate = u128::from(self.count_until) * u128::from(HOUR_NS);
        let rate = rate.div_ceil(u128::from(self.until_ns));
        let hour = match self.until_ns >= HOUR_NS {
            true => self.most_in_an_hour,
            false => self.count_until,
        };
        u32::try_from(rate.max(u128::from(hour))).ok()
    }

    /// The greatest jump in the time that counts, and when it was.
    pub(super) const fn greatest(&self) -> (i64, u64) {
        self.greatest
    }

    fn end_run(&mut self) {
        if let Some(run) = self.run.take() {
            let whole = (run.end - run.start).abs();
            if whole > self.smooth && 2 * (run.within_scan - run.start).abs() >= whole {
                self.jump(run.from_ns, whole);
            }
        }
    }

    fn jump(&mut self, at_ns: u64, height: i64) {
        self.count += 1;
        if at_ns < self.until_ns {
            self.count_until += 1;
            if height > self.greatest.0 {
                self.greatest = (height, at_ns);
            }
        }
        self.within_hour.push_back(at_ns);
        while self
            .within_hour
            .front()
            .is_some_and(|first| at_ns - first >= HOUR_NS)
        {
            self.within_hour.pop_front();
        }
        self.most_in_an_hour = self.most_in_an_hour.max(self.within_hour.len() as u64);
    }
}

/// Parts of a load are rounded one by one.
const ROUNDING: i64 = 10;
const HOUR_NS: u64 = 3_600_000_000_000;

#[cfg(test)]
mod tests {
    use super::*;

    const SCAN: u64 = 500_000;

    /// Jumps of a line through these points; two at one moment are a jump.
    fn seen(points: &[(u64, i64)]) -> Jumps {
        let mut jumps = Jumps::new(SCAN, 100, 2 * HOUR_NS);
        for pair in points.windows(2).filter(|pair| pair[0].0 < pair[1].0) {
            jumps.note(pair[0], pair[1]);
        }
        jumps.end(HOUR_NS);
        jumps
    }

    #[test]
    fn a_change_within_a_scan_is_a_jump_and_a_slow_one_is_not() {
        for (points, count, greatest) in [
            // At once, up and down; and too small.
            (
                vec![
                    (0, 0),
                    (9, 0),
                    (9, 5_000),
                    (20, 5_000),
                    (20, 4_000),
                    (30, 4_000),
                ],
                2,
                (5_000, 9),
            ),
            (vec![(0, 0), (9, 0), (9, 100), (20, 100)], 0, (0, 0)),
            // An edge as long as a scan, of two stretches; one twice as long, and one longer.
            (
                vec![(0, 0), (SCAN / 3, 500), (SCAN, 2_000), (9 * SCAN, 2_000)],
                1,
                (2_000, 0),
            ),
            (
                vec![(0, 0), (2 * SCAN, 2_000), (9 * SCAN, 2_000)],
                1,
                (2_000, 0),
            ),
            (
                vec![(0, 0), (2 * SCAN + 2_000, 2_000), (9 * SCAN, 2_000)],
                0,
                (0, 0),
            ),
            // 500 in half a scan, and 400 of the next 1200 in the other half; then 300 of 1200.
            (
                vec![
                    (0, 0),
                    (SCAN / 2, 500),
                    (2 * SCAN, 1_700),
                    (9 * SCAN, 1_700),
                ],
                1,
                (1_700, 0),
            ),
            (
                vec![
                    (0, 0),
                    (SCAN / 2, 500),
                    (5 * SCAN / 2, 1_700),
                    (9 * SCAN, 1_700),
                ],
                0,
                (0, 0),
            ),
            // As small as what is at once and none.
            (vec![(0, 0), (9, 100), (20, 100)], 0, (0, 0)),
            // Two alike: the first.
            (
                vec![(0, 0), (9, 0), (9, 500), (20, 500), (20, 0), (30, 0)],
                2,
                (500, 9),
            ),
            // Down, most of it at first.
            (
                vec![(0, 0), (SCAN, -1_500), (9 * SCAN, -2_000)],
                1,
                (2_000, 0),
            ),
            // To and fro is two.
            (vec![(7, 0), (8, 700), (9, -300), (10, -300)], 2, (1_000, 8)),
        ] {
            let jumps = seen(&points);
            assert_eq!(
                (jumps.per_hour(), jumps.greatest()),
                (count, greatest),
                "{points:?}"
            );
        }
    }

    /// 10 nA or nV may come of rounding a sum's parts one by one; 11 are a jump.
    #[test]
    fn rounding_is_no_jump() {
        for (height, count) in [(10, 0), (-10, 0), (11, 1), (-11, 1)] {
            let mut jumps = Jumps::new(SCAN, 0, HOUR_NS);
            jumps.note((0, 0), (9, 0));
            jumps.note((9, height), (20, height));
            jumps.end(HOUR_NS);
            assert_eq!(jumps.per_hour(), count, "{height}");
        }
    }

    #[test]
    fn the_fullest_hour_counts() {
        let second = 1_000_000_000;
        let mut points = vec![(0, 0)];
        // Two within an hour, a third exactly an hour after the first, a fourth right after that.
        for (at_ns, value) in [
            (10 * second, 1_000),
            (20 * second, 0),
            (10 * second + HOUR_NS, 1_000),
            (11 * second + HOUR_NS, 0),
        ] {
            points.push((at_ns, points[points.len() - 1].1));
            points.push((at_ns, value));
        }
        points.push((2 * HOUR_NS, 0));
        assert_eq!(seen(&points).per_hour(), 3);
        // Two in half of an hour make four, which are more than three; but not if they are what
        // three make of the time that counts, and one more, or come too late.
        for (until_ns, more_than_three, more_than_none) in [
            (HOUR_NS / 2, false, true),
            (HOUR_NS / 8, true, true),
            (50 * second, false, false),
        ] {
            let mut short = Jumps::new(SCAN, 100, until_ns);
            short.note((0, 0), (60 * second, 0));
            short.note((60 * second, 1_000), (70 * second, 1_000));
            short.note((70 * second, 0), (1_800 * second, 0));
            short.end(1_800 * second);
            assert_eq!(short.per_hour(), 4);
            assert_eq!(short.are_more_than(3), more_than_three, "{until_ns}");
            assert_eq!(short.are_more_than(0), more_than_none, "{until_ns}");
            assert!(!short.are_more_than(4));
        }
    }

    /// Jumps of 1000 at these moments, in tenths of an hour, followed for two hours of which so
    /// many nanoseconds count.
    fn at(tenths: &[u64], until_ns: u64) -> Jumps {
        let mut jumps = Jumps::new(SCAN, 100, until_ns);
        let ends = tenths.iter().map(|tenth| tenth * HOUR_NS / 10);
        let (mut from_ns, mut value) = (0, 0);
        for to_ns in ends.chain([2 * HOUR_NS]) {
            jumps.note((from_ns, value), (to_ns, value));
            (from_ns, value) = (to_ns, 1_000 - value);
        }
        jumps.end(2 * HOUR_NS);
        jumps
    }

    /// The greater of the number in an hour and the rate over the time that counts, rounded up; of
    /// less than an hour what came in it alone.
    #[test]
    fn a_declaration_has_the_fullest_hour_and_the_rate() {
        for (tenths, until_ns, declared) in [
            // Three within an hour; four in two.
            (&[1, 12, 13, 14][..], 2 * HOUR_NS, Some(3)),
            // One, and two right behind the hour that counts.
            (&[9, 11, 12], HOUR_NS, Some(3)),
            (&[9, 11, 12], HOUR_NS - 1, Some(2)),
            // One in 0.4 hours is 2.5 in one; none before its own moment.
            (&[3], HOUR_NS / 10 * 4, Some(3)),
            (&[3], HOUR_NS / 2, Some(2)),
            (&[3], HOUR_NS / 10 * 3, Some(0)),
            (&[3], HOUR_NS / 10 * 3 + 1, Some(4)),
        ] {
            let jumps = at(tenths, until_ns);
            assert_eq!(jumps.declared(), declared, "{tenths:?} {until_ns}");
        }
        // 3.6 × 10^12 an hour.
        let mut many = Jumps::new(SCAN, 100, 1);
        many.note((0, 0), (1, 1_000));
        many.end(1);
        assert_eq!(many.declared(), None);
    }

    /// From an hour on the driver allows for no more than declared.
    #[test]
    fn one_more_than_declared_counts_from_an_hour_on() {
        assert!(at(&[1, 2, 3], HOUR_NS).are_more_than(2));
        assert!(!at(&[1, 2, 3], HOUR_NS).are_more_than(3));
    }
}
