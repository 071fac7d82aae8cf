use alloc::{boxed::Box, rc::Rc};
use core::{
    cell::{RefCell, RefMut},
    fmt,
};

use super::BenchError;
use crate::{
    board::SenseResistor,
    part::{AlertOutputs, Converted, PartModel, corncrake},
    plant::{Plant, Truth},
};

/// A handle of a part on the bench; clones are the same part. `M` is its model: Corncrake's if
/// nothing else is said.
///
/// What it says holds for the bench's present moment. Firmware cannot see any of it: it is for the
/// test around the firmware.
pub struct Part<M: ?Sized = corncrake::Model> {
    model: Rc<RefCell<M>>,
}

impl<M: PartModel> Part<M> {
    pub(super) fn new(model: Rc<RefCell<M>>) -> Self {
        Self { model }
    }

    /// The 7-bit address.
    pub fn address(&self) -> u8 {
        self.model.borrow().own_address()
    }

    /// Puts a rail behind a channel, in place of one before. A channel without a rail sees 0 A and
    /// 0 V.
    ///
    /// Over all channels of a part the plants' windows come in the order of time, so rails of one
    /// part may share a source; parts live one after the other between two moments of the bench, so
    /// rails of different parts may not. The plant is called while the bench is at work: it must
    /// not use the bench or the part from there, but may read a [`Clock`](crate::bus::Clock).
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
        present(attached, channel)
    }

    /// What really flowed through a channel's rail since time 0; nothing without a rail.
    ///
    /// # Errors
    /// A channel that the part does not have.
    pub fn truth(&self, channel: usize) -> Result<Truth, BenchError> {
        let mut model = self.model();
        present(channel < model.channels(), channel)?;
        Ok(model.truth(channel))
    }

    /// Conversions finished since time 0, resets or not.
    pub fn conversions(&self) -> u64 {
        self.model().conversions()
    }

    /// The last conversion finished, resets or not; None before the first.
    pub fn last_conversion(&self) -> Option<Converted> {
        self.model().last_conversion()
    }

    /// Charge that the part itself drew from its supply, in nA·ns (1e-18 C); typical figures at the
    /// supply voltage of its datasheet, 3.3 V for those of this crate.
    pub fn supply_charge_na_ns(&self) -> u128 {
        self.model().supply_charge_na_ns()
    }

    /// Energy that the part itself drew from that supply, in nA·mV·ns (1e-21 J).
    pub fn supply_energy_na_mv_ns(&self) -> u128 {
        let model = self.model();
        model.supply_charge_na_ns() * u128::from(model.supply_mv())
    }

    /// When something happens in the part next if nobody addresses it, in nanoseconds; None if
    /// nothing will.
    pub fn next_event_ns(&self) -> Option<u64> {
        self.model().next_event_ns()
    }

    /// The supply goes: the part loses everything and does not answer until
    /// [`power_up`](Self::power_up).
    pub fn power_loss(&self) {
        self.model().power_loss();
    }

    /// The supply comes: a reset; some time later, 1 ms for a Corncrake, the part answers. No
    /// effect on a part that has supply.
    pub fn power_up(&self) {
        self.model().power_up();
    }

    /// A dip of the supply: the part loses everything and answers again as after
    /// [`power_up`](Self::power_up).
    pub fn brown_out(&self) {
        self.power_loss();
        self.power_up();
    }

    /// Acts on the model itself: for what a part has of its own. The bench keeps it advanced to the
    /// present moment; `act` must use neither the bench nor the part.
    pub fn with<R>(&self, act: impl FnOnce(&mut M) -> R) -> R {
        act(&mut self.model())
    }

    pub(super) fn is_same(&self, other: &Self) -> bool {
        Rc::ptr_eq(&self.model, &other.model)
    }

    fn model(&self) -> RefMut<'_, M> {
        self.model.borrow_mut()
    }
}

impl<M: AlertOutputs> Part<M> {
    /// Whether an alert output is pulled low.
    pub fn is_low(&self, output: M::Output) -> bool {
        self.model().is_low(output)
    }

    /// Whether any flag can reach an alert output.
    pub(super) fn is_reached(&self, output: M::Output) -> bool {
        self.model().is_reached(output)
    }
}

impl<M: ?Sized> Clone for Part<M> {
    fn clone(&self) -> Self {
        Self {
            model: self.model.clone(),
        }
    }
}

/// Address, state and conversions so far.
impl<M: PartModel> fmt::Debug for Part<M> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Shown(&*self.model).fmt(f)
    }
}

/// A part's debug text, of whatever kind it is.
pub(super) struct Shown<'a>(pub(super) &'a RefCell<dyn PartModel>);

impl fmt::Debug for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Ok(model) = self.0.try_borrow() else {
            return f.write_str("Part(at work)");
        };
        let address = model.own_address();
        if !model.is_powered() {
            return write!(f, "Part({address:#04x}, without supply)");
        }
        let conversions = model.conversions();
        write!(
            f,
            "Part({address:#04x}, {model:?}, {conversions} conversions)"
        )
    }
}

fn present(is_present: bool, channel: usize) -> Result<(), BenchError> {
    if is_present {
        Ok(())
    } else {
        Err(BenchError::NoSuchChannel(channel))
    }
}
