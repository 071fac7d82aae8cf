//! The mutants of Moorhen's map, and of what the driver makes up for it. Pointers are those of its datasheet, section 3; words go low byte first.

use crake::old::exchange::{Read, Step};
use crake::old::part::moorhen::SPEC;
use crake::old::part::{RangeSpec, Spec};

use super::decoding::Decoding;
use super::operating::{How, operating};
use super::{Memory, Tamper};

/// Every mutant of Moorhen.
pub static MOORHEN: &[&dyn Tamper] = &[
    &Decoding::WrongSpec("wrong LSB in the Spec", &WRONG_LSB),
    &operating("waits too short", "waits", How::Impatient(4, 1_000)),
    &operating(
        "another part's identity accepted",
        "identity",
        How::Patched(identity),
    ),
    &operating("nothing refused", "refusals", How::TakesEverything),
    &operating(
        "halves of a code exchanged",
        "byte-order",
        How::Patched(swapped),
    ),
    &Decoding::SenseSignLost(12),
    &Decoding::BusSigned(12),
    &Decoding::ChannelsReversed(2),
    &operating(
        "another step stamped than the trigger",
        "stamps",
        How::NotStamped,
    ),
    &Decoding::RangesOfFirst,
    &Decoding::PowerSignLost(24),
    &Decoding::ClippingLost,
    &Decoding::ClippingExchanged,
    &operating(
        "limits one code too high",
        "limit-at-code-boundary",
        How::Value(&LIMITS, higher),
    ),
    &operating(
        "limits one code too low",
        "limit-at-code-boundary",
        How::Value(&LIMITS, lower),
    ),
    &operating(
        "limits of sense and bus exchanged",
        "limit-at-code-boundary",
        How::Exchanged(&[(0xA1, 0xA2), (0xB1, 0xB2)]),
    ),
    &operating(
        "clears every cause",
        "clear-only-what-was-seen",
        How::Value(&[0x3C], everything),
    ),
    &operating(
        "clears nothing",
        "clear-only-what-was-seen",
        How::Value(&[0x3C], nothing),
    ),
    &operating(
        "nothing reaches the output",
        "masks",
        How::Value(&[0x3A], nothing),
    ),
    &Decoding::ResetIgnored,
    &operating("limits not read back", "limit-reads-back", How::NotReadBack),
    &operating("effort too small", "longest-time", How::Short),
];

static WRONG_LSB: Spec = Spec {
    // 45 µV instead of 36.
    sense: &[
        RangeSpec {
            lsb_units: 5,
            ..SPEC.sense[0]
        },
        SPEC.sense[1],
    ],
    ..SPEC
};

static LIMITS: [u8; 4] = [0xA1, 0xA2, 0xB1, 0xB2];

fn identity(memory: &Memory, block: &mut [u8]) {
    if let Step::Read(Read {
        pointer: 0x35, at, ..
    }) = memory.last
    {
        let at = usize::from(at);
        block[at..at + 2].copy_from_slice(&[0xE4, 0x91]);
    }
}

/// The results' words, but not what stands beside the code: count and channel are where they are looked for.
fn swapped(memory: &Memory, block: &mut [u8]) {
    if let Step::Read(Read {
        pointer: 0xA5 | 0xA6 | 0xB5 | 0xB6,
        at,
        ..
    }) = memory.last
    {
        let at = usize::from(at);
        let word = u16::from_le_bytes([block[at], block[at + 1]]);
        let code = word >> 3 & 0xFFF;
        let turned = (code << 8 | code >> 4) & 0xFFF;
        let word = word & 0x8007 | turned << 3;
        block[at..at + 2].copy_from_slice(&word.to_le_bytes());
    }
}

/// As the map has it, from a value whose bytes stand in wire order.
fn word(value: u64) -> u16 {
    (value as u16).swap_bytes()
}

fn higher(value: u64, _: u8) -> u64 {
    let ends = [0x7FF8, 0x3FF8];
    let limit = word(value);
    let wrong = if ends.contains(&limit) {
        limit
    } else {
        limit.wrapping_add(8) & 0x7FF8
    };
    wrong.swap_bytes().into()
}

fn lower(value: u64, _: u8) -> u64 {
    let ends = [0x7FF8, 0x3FF8, 0];
    let limit = word(value);
    let wrong = if ends.contains(&limit) {
        limit
    } else {
        limit.wrapping_sub(8) & 0x7FF8
    };
    wrong.swap_bytes().into()
}

fn everything(_: u64, _: u8) -> u64 {
    0xFFFF
}

fn nothing(_: u64, _: u8) -> u64 {
    0
}
