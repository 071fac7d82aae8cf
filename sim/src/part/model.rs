use alloc::boxed::Box;
use core::fmt;

use super::Target;
use crate::{
    board::SenseResistor,
    plant::{Plant, Truth},
    rng::Rng,
};

/// An order for a part: what to put on a [`Bench`](crate::bench::Bench).
pub trait Order {
    /// The part that comes of it.
    type Model: PartModel;

    /// The 7-bit address asked for.
    fn address(&self) -> u8;

    /// The part, powered up long enough before time 0 to be addressable; None if no strap gives
    /// that address.
    ///
    /// What differs from part to part comes from `rng` alone. All parts of a bench get the same
    /// generator: each draws from a [stream](Rng::stream) named after itself and its address.
    fn build(self, rng: &Rng) -> Option<Self::Model>;
}

/// A model of a part, as a bench carries it: rails in front of its inputs, a supply behind it, and
/// the truth of what flowed.
///
/// All methods speak of the moment to which the part was last [advanced](Target::advance). The
/// debug text says in what state the part is, for the [`Debug`](fmt::Debug) of a bench: `mode 0x10,
/// A high, B low`.
pub trait PartModel: Target + fmt::Debug + 'static {
    /// The 7-bit address that it answers to.
    fn own_address(&self) -> u8;

    /// How many channels it has.
    fn channels(&self) -> usize;

    /// Puts a rail behind a channel, in place of one before. A channel without a rail sees 0 A and
    /// 0 V. False if there is no such channel.
    fn attach(&mut self, channel: usize, plant: Box<dyn Plant>, resistor: SenseResistor) -> bool;

    /// The sense resistor behind a channel, for a fault to change; None without a rail.
    fn resistor(&mut self, channel: usize) -> Option<&mut SenseResistor>;

    /// What really flowed through a channel's rail; nothing without one.
    ///
    /// Asking within an aperture cuts the plant's window in two, whichever channel is being
    /// converted (rails may share a source), and joins the means; no code changes by more than the
    /// rounding of an f64.
    fn truth(&mut self, channel: usize) -> Truth;

    /// Conversions finished since the bench began, resets or not. A part that does something by
    /// itself converts sooner or later: [`Bench::step`](crate::bench::Bench::step) waits for it.
    fn conversions(&self) -> u64;

    /// The last conversion finished, resets or not; None before the first.
    fn last_conversion(&self) -> Option<Converted>;

    /// Charge that the part itself drew from its supply, in nA·ns (1e-18 C); typical figures at its
    /// datasheet's supply voltage.
    fn supply_charge_na_ns(&self) -> u128;

    /// The supply voltage of those figures, in millivolts.
    fn supply_mv(&self) -> u32;

    /// Whether the part has supply.
    fn is_powered(&self) -> bool;

    /// The supply goes: the part loses everything and does not answer until
    /// [`power_up`](Self::power_up).
    fn power_loss(&mut self);

    /// The supply comes: a reset. No effect on a part that has supply.
    fn power_up(&mut self);
}

/// The alert outputs of a part: open-drain, each to be wired to a [`Line`](crate::bench::Line).
pub trait AlertOutputs: PartModel {
    /// Which output. Its debug text is its name in the name of a line: `0x32 output A`.
    type Output: Copy + PartialEq + fmt::Debug + 'static;

    /// Whether the output is pulled low.
    fn is_low(&self, output: Self::Output) -> bool;

    /// Whether any flag can reach the output. If none can, it stays as it is until somebody writes
    /// to the part.
    fn is_reached(&self, output: Self::Output) -> bool;
}

/// One conversion, as it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Converted {
    /// The channel, from 0.
    pub channel: usize,
    /// Which of its inputs.
    pub input: Input,
    /// The code, in the LSB of the range that was active.
    pub code: i32,
    /// The input lay beyond the range, and the code is its end.
    pub clipped: bool,
    /// End of the aperture, in nanoseconds of the bench's clock.
    pub at_ns: u64,
}

/// An input of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    /// The voltage across the sense resistor.
    Sense,
    /// The rail voltage.
    Rail,
}
