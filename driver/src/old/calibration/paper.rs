//! A Corncrake on paper for the tests of this module: its block is written field by field from the datasheet's section 5, its sums from numbers.

use super::{CalibrationError, Collection};
use crate::old::Channel;
use crate::old::board::{Board, Load, Rail, Shunt};
use crate::old::frame::{Condition, Frame, Stamp};
use crate::old::part::Codec;
use crate::old::part::corncrake::{Corncrake, SPEC};
use crate::units::{Current, Resistance, Tolerance};

pub(super) const CHANNEL: Channel = Channel::C2;

/// A part whose channel 2 counts what it is told, from just below the wraps of its sums.
pub(super) struct Paper {
    board: Board<4>,
    part: Corncrake,
    pub(super) block: [u8; 112],
    pub(super) condition: Condition,
    pub(super) unbroken: bool,
    pub(super) now_us: u64,
    rounds: u32,
    charge: i64,
}

impl Paper {
    /// 1 Ω ± 0.5 % without temperature effects; 26.2144 mV range, 2000 rounds a second.
    pub(super) fn new() -> Self {
        Self::with(Shunt::new(
            Resistance::from_ohms(1),
            Tolerance::from_ppm(5_000),
        ))
    }

    pub(super) fn with(shunt: Shunt) -> Self {
        let rail = Rail::new(shunt, Load::smooth(Current::from_milliamps(26)).both_ways());
        let mut block = [0; 112];
        block[3] = 0x10; // paced, 2000 rounds a second
        block[4] = 0x0F; // all channels
        block[5] = 0x66; // fine sense range, code 1; bus range 2
        block[6] = 0x66;
        Self {
            board: Board::new(&SPEC, [rail; 4]).unwrap(),
            part: Corncrake::new(),
            block,
            condition: Condition::Steady,
            unbroken: true,
            now_us: 1_000_000,
            rounds: 0x0FFF_FFFF,
            charge: (1 << 43) - 1,
        }
    }

    /// Sense range code of the channel.
    pub(super) fn set_sense_range(&mut self, code: u8) {
        self.block[5] = 0x62 | code << 2;
    }

    /// Lets some rounds pass whose sense codes add up to `codes`.
    pub(super) fn run(&mut self, rounds: u32, codes: i64) {
        self.rounds = (self.rounds + rounds) & 0x0FFF_FFFF;
        self.charge = (self.charge + codes) << 20 >> 20;
        self.now_us += u64::from(rounds) * 500;
    }

    pub(super) fn frame(&mut self) -> Frame<'_> {
        self.block[9..13].copy_from_slice(&self.rounds.to_be_bytes());
        let at = 23 + 24 * CHANNEL.index();
        self.block[at..at + 6].copy_from_slice(&self.charge.to_be_bytes()[2..]);
        let head = self.part.head(&self.block);
        Frame {
            codec: &self.part,
            block: &self.block,
            rails: self.board.rails(),
            stamp: Stamp {
                before_us: self.now_us,
                after_us: self.now_us + 100,
            },
            condition: self.condition,
            complete: head.complete,
            rounds: head.rounds,
            mode: head.mode,
            unbroken: self.unbroken,
            joined: false,
            turns: 0,
        }
    }

    /// A frame, then one after each stretch of (rounds, sum of codes).
    pub(super) fn collect(&mut self, stretches: &[(u32, i64)]) -> Collection {
        let mut collection = Collection::new(CHANNEL);
        collection.add(&self.frame()).unwrap();
        for &(rounds, codes) in stretches {
            self.run(rounds, codes);
            collection.add(&self.frame()).unwrap();
        }
        collection
    }

    /// Four stretches of 1000 rounds whose codes add up to `codes`, a multiple of 4.
    pub(super) fn steady(&mut self, codes: i64) -> Collection {
        self.collect(&[(1_000, codes / 4); 4])
    }

    /// What becomes of the present frame after four stretches.
    pub(super) fn refused(&mut self, spoil: impl Fn(&mut Self)) -> CalibrationError {
        let mut collection = self.steady(0);
        self.run(1_000, 0);
        spoil(self);
        let refused = collection.add(&self.frame()).unwrap_err();
        assert_eq!(collection.rounds(), 0, "begins anew");
        refused
    }
}
