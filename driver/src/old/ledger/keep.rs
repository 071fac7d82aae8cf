use super::checkpoint::tape::Tape;
use super::evaluate::{Flowed, Stretch, flowed};
use super::limits::Limits;
use crate::old::board::Rail;
use crate::old::bound::Parts;
use crate::old::part::{Spec, Tally};

/// What a [`Ledger`](super::Ledger) keeps of each rail besides charge, energy and time: [`Bounds`], or nothing, `()`.
///
/// What is not kept is not linked either: a ledger of totals alone has half the RAM and little more than half the code.
pub trait Keep: Sealed {}

/// Bounds of both totals, and both by the part's own clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bounds {
    pub(super) by_part: Flowed,
    pub(super) charge: Parts,
    pub(super) energy: Parts,
}

/// What a ledger does with it.
pub trait Sealed: Copy + core::fmt::Debug {
    /// Of a rail without any account.
    const EMPTY: Self;
    /// First byte of a checkpoint.
    const LETTER: u8;
    /// Bytes of a rail in a checkpoint.
    const LEN: usize;

    /// Adds what goes with a stretch in which `shown` flowed.
    fn add(&mut self, spec: &Spec, rail: &Rail, tally: &Tally, stretch: &Stretch, shown: &Flowed);

    /// Writes itself to a checkpoint, or reads itself back.
    fn visit(&mut self, tape: &mut dyn Tape);
}

impl Keep for Bounds {}

impl Sealed for Bounds {
    const EMPTY: Self = Self {
        by_part: Flowed::NOTHING,
        charge: Parts::NOTHING,
        energy: Parts::NOTHING,
    };
    const LETTER: u8 = b'L';
    const LEN: usize = 2 * 16 + 14 * 5;

    #[inline(never)]
    fn add(&mut self, spec: &Spec, rail: &Rail, tally: &Tally, stretch: &Stretch, shown: &Flowed) {
        let by_part_us = spec.counted_us(stretch.rounds, stretch.period_us);
        if let Some(flowed) = flowed(spec, rail, tally, stretch, by_part_us.saturating_mul(2)) {
            self.by_part.add(&flowed);
        }
        if let Some(limits) = Limits::new(spec, rail, tally, stretch) {
            limits.add_to(self, shown);
        }
    }

    fn visit(&mut self, tape: &mut dyn Tape) {
        self.by_part.visit(tape);
        for Parts {
            mantissas,
            exponents,
        } in [&mut self.charge, &mut self.energy]
        {
            for (mantissa, exponent) in mantissas.iter_mut().zip(exponents) {
                tape.u32(mantissa);
                tape.i8(exponent);
            }
        }
    }
}

impl Keep for () {}

impl Sealed for () {
    const EMPTY: Self = ();
    const LETTER: u8 = b'T';
    const LEN: usize = 0;

    fn add(&mut self, _: &Spec, _: &Rail, _: &Tally, _: &Stretch, _: &Flowed) {}

    fn visit(&mut self, _: &mut dyn Tape) {}
}
