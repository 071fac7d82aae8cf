use alloc::{boxed::Box, rc::Rc};
use core::{
    cell::{RefCell, RefMut},
    fmt,
};

use super::BenchError;
use crate::{
    board::SenseResistor,
    part::corncrake::{CHANNELS, Converted, Individual, Model, Output},
    plant::{Plant, Truth},
};

/// A handle of a part on the bench; clones are the same part.
///
/// What it says holds for the bench's present moment. Firmware cannot see any of it: it is for the test
/// around the firmware.
#[derive(Clone)]
pub struct Part {
    model: Rc<RefCell<Model>>,
}

impl Part {
    pub(super) fn new(model: Rc<RefCell<Model>>) -> Self {
        Self { model }
    }

    /// The 7-bit address.
    pub fn address(&self) -> u8 {
        self.model.borrow().address()
    }

    /// The errors of this part.
    pub fn individual(&self) -> Individual {
        self.model.borrow().individual().clone()
    }

    /// Puts a rail behind a channel, in place of one before. A channel without a rail sees 0 A and 0 V.
    ///
    /// Over all channels of a part the plants' windows come in the order of time, so rails of one part may
    /// share a source; parts live one after the other between two moments of the bench, so rails of different
    /// parts may not. The plant is called while the bench is at work: it must not use the bench or the part
    /// from there, but may read a [`Clock`](crate::bus::Clock).
    ///
    /// # Errors
    /// A channel that the part does not have.
    pub fn rail(
        &self,
        channel: usize,
        plant: impl Plant + 'static,
        resistor: SenseResistor,
    ) -> Result<(), BenchError> {
        let attached = self.model().attach(channel, Box::new(plant), resistor);
        if attached {
            Ok(())
        } else {
            Err(BenchError::NoSuchChannel(channel))
        }
    }

    /// What really flowed through a channel's rail since time 0; nothing without a rail.
    ///
    /// # Errors
    /// A channel that the part does not have.
    pub fn truth(&self, channel: usize) -> Result<Truth, BenchError> {
        if channel < CHANNELS {
            Ok(self.model().truth(channel))
        } else {
            Err(BenchError::NoSuchChannel(channel))
        }
    }

    /// Conversions finished since time 0, resets or not.
    pub fn conversions(&self) -> u64 {
        self.model().conversions()
    }

    /// The last conversion finished, resets or not; None before the first.
    pub fn last_conversion(&self) -> Option<Converted> {
        self.model().last_conversion()
    }

    /// Charge that the part itself drew from its supply, in nA·ns (1e-18 C); typical figures at 3.3 V.
    pub fn supply_charge_na_ns(&self) -> u128 {
        self.model().supply_charge_na_ns()
    }

    /// Energy that the part itself drew from its supply at 3.3 V, in nA·mV·ns (1e-21 J).
    pub fn supply_energy_na_mv_ns(&self) -> u128 {
        self.model().supply_energy_na_mv_ns()
    }

    /// Whether an alert output is pulled low.
    pub fn is_low(&self, output: Output) -> bool {
        self.model().is_low(output)
    }

    /// When something happens in the part next if nobody addresses it, in nanoseconds; None if nothing will.
    pub fn next_event_ns(&self) -> Option<u64> {
        self.model().next_event_ns()
    }

    /// The supply goes: the part loses everything and does not answer until [`power_up`](Self::power_up).
    pub fn power_loss(&self) {
        self.model().power_loss();
    }

    /// The supply comes: a reset; after 1 ms the part answers. No effect on a part that has supply.
    pub fn power_up(&self) {
        self.model().power_up();
    }

    /// A dip of the supply: the part loses everything and answers again after 1 ms.
    pub fn brown_out(&self) {
        self.model().brown_out();
    }

    /// Bench only: sets a channel's accumulators, modulo their widths, to be near a rollover without waiting
    /// for it.
    ///
    /// # Errors
    /// A channel that the part does not have.
    pub fn preload(&self, channel: usize, charge: i64, energy: i64) -> Result<(), BenchError> {
        let done = self.model().preload(channel, charge, energy);
        if done {
            Ok(())
        } else {
            Err(BenchError::NoSuchChannel(channel))
        }
    }

    /// Bench only: sets ROUNDS, modulo its width.
    pub fn preload_rounds(&self, rounds: u32) {
        self.model().preload_rounds(rounds);
    }

    pub(super) fn is_reached(&self, output: Output) -> bool {
        self.model().is_reached(output)
    }

    pub(super) fn is_same(&self, other: &Self) -> bool {
        Rc::ptr_eq(&self.model, &other.model)
    }

    /// The model; the bench keeps it advanced to the present moment.
    fn model(&self) -> RefMut<'_, Model> {
        self.model.borrow_mut()
    }
}

/// Address, mode, outputs and conversions so far.
impl fmt::Debug for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Ok(model) = self.model.try_borrow() else {
            return f.write_str("Part(at work)");
        };
        write!(f, "Part({:#04x}, ", model.address())?;
        if !model.is_powered() {
            return f.write_str("without supply)");
        }
        let level = |output| if model.is_low(output) { "low" } else { "high" };
        let (a, b) = (level(Output::A), level(Output::B));
        let (mode, conversions) = (model.mode(), model.conversions());
        write!(
            f,
            "mode {mode:#04x}, A {a}, B {b}, {conversions} conversions)"
        )
    }
}
