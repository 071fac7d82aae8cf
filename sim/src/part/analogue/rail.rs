use alloc::boxed::Box;

use crate::{
    board::SenseResistor,
    plant::{Means, Plant, Truth},
};

/// A rail behind a channel, and how far its plant was asked.
pub(crate) struct Rail {
    plant: Box<dyn Plant>,
    resistor: SenseResistor,
    ahead: Option<Ahead>,
}

/// The first part of an aperture, taken before its end because the truth was asked for meanwhile: a
/// plant's time never goes back.
#[derive(Default)]
struct Ahead {
    from_ns: u64,
    until_ns: u64,
    /// Sums of mean times nanoseconds.
    current: f64,
    voltage: f64,
}

impl Rail {
    pub(crate) fn new(plant: Box<dyn Plant>, resistor: SenseResistor) -> Self {
        Self {
            plant,
            resistor,
            ahead: None,
        }
    }

    /// Ohms of the sense resistor at a current.
    #[inline]
    pub(crate) fn ohms(&self, current_na: f64) -> f64 {
        self.resistor.ohms(current_na)
    }

    pub(crate) fn resistor(&mut self) -> &mut SenseResistor {
        &mut self.resistor
    }

    pub(crate) fn truth(&mut self, at_ns: u64) -> Truth {
        self.plant.truth(at_ns)
    }

    /// Means over an aperture, joined from its two parts if it was cut.
    #[inline]
    pub(crate) fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        match self.ahead.take() {
            Some(ahead) if ahead.from_ns == from_ns => {
                let whole = self.go_on(ahead, to_ns);
                let length = (to_ns - from_ns) as f64;
                Means {
                    current_na: whole.current / length,
                    voltage_nv: whole.voltage / length,
                }
            }
            _ => self.plant.window(from_ns, to_ns),
        }
    }

    /// Takes the first part of an aperture that is still open.
    pub(crate) fn cut(&mut self, from_ns: u64, at_ns: u64) {
        let begun = self.ahead.take().filter(|ahead| ahead.from_ns == from_ns);
        let begun = begun.unwrap_or(Ahead {
            from_ns,
            until_ns: from_ns,
            ..Ahead::default()
        });
        self.ahead = Some(self.go_on(begun, at_ns));
    }

    fn go_on(&mut self, mut ahead: Ahead, to_ns: u64) -> Ahead {
        if ahead.until_ns < to_ns {
            let means = self.plant.window(ahead.until_ns, to_ns);
            let length = (to_ns - ahead.until_ns) as f64;
            ahead.current += means.current_na * length;
            ahead.voltage += means.voltage_nv * length;
            ahead.until_ns = to_ns;
        }
        ahead
    }
}
