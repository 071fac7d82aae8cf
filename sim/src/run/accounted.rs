use crake::old::ledger::Entry;

use crate::plant::Truth;

/// What really flowed while the ledger had the time on its account: gaps are in neither.
#[derive(Clone, Debug, Default)]
pub(super) struct Accounted {
    closed: Truth,
    /// Where the open stretch begins, and how far it has come.
    open: Option<(Truth, Truth)>,
}

impl Accounted {
    /// Takes what the ledger made of a frame that was latched when `now` had flowed since time 0.
    pub(super) fn note(&mut self, entry: Entry, now: Truth) {
        match entry {
            Entry::Added | Entry::Turned => {
                if let Some((_, end)) = &mut self.open {
                    *end = now;
                }
            }
            Entry::Opened => self.open = Some((now, now)),
            Entry::Broken { reopened, .. } => {
                self.closed = self.truth();
                self.open = reopened.then_some((now, now));
            }
            Entry::Idle => {}
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
    use crake::old::ledger::Break;

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
        let broken = |reopened| Entry::Broken {
            reason: Break::TooLate,
            reopened,
        };
        let mut accounted = Accounted::default();
        let frames = [
            (Entry::Idle, 3, 0),
            (Entry::Opened, 10, 0),
            (Entry::Added, 15, 5),
            (Entry::Turned, 17, 7),
            (broken(true), 100, 7),
            (Entry::Added, 101, 8),
            (broken(false), 200, 8),
            (Entry::Idle, 300, 8),
            (Entry::Opened, 1_000, 8),
            (Entry::Added, 1_002, 10),
        ];
        for (entry, now, all) in frames {
            accounted.note(entry, at(now));
            assert_eq!(accounted.truth(), at(all), "{entry:?} at {now}");
        }
    }
}
