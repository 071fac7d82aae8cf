use crake::old::Frame;
use crake::old::Side;
use crake::old::board::Board;
use crake::old::ledger::{Entry, Ledger};
use crake::old::part::Spec;
use crake::old::units::{Current, Voltage};

use crate::charge::{self, Charging, Measured};
use crate::{CELL, Config};

/// Judges charging by means over windows. The mean current and its bound are those of a driver's ledger that lives for one window.
#[derive(Clone, Debug)]
pub(crate) struct Window<'a, const N: usize> {
    config: Config,
    board: &'a Board<N>,
    spec: &'static Spec,
    totals: Ledger<'a, N>,
    from_us: Option<u64>,
    /// Verdict of the window before: two in a row have to agree, for one window may hold a change.
    last_verdict: Option<Charging>,
    charging: Charging,
}

impl<'a, const N: usize> Window<'a, N> {
    pub(crate) fn new(config: Config, board: &'a Board<N>, spec: &'static Spec) -> Self {
        Self {
            config,
            board,
            spec,
            totals: Ledger::new(board, spec),
            from_us: None,
            last_verdict: None,
            charging: Charging::No,
        }
    }

    /// What was surely being done to the cell when that could be told last.
    pub(crate) const fn charging(&self) -> Charging {
        self.charging
    }

    /// Counts are lost: the window is worth nothing, and the next frame begins another.
    pub(crate) const fn end(&mut self) {
        self.from_us = None;
    }

    /// Takes a frame in; gives what is being done to the cell when that has surely changed.
    pub(crate) fn judge(&mut self, frame: &Frame<'_>) -> Option<Charging> {
        let from_us = match self.from_us {
            Some(from_us) if self.totals.update(frame) == Entry::Added => from_us,
            _ => {
                self.begin(frame);
                return None;
            }
        };
        if frame.stamp().before_us.saturating_sub(from_us) < self.config.charge_window_us {
            return None;
        }
        let verdict = self
            .measured(frame)
            .and_then(|measured| charge::judge(&self.config, &measured));
        let confirmed = verdict.filter(|_| verdict == self.last_verdict);
        self.last_verdict = verdict;
        self.begin(frame);
        let changed = confirmed.filter(|charging| *charging != self.charging)?;
        self.charging = changed;
        Some(changed)
    }

    fn begin(&mut self, frame: &Frame<'_>) {
        self.totals = Ledger::new(self.board, self.spec);
        self.totals.update(frame);
        self.from_us = Some(frame.stamp().after_us);
    }

    fn measured(&self, frame: &Frame<'_>) -> Option<Measured> {
        let account = self.totals.account(CELL)?;
        let voltage = frame.reading(CELL).ok()?.voltage;
        if account.charge_side != Side::Near {
            return None;
        }
        // 1 nC in 1 µs is 1 mA.
        let mean = |nanocoulombs: i128| {
            let na = nanocoulombs
                .saturating_mul(1_000_000)
                .checked_div(i128::from(account.duration_us))?;
            i64::try_from(na).ok().map(Current::from_nanoamps)
        };
        Some(Measured {
            into_cell: mean(account.charge.as_nanocoulombs())?.saturating_neg(),
            current_bound: mean(account.charge_bound.total().as_nanocoulombs())?,
            voltage,
            voltage_bound: voltage_bound(frame, voltage)?,
        })
    }
}

/// How far a voltage may lie from the truth: gain, offset and the noise of one conversion of the range it was converted in. Rounding to codes is below the noise.
fn voltage_bound(frame: &Frame<'_>, voltage: Voltage) -> Option<Voltage> {
    let range = frame.spec().bus_range(frame.ranges(CELL)?.bus)?;
    // nV × ppm ÷ 10^6; saturating far beyond any rail.
    let gain_nv = voltage
        .as_nanovolts()
        .saturating_abs()
        .saturating_mul(i64::from(range.gain_ppm))
        .div_euclid(1_000_000);
    let noise_nv = range.noise.as_nanovolts().saturating_mul(6);
    Some(
        range
            .offset
            .abs()
            .saturating_add(Voltage::from_nanovolts(gain_nv))
            .saturating_add(Voltage::from_nanovolts(noise_nv)),
    )
}
