//! Rails that are exactly what a test wants.

use crake_sim::{
    board::SenseResistor,
    plant::{Means, Plant, Truth},
};

/// A steady current and voltage.
pub(crate) struct Steady {
    pub(crate) current_na: f64,
    pub(crate) voltage_nv: f64,
}

impl Plant for Steady {
    fn window(&mut self, _: u64, _: u64) -> Means {
        Means {
            current_na: self.current_na,
            voltage_nv: self.voltage_nv,
        }
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        Truth {
            charge_half_na_ns: 2 * self.current_na as i128 * i128::from(at_ns),
            energy_sixth_na_nv_ns: 0,
        }
    }
}

/// One Ω: nanoamperes are nanovolts.
pub(crate) fn ohm() -> SenseResistor {
    SenseResistor::ideal(1_000_000_000)
}
