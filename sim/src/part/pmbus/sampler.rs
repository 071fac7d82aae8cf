//! The analogue side: rails, and one pair of converters that goes from page to page
//! (docs/pmbus-device.md, B4).

use alloc::{boxed::Box, vec::Vec};

use super::{
    description::{Description, Page, Quantity},
    individual::{Individual, PageErrors},
};
use crate::{
    board::SenseResistor,
    part::analogue::Rail,
    plant::{Means, Plant, Truth},
};

/// Turns what the plants do into volts, amperes and watts. Survives resets.
pub(super) struct Sampler {
    pub(super) individual: Individual,
    pub(super) samples: u64,
    rails: Vec<Option<Rail>>,
    /// When the first aperture began, or will.
    epoch_ns: u64,
    /// Apertures that have ended since.
    ended: u64,
}

/// An aperture: of which page, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Aperture {
    pub(super) page: usize,
    from_ns: u64,
    pub(super) to_ns: u64,
}

impl Sampler {
    pub(super) fn new(individual: Individual, description: &Description) -> Self {
        Self {
            individual,
            samples: 0,
            rails: description.pages.iter().map(|_| None).collect(),
            epoch_ns: 0,
            ended: 0,
        }
    }

    /// At least one, as a sound description has them.
    pub(super) fn pages(&self) -> usize {
        self.rails.len()
    }

    /// The sense resistor of a page; None without a rail.
    pub(super) fn resistor(&mut self, page: usize) -> Option<&mut SenseResistor> {
        let rail = self.rails.get_mut(page)?.as_mut()?;
        Some(rail.resistor())
    }

    /// Puts a rail behind a page. False if there is no such page.
    pub(super) fn attach(
        &mut self,
        page: usize,
        plant: Box<dyn Plant>,
        resistor: SenseResistor,
    ) -> bool {
        let slot = self.rails.get_mut(page);
        slot.map(|slot| *slot = Some(Rail::new(plant, resistor)))
            .is_some()
    }

    /// Sampling begins anew.
    pub(super) fn start_at(&mut self, epoch_ns: u64) {
        self.epoch_ns = epoch_ns;
        self.ended = 0;
    }

    /// The aperture that ends next.
    pub(super) fn next(&self) -> Aperture {
        Aperture {
            page: (self.ended % self.pages() as u64) as usize,
            from_ns: self.boundary_ns(self.ended),
            to_ns: self.boundary_ns(self.ended + 1),
        }
    }

    /// The n-th boundary between apertures.
    fn boundary_ns(&self, n: u64) -> u64 {
        let pages = self.pages() as u64;
        let period_ns = self.individual.sample_period_ns;
        self.epoch_ns + n / pages * period_ns + n % pages * period_ns / pages
    }

    /// Ends the next aperture: volts, amperes and watts as the converters have them.
    pub(super) fn sample(&mut self, page: &Page) -> [f64; 3] {
        let aperture = self.next();
        self.ended += 1;
        self.samples += 1;
        let rail = self.rails.get_mut(aperture.page).and_then(Option::as_mut);
        let means = rail.map_or(NOTHING, |rail| {
            rail.window(aperture.from_ns, aperture.to_ns)
        });
        let errors = self
            .individual
            .pages
            .get(aperture.page)
            .copied()
            .unwrap_or_default();
        let PageErrors {
            voltage_gain,
            voltage_offset,
            current_gain,
            current_offset,
        } = errors;
        let volts = measured(
            means.voltage_nv / 1e9,
            voltage_gain,
            voltage_offset,
            &page.voltage,
        );
        let amperes = measured(
            means.current_na / 1e9,
            current_gain,
            current_offset,
            &page.current,
        );
        [volts, amperes, volts * amperes]
    }

    /// Takes the part of the open aperture that has gone by at `now_ns`: rails may share a source,
    /// whose time never goes back.
    pub(super) fn cut(&mut self, now_ns: u64) {
        let open = self.next();
        let rail = self.rails.get_mut(open.page).and_then(Option::as_mut);
        if let Some(rail) = rail.filter(|_| open.from_ns < now_ns) {
            rail.cut(open.from_ns, now_ns);
        }
    }

    /// What flowed until `now_ns`, where an open aperture must have been [cut](Self::cut); nothing
    /// without a rail.
    pub(super) fn truth(&mut self, page: usize, now_ns: u64) -> Truth {
        let rail = self.rails.get_mut(page).and_then(Option::as_mut);
        rail.map_or(Truth::default(), |rail| rail.truth(now_ns))
    }
}

fn measured(input: f64, gain: f64, offset: f64, quantity: &Quantity) -> f64 {
    // `clamp` would panic on a description whose ends are the wrong way round.
    let output = input * (1.0 + gain) + offset;
    output.min(quantity.greatest).max(quantity.least)
}

const NOTHING: Means = Means {
    current_na: 0.0,
    voltage_nv: 0.0,
};
