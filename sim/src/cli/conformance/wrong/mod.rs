//! Corncrake's map once more, plainly, from docs/corncrake-datasheet.md, and with one mistake at
//! a time: what the kit has to find.

mod block;
mod limits;
mod map;

use std::rc::Rc;

use crake::info::PartInfo;
use crake::units::Voltage;

use crate::conformance::{Corncrake, Fixture, Stated, Subject};
use block::Block;
use map::Map;

/// Each mistake, and the check that is about it.
#[rustfmt::skip]
pub(super) const MISTAKES: &[(&str, &str)] = &[
    ("a capture is waited for without end", "ends"),
    ("identity low byte first", "init"),
    ("another part's identity accepted", "identity"),
    ("stops the part before it looks what it is", "identity"),
    ("sense bytes swapped", "byte-order"),
    ("rail bytes swapped", "byte-order"),
    ("channels in reverse order", "channel-order"),
    ("sign of sense lost", "signs"),
    ("sense and rail range exchanged", "scale-of-sense"),
    ("rail taken as signed", "scale-of-rail"),
    ("ranges of the other end's channels", "ranges"),
    ("channels enabled from the other end", "enabled-channels"),
    ("sign of power lost", "power"),
    ("stamped as if latched at once", "stamps"),
    ("triggered once and never again", "single-shot"),
    ("single-shot of one scan more", "single-shot"),
    ("a single-shot for a scan rate", "modes"),
    ("a scan rate for a single-shot", "modes"),
    ("wait 10 % too short", "waits"),
    ("wake-up left out of the wait", "waits"),
    ("stale result taken as new, too early", "waits"),
    ("taken as complete too early", "averaging"),
    ("averaging one step too long", "averaging"),
    ("averaging one step too short", "averaging"),
    ("one scan rate taken for the next", "scan-rates"),
    ("pieces of a block one byte aside", "read-in-pieces"),
    ("sense from live registers", "coherence"),
    ("over-range flags lost", "over-range"),
    ("sense flag told as rail flag", "over-range"),
    ("over-range of another channel", "over-range"),
    ("lost samples told to the part as seen", "over-range"),
    ("codes of a capture from the end", "fast-capture"),
    ("charge of the channel before", "running-sums"),
    ("sign of charge lost", "running-sums"),
    ("charge sum one bit too narrow", "rollover-charge"),
    ("energy sum one bit too narrow", "rollover-energy"),
    ("count of scans cut to 16 bits", "rollover-scans"),
    ("limits one code too high", "limit-at-code"),
    ("limits one code too low", "limit-at-code"),
    ("over and under exchanged", "limit-at-code"),
    ("limits of the other end's channels", "limit-at-code"),
    ("latching ignored", "latching"),
    ("everything latches", "latching"),
    ("limits left in the part", "limits-removed"),
    ("configure clears flags", "limits-removed"),
    ("clears every flag", "clears-what-was-seen"),
    ("clears nothing", "clears-what-was-seen"),
    ("a clear that is repeated", "lost-events"),
    ("masks to the other output", "masks"),
    ("debounce one less", "debounce"),
    ("debounce of 1 for all", "debounce"),
    ("the part's own flags masked", "rollover-ahead"),
    ("limits not read back", "limits-read-back"),
    ("check byte of flags ignored", "check-byte"),
    ("block's check value ignored", "block-check"),
    ("stale tag accepted", "lost-latch"),
    ("note of a reset ignored", "reset"),
    ("resume takes what stands", "resume"),
    ("resume clears flags", "resume"),
    ("resume writes", "resume"),
    ("count of writes not compared", "foreign-writes"),
    ("tries of its own that nobody counts", "longest-time"),
    ("a failed look is an empty one", "bus-errors"),
];

/// Wrong figures; `info` is about all of them.
pub(super) const FIGURES: &[(&str, Change)] = &[
    ("LSB wrong", |info| {
        info.sense_ranges = first(info.sense_ranges, |range| range.lsb_units = 4);
    }),
    ("least code wrong", |info| {
        info.sense_ranges = first(info.sense_ranges, |range| range.code_min += 1);
    }),
    ("gain limit wrong", |info| {
        info.sense_errors = first(info.sense_errors, |errors| errors.gain_ppm = 200);
    }),
    ("offset limit wrong", |info| {
        info.rail_errors = first(info.rail_errors, |errors| errors.offset = Voltage::ZERO);
    }),
    ("noise wrong", |info| {
        info.sense_errors = first(info.sense_errors, |errors| errors.noise = Voltage::ZERO);
    }),
    ("energy sum narrower", |info| info.sum_bits.energy = 59),
    ("a scan period wrong", |info| {
        info.scan_periods_us = first(info.scan_periods_us, |period_us| *period_us = 400);
    }),
    ("skew wrong", |info| info.skew_us = 500),
    ("wake-up time wrong", |info| info.wake_us = 15),
    ("oscillator too good", |info| {
        info.oscillator.error_ppm = 1_500
    }),
    ("greatest debounce wrong", |info| {
        info.alerts.debounce_max = 16
    }),
];

type Change = fn(&mut PartInfo);

/// A table with its first entry changed.
fn first<T: Copy>(table: &[T], change: impl FnOnce(&mut T)) -> &'static [T] {
    let mut table = table.to_vec();
    change(&mut table[0]);
    table.leak()
}

/// The wrong map on the bench's model.
pub(super) struct WrongCorncrake(pub(super) &'static str);

impl Subject<4> for WrongCorncrake {
    type Part = Map;

    fn stated(&self) -> Stated {
        Corncrake::STATED
    }

    fn map(&self) -> Map {
        Map::new(self.0)
    }

    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture> {
        Corncrake::bench(oscillator_ppm)
    }
}
