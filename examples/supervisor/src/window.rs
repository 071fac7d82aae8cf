use crake::board::{Mean, OperatingPoint, Rail};
use crake::totals::{Bounds, Totals, Update};
use crake::units::{Charge, Current, Power};
use crake::{Sample, TimedSample};

use crate::charge::{self, Charging, Measured};
use crate::{CELL, RAILS, Settings};

/// Judges charging by means over windows: what CELL's charge grew by in a window, over its length.
#[derive(Clone, Debug)]
pub(crate) struct Window {
    settings: Settings,
    cell: Rail,
    from: Option<Mark>,
    /// Verdict of the window before: two in a row have to agree, for one window may hold a change.
    last_verdict: Option<Charging>,
    charging: Charging,
}

/// How the totals stood at some sample.
#[derive(Clone, Copy, Debug)]
struct Mark {
    charge: Charge,
    /// Time that was counted, by the host's clock and by the part's.
    host_us: u64,
    part_us: u64,
    /// Length of the sample's bracket.
    width_us: u64,
}

impl Window {
    pub(crate) const fn new(settings: Settings, cell: Rail) -> Self {
        Self {
            settings,
            cell,
            from: None,
            last_verdict: None,
            charging: Charging::No,
        }
    }

    /// What was surely being done to the cell when that could be told last.
    pub(crate) const fn charging(&self) -> Charging {
        self.charging
    }

    /// Takes a sample in that the totals were given; gives what is being done to the cell when that
    /// has surely changed.
    pub(crate) fn judge<S: TimedSample<RAILS> + ?Sized>(
        &mut self,
        sample: &S,
        update: Update,
        totals: &Totals<'_, RAILS, Bounds<'_, RAILS>>,
    ) -> Option<Charging> {
        let now = Mark {
            charge: totals.charge(CELL)?.value,
            host_us: totals.counted_us(),
            part_us: totals.part_clock_us(),
            width_us: sample.timestamp().width_us(),
        };
        // A window is worth nothing where counts were lost, or where CELL went over range.
        let counted = matches!(update, Update::Continued | Update::Clipped);
        if !counted || sample.reading(CELL).is_err() {
            self.from = None;
        }
        let from = *self.from.get_or_insert(now);
        if now.host_us.saturating_sub(from.host_us) < self.settings.charge_window_us {
            return None;
        }
        self.from = Some(now);
        let verdict = self
            .measured(sample, &from, &now)
            .and_then(|measured| charge::judge(&self.settings, &measured));
        let confirmed = verdict.filter(|_| verdict == self.last_verdict);
        self.last_verdict = verdict;
        let changed = confirmed.filter(|charging| *charging != self.charging)?;
        self.charging = changed;
        Some(changed)
    }

    /// Mean current over a window and the voltage at its end, with their bounds.
    fn measured<S: Sample<RAILS> + ?Sized>(
        &self,
        sample: &S,
        from: &Mark,
        to: &Mark,
    ) -> Option<Measured> {
        let (info, scan) = (sample.info(), sample.scan());
        let (range, voltage) = (*scan.range(CELL)?, sample.reading(CELL).ok()?.voltage);
        let duration_us = to.host_us.checked_sub(from.host_us)?;
        // 1 nC in 1 µs is 1 mA.
        let nanoamps = to
            .charge
            .saturating_sub(from.charge)
            .as_nanocoulombs()
            .saturating_mul(1_000_000)
            .checked_div(i128::from(duration_us))?;
        let current = Current::from_nanoamps(i64::try_from(nanoamps).ok()?);
        let scan_period_us = scan.period_us(info);
        let part_us = to.part_us.saturating_sub(from.part_us);
        let over_window = OperatingPoint {
            range,
            current,
            voltage,
            power: Power::ZERO,
            mean: Mean::Stretch {
                scans: part_us.checked_div(u64::from(scan_period_us))?,
                scan_period_us,
                duration_us,
                ends_us: from.width_us.saturating_add(to.width_us),
                clock: sample.board().clock(),
            },
        };
        Some(Measured {
            into_cell: current.saturating_neg(),
            current_bound: self.cell.current_budget(info, &over_window)?.total(),
            voltage,
            voltage_bound: sample.bound(CELL, &self.cell)?.voltage,
        })
    }
}
