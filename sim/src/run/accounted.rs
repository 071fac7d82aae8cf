use crake::totals::Update;

use crate::plant::Truth;

/// What really flowed while the totals counted: gaps are in neither.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Accounted {
    closed: Truth,
    /// Where the open stretch begins, and how far it has come.
    open: Option<(Truth, Truth)>,
}

impl Accounted {
    /// Takes what the totals made of a sample that was latched when `now` had flowed since time 0.
    pub(super) fn note(&mut self, update: Update, now: Truth) {
        match update {
            Update::Continued | Update::Clipped => {
                if let Some((_, end)) = &mut self.open {
                    *end = now;
                }
            }
            Update::First | Update::Discontinuity(_) => {
                self.closed = self.truth();
                self.open = Some((now, now));
            }
            Update::NotCounting => {}
        }
    }

    /// All stretches together.
    pub(super) fn truth(&self) -> Truth {
        let mut truth = self.closed;
        if let Some((start, end)) = self.open {
            truth.charge_half_na_ns += end.charge_half_na_ns - start.charge_half_na_ns;
            truth.energy_sixth_na_nv_ns += end.energy_sixth_na_nv_ns - start.energy_sixth_na_nv_ns;
        }
        truth
    }
}

#[cfg(test)]
mod tests {
    use crake::totals::Discontinuity;

    use super::*;

    /// Charge and energy by one count.
    fn at(count: i128) -> Truth {
        Truth {
            charge_half_na_ns: count,
            energy_sixth_na_nv_ns: -count,
        }
    }

    #[test]
    fn what_flows_in_a_gap_is_left_out() {
        let broken = Update::Discontinuity(Discontinuity::TooLate);
        let mut accounted = Accounted::default();
        let samples = [
            (Update::NotCounting, 3, 0),
            (Update::First, 10, 0),
            (Update::Continued, 15, 5),
            (Update::Clipped, 17, 7),
            (broken, 100, 7),
            (Update::Continued, 101, 8),
            (broken, 200, 8),
            (Update::NotCounting, 300, 8),
            (Update::First, 1_000, 8),
            (Update::Continued, 1_002, 10),
        ];
        for (update, now, all) in samples {
            accounted.note(update, at(now));
            assert_eq!(accounted.truth(), at(all), "{update:?} at {now}");
        }
    }
}
