use alloc::{boxed::Box, format};

use super::{Description, DescriptionError, Individual, Model, description::DAY_NS};
use crate::{
    part::{Order, analogue::Errors},
    rng::Rng,
};

/// An order for a device: what it is, its address, and how its errors come about.
#[derive(Clone, Debug, PartialEq)]
pub struct Device {
    description: Description,
    address: u8,
    errors: Errors<Individual>,
}

impl Device {
    /// A device whose errors come from the seed and the address, within the limits of its
    /// description.
    ///
    /// # Errors
    /// A description that the standard or the model does not allow; an address that is reserved on
    /// an SMBus, or above 0x77.
    pub fn new(description: Description, address: u8) -> Result<Self, DescriptionError> {
        Self::ordered(description, address, Errors::FromSeed)
    }

    /// A device without errors.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn ideal(description: Description, address: u8) -> Result<Self, DescriptionError> {
        let individual = Individual::ideal(&description);
        Self::ordered(description, address, Errors::Given(Box::new(individual)))
    }

    /// A device with exactly these errors; pages without an entry have none.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn individual(
        description: Description,
        address: u8,
        individual: Individual,
    ) -> Result<Self, DescriptionError> {
        Self::ordered(description, address, Errors::Given(Box::new(individual)))
    }

    fn ordered(
        description: Description,
        address: u8,
        errors: Errors<Individual>,
    ) -> Result<Self, DescriptionError> {
        description.check()?;
        if !(0x08..=0x77).contains(&address) || RESERVED.contains(&address) {
            return Err(DescriptionError::Address(address));
        }
        Ok(Self {
            description,
            address,
            errors,
        })
    }
}

impl Order for Device {
    type Model = Model;

    fn address(&self) -> u8 {
        self.address
    }

    fn build(self, rng: &Rng) -> Option<Model> {
        let rng = rng.stream(&format!("pmbus {:#04x}", self.address));
        let from_seed = || Individual::from_seed(&self.description, &rng);
        let mut individual = self.errors.or_from_seed(from_seed);
        // Apertures of no length would never let time go on, and those of centuries would overrun
        // it.
        let pages = self.description.pages.len() as u64;
        individual.sample_period_ns = individual.sample_period_ns.clamp(pages, DAY_NS);
        Some(Model::new(self.address, self.description, individual))
    }
}

/// Host, alert response and default address of SMBus (docs/pmbus-device.md, A1.5).
const RESERVED: [u8; 3] = [0x08, 0x0C, 0x61];
