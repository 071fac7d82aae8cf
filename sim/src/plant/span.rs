use crake::units::{Charge, Current, Energy, Power, Voltage};

use super::exact::round_div;
use super::{Piece, Plant, Rail};

/// Least, mean and greatest of a quantity over a span of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spread<Q> {
    /// The least value.
    pub least: Q,
    /// The mean over the time.
    pub mean: Q,
    /// The greatest value.
    pub greatest: Q,
}

/// What a rail really did in a span of time, in the driver's units, each to the nearest of the
/// unit's resolution.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// What flowed.
    pub charge: Charge,
    /// What was delivered to the load.
    pub energy: Energy,
    /// The current.
    pub current: Spread<Current>,
    /// The voltage at the load's side of the sense resistor.
    pub voltage: Spread<Voltage>,
    /// The power; within a piece over which both rise or fall, its turning point is in it.
    pub power: Spread<Power>,
}

impl Rail {
    /// What it does from `from_ns` to `to_ns`, which is later. As all questions to a rail it may
    /// reach back by 1 ms: for a span that is over, ask another rail of the same making.
    ///
    /// None where it reaches back further, or is empty.
    ///
    /// ```
    /// use crake::units::{Charge, Current, Voltage};
    /// use crake_sim::plant::{Constant, Pulses, Rail, Source};
    ///
    /// // 3.3 V behind 0.5 Ω; 2 mA, and 30 mA for 4 ms of every second.
    /// let source = Source::of(Constant::new(3_300_000_000)?).behind_microohms(500_000)?;
    /// let load = Pulses::new(2_000_000, 30_000_000, 1_000_000_000, 4_000_000)?;
    /// let span = Rail::new(source, load)?.span(0, 10_000_000_000).ok_or("empty")?;
    /// assert_eq!(span.charge, Charge::from_microcoulombs(20_000 + 10 * 28 * 4));
    /// assert_eq!(span.current.greatest, Current::from_milliamps(30));
    /// assert_eq!(span.current.mean, Current::from_microamps(2_112));
    /// assert_eq!(span.voltage.least, Voltage::from_millivolts(3_285));
    /// # Ok::<(), Box<dyn core::error::Error>>(())
    /// ```
    pub fn span(&mut self, from_ns: u64, to_ns: u64) -> Option<Span> {
        let length = i128::from(to_ns.checked_sub(from_ns).filter(|length| *length > 0)?);
        let before = self.truth(from_ns);
        let (mut current, mut voltage) = (Ends::default(), Ends::default());
        let mut power = Ends::default();
        let (mut at_ns, mut half_nv_ns) = (from_ns, 0);
        while at_ns < to_ns {
            let piece = self.piece(at_ns.saturating_add(1))?.from(at_ns).cut(to_ns);
            current.note(piece.start_na.into(), piece.end_na.into());
            voltage.note(piece.start_nv.into(), piece.end_nv.into());
            let [start, end] = piece.powers();
            power.note(start, end);
            let turn = piece.greatest_or_least_power();
            power.note(turn.unwrap_or(start), turn.unwrap_or(start));
            half_nv_ns +=
                i128::from(piece.start_nv + piece.end_nv) * i128::from(piece.to_ns - piece.from_ns);
            at_ns = piece.to_ns;
        }
        let flowed = self.truth(to_ns).since(&before);
        Some(Span {
            charge: flowed.charge(),
            energy: flowed.energy(),
            current: current.spread(
                round_div(flowed.charge_half_na_ns, 2 * length),
                1,
                Current::from_nanoamps,
            ),
            voltage: voltage.spread(
                round_div(half_nv_ns, 2 * length),
                1,
                Voltage::from_nanovolts,
            ),
            power: power.spread(
                round_div(flowed.energy_sixth_na_nv_ns, 6 * length),
                1_000_000_000,
                Power::from_nanowatts,
            ),
        })
    }
}

impl Piece {
    /// The rest of the piece from `at_ns` on, which is inside it.
    fn from(&self, at_ns: u64) -> Self {
        if at_ns <= self.from_ns {
            return *self;
        }
        let begun = self.cut(at_ns);
        Self {
            from_ns: at_ns,
            start_na: begun.end_na,
            start_nv: begun.end_nv,
            ..*self
        }
    }

    /// Where the product of the two lines turns within the piece, in nA·nV: with a and b the
    /// changes of current and voltage, at (i0 + a x)(v0 + b x) with x = −(i0 b + v0 a) ÷ 2ab.
    fn greatest_or_least_power(&self) -> Option<i128> {
        let (i0, v0) = (self.start_na as f64, self.start_nv as f64);
        let (a, b) = (self.end_na as f64 - i0, self.end_nv as f64 - v0);
        let x = -(i0 * b + v0 * a) / (2.0 * a * b);
        let within = (0.0..1.0).contains(&x);
        within.then_some(((i0 + a * x) * (v0 + b * x)) as i128)
    }
}

/// Least and greatest so far.
#[derive(Default)]
struct Ends(Option<(i128, i128)>);

impl Ends {
    fn note(&mut self, one: i128, other: i128) {
        let (least, greatest) = self.0.unwrap_or((one, one));
        self.0 = Some((least.min(one).min(other), greatest.max(one).max(other)));
    }

    /// In units of so many of what was noted.
    fn spread<Q>(&self, mean: i128, unit: i128, of: impl Fn(i64) -> Q) -> Spread<Q> {
        let (least, greatest) = self.0.unwrap_or_default();
        let whole = |value: i128| {
            let rounded = round_div(value, unit);
            of(i64::try_from(rounded).unwrap_or(i64::MAX))
        };
        Spread {
            least: whole(least),
            mean: whole(mean),
            greatest: whole(greatest),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// (i0 + a x)(v0 + b x) turns at -(i0 b + v0 a) / 2ab, worked out by hand.
    #[test]
    fn power_turns_within_a_piece_or_it_does_not() {
        for (start, end_na, end_nv, turn) in [
            // At 1/2: 1500 × 750. At -1/4.
            (1_000, 2_000, 500, Some(1_500 * 750)),
            (1_000, 2_000, -1_000, None),
            // Right behind the beginning, at 0.01: 10302 × 10100. Right behind the end, at 1.01.
            (10_200, 20_400, 200, Some(10_302 * 10_100)),
            (302, 604, 202, None),
            // Level.
            (1_000, 1_000, 1_000, None),
            (1_000, 2_000, 1_000, None),
        ] {
            let piece = Piece {
                start_na: start,
                start_nv: start,
                end_na,
                end_nv,
                ..Piece::nothing(0, 9)
            };
            let seen = piece.greatest_or_least_power();
            let off = seen.zip(turn).map(|(seen, turn): (i128, i128)| seen - turn);
            assert_eq!(seen.is_some(), turn.is_some(), "{piece:?}");
            assert!(off.is_none_or(|off| off.abs() <= 1), "{piece:?}: {seen:?}");
        }
    }
}
