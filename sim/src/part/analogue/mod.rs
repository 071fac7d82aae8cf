//! What models of converters have in common: rails, rounding, noise, drift, and the current that a
//! part draws.
//!
//! For models of this crate and for those of yours: `sim/tests/own_model.rs` of the repository is a
//! whole one.

mod code;
mod drift;
mod errors;
mod rail;
mod supply;

use alloc::{boxed::Box, format};

pub use code::Code;
pub use drift::Drift;
pub(crate) use errors::Errors;
pub(super) use rail::Rail;
pub use supply::Supply;

use super::{Converted, Input};
use crate::{
    board::SenseResistor,
    plant::{Means, Plant, Truth},
    rng::{Noise, Rng},
};

/// The inputs of a part with `N` channels: what stands behind them and what was last seen there.
/// Survives resets, as the board does.
///
/// Over all channels the moments that it is asked for must not go back, but for an aperture that
/// was [cut](Self::cut).
pub struct Inputs<const N: usize> {
    /// Of each channel: its [`Input::Sense`] and its [`Input::Rail`].
    noted: [[u64; 2]; N],
    last: Option<Converted>,
    rails: [Option<Rail>; N],
    /// As `noted`; None for a part without noise.
    noise: Option<[[Noise; 2]; N]>,
    /// By channel: current over the last sense aperture, voltage over the last rail aperture.
    seen: [Means; N],
}

impl<const N: usize> Inputs<N> {
    /// Inputs without rails. `noise` is where noise comes from; None for a part without.
    pub fn new(noise: Option<Rng>) -> Self {
        Self {
            noted: [[0; 2]; N],
            last: None,
            rails: [const { None }; N],
            noise: noise.map(|rng| {
                core::array::from_fn(|channel| {
                    ["sense", "rail"].map(|input| rng.stream(&format!("{input} {channel}")).noise())
                })
            }),
            seen: [NOTHING; N],
        }
    }

    /// Puts a rail behind a channel. False if there is no such channel.
    pub fn attach(
        &mut self,
        channel: usize,
        plant: Box<dyn Plant>,
        resistor: SenseResistor,
    ) -> bool {
        let slot = self.rails.get_mut(channel);
        slot.map(|slot| *slot = Some(Rail::new(plant, resistor)))
            .is_some()
    }

    /// The sense resistor behind a channel; None without a rail.
    pub fn resistor(&mut self, channel: usize) -> Option<&mut SenseResistor> {
        let rail = self.rails.get_mut(channel)?.as_mut()?;
        Some(rail.resistor())
    }

    /// What flowed until `at_ns`; nothing without a rail. A conversion in progress must have been
    /// [cut](Self::cut) there.
    pub fn truth(&mut self, channel: usize, at_ns: u64) -> Truth {
        let rail = self.rails.get_mut(channel).and_then(Option::as_mut);
        rail.map_or(Truth::default(), |rail| rail.truth(at_ns))
    }

    /// Takes the first part of an aperture that began at `from_ns` and is still open.
    pub fn cut(&mut self, channel: usize, from_ns: u64, at_ns: u64) {
        if let Some(rail) = self.rails.get_mut(channel).and_then(Option::as_mut) {
            rail.cut(from_ns, at_ns);
        }
    }

    /// What the channel's last sense and rail conversions averaged; zeros before the first, and
    /// without a rail.
    pub fn seen(&self, channel: usize) -> Means {
        self.seen.get(channel).copied().unwrap_or(NOTHING)
    }

    /// Conversions [noted](Self::note) so far.
    pub fn conversions(&self) -> u64 {
        self.noted.iter().flatten().sum()
    }

    /// The last of them.
    pub fn last(&self) -> Option<Converted> {
        self.last
    }

    /// Mean voltage across the sense resistor over an aperture that ends now, in nanovolts,
    /// `bias_na` flowing through it besides. 0 without a rail.
    #[inline]
    pub fn sense_nv(&mut self, channel: usize, bias_na: f64, from_ns: u64, to_ns: u64) -> f64 {
        self.behind(channel).map_or(0.0, |(rail, seen)| {
            let current_na = rail.window(from_ns, to_ns).current_na;
            seen.current_na = current_na;
            (current_na + bias_na) * rail.ohms(current_na)
        })
    }

    /// Mean rail voltage over an aperture that ends now, in nanovolts. 0 without a rail.
    #[inline]
    pub fn rail_nv(&mut self, channel: usize, from_ns: u64, to_ns: u64) -> f64 {
        self.behind(channel).map_or(0.0, |(rail, seen)| {
            let voltage_nv = rail.window(from_ns, to_ns).voltage_nv;
            seen.voltage_nv = voltage_nv;
            voltage_nv
        })
    }

    /// The noise of the conversion of an input that is [noted](Self::note) next, within six times
    /// `rms_nv`.
    ///
    /// It depends on the seed, the input and how many conversions of that input came before, not on
    /// what was done with other inputs, or when.
    #[inline]
    pub fn noise_nv(&self, channel: usize, input: Input, rms_nv: f64) -> f64 {
        let of_input = |noise: &[[Noise; 2]; N]| Some(*noise.get(channel)?.get(input as usize)?);
        let number = self.noted.get(channel).map(|noted| noted[input as usize]);
        match (self.noise.as_ref().and_then(of_input), number) {
            (Some(noise), Some(number)) => noise.at(number) * rms_nv,
            _ => 0.0,
        }
    }

    /// Counts a conversion that has ended, of a channel that there is.
    #[inline]
    pub fn note(&mut self, channel: usize, input: Input, code: Code, at_ns: u64) {
        if let Some(noted) = self.noted.get_mut(channel) {
            noted[input as usize] += 1;
        }
        self.last = Some(Converted {
            channel,
            input,
            code: code.value,
            clipped: code.clipped,
            at_ns,
        });
    }

    #[inline]
    fn behind(&mut self, channel: usize) -> Option<(&mut Rail, &mut Means)> {
        let rail = self.rails.get_mut(channel)?.as_mut()?;
        Some((rail, self.seen.get_mut(channel)?))
    }
}

const NOTHING: Means = Means {
    current_na: 0.0,
    voltage_nv: 0.0,
};

#[cfg(test)]
mod tests {
    use super::*;

    /// What stands behind no channel shows nothing, exactly; what is noted there counts no input's
    /// conversion.
    #[test]
    fn nothing_shows_where_there_is_nothing() {
        let mut inputs = Inputs::<2>::new(Some(Rng::new(1)));
        for channel in [0, 2] {
            assert_eq!(inputs.sense_nv(channel, 5.0, 0, 1_000), 0.0);
            assert_eq!(inputs.rail_nv(channel, 0, 1_000), 0.0);
            assert_eq!(inputs.seen(channel), NOTHING);
            assert_eq!(inputs.truth(channel, 1_000), Truth::default());
            assert!(inputs.resistor(channel).is_none());
        }
        assert_ne!(inputs.noise_nv(1, Input::Rail, 1e9), 0.0);
        assert_eq!(inputs.noise_nv(2, Input::Rail, 1e9), 0.0);
        assert_eq!((inputs.conversions(), inputs.last()), (0, None));
        let code = Code::signed(7.0, 12);
        inputs.note(2, Input::Sense, code, 1_000);
        assert_eq!(inputs.conversions(), 0);
        inputs.note(1, Input::Sense, code, 1_000);
        assert_eq!(inputs.conversions(), 1);
    }
}
