//! A part of many habits at once, as somebody ported it by the guide alone: flags cleared by
//! reading, one mask bit for all, set-up and trigger in one register that a reset leaves as it is
//! wanted, low byte first with check bytes, means, and a charge sum alone with a count of scans.
//!
//! **Dotterel** (fictional), address 0x26: registers are low byte first, every transfer ends with a
//! check byte, and a write whose check byte is wrong is refused at that byte.
//!
//! | pointer | name | bytes | reset | what it is |
//! |---|---|---|---|---|
//! | 0x02 | KIND | 2 | 0xD07E | fixed |
//! | 0x05 | SETUP | 2 | 0x0007 | bits 0 to 2: channels; 4 to 6: k; 8: ALERT lets all flags to the output; 15: LATCH |
//! | 0x09 | FLAGS | 1 | 0 | bit c: a scan of c was above LIMIT c; cleared by being read |
//! | 0x0C + c | LIMIT c | 2 | 0x1FFF | sense code, 14 bits, upper two read zero |
//! | 0x20 | COUNT | 3 | 0 | latched: scans since reset, 24 bits |
//! | 0x21 | STATE | 1 | 0 | latched: bit 0, at least one mean is finished |
//! | 0x30 + c, 0x38 + c | SENSE c, RAIL c | 2 | 0 | latched: mean codes of 14 bits with sign, of 12 bits |
//! | 0x40 + c | CHARGE c | 5 | 0 | latched: sum of the sense codes of all scans since reset |
//!
//! It scans each 4 ms while a channel is enabled, sense then rail of each, 600 µs each, 200 µs
//! after waking up. A change of channels or k begins the mean anew; COUNT and CHARGE go on. SETUP
//! with LATCH set copies results, COUNT and CHARGE at the end of the scan in progress, and takes
//! the other bits over as well. Sense LSB 7 µV, rail LSB 9 mV; the code at the end alone tells of
//! over-range, and inside a mean or a sum nothing does. Oscillator ±1.5 %; a reset takes 600 µs.

mod map;
mod script;

use std::rc::Rc;

use crake::config::{Kind, Outputs};
use crake_sim::conformance::{Fixture, OverRange, Stated, StatedRange, Subject, check};

use map::Dotterel;

const STATED: Stated = Stated {
    channels: 3,
    sense: &[StatedRange::signed(57_344_000, 14).errors(3_000, 20_000, 3_000)],
    rail: &[StatedRange::unsigned(36_864_000_000, 12).errors(4_000, 16_000_000, 2_000_000)],
    bias_na: 60,
    offset_stability_nv: 1_000,
    periods_us: &[4_000],
    conversion_ns: 600_000,
    averaging_log2_max: 6,
    oscillator_ppm: 15_000,
    wander_ppm: 2_000,
    wake_us: 200,
    reset_us: 600,
    charge_bits: 40,
    scans_bits: 24,
    kinds: &[&[Kind::OverCurrent]],
    outputs: Outputs::A,
    over_range: OverRange::EndCode,
    check_byte: true,
    identity: true,
    cleared_by_reading: true,
    tells_reset: true,
    tells_lost_trigger: true,
    tells_change_while_read: true,
    ..Stated::PLAIN
};

/// So many of its channels: all of them, without means, is what a reset leaves.
struct Bench<const N: usize>;

impl<const N: usize> Subject<N> for Bench<N> {
    type Part = Dotterel;

    fn stated(&self) -> Stated {
        STATED
    }

    fn map(&self) -> Dotterel {
        Dotterel::default()
    }

    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture> {
        script::fixture(oscillator_ppm)
    }
}

#[test]
fn dotterel_is_what_its_datasheet_says() {
    check(&Bench::<3>).assert();
}

#[test]
fn two_channels() {
    check(&Bench::<2>).assert();
}
