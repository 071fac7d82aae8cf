//! The mutants of Corncrake's map. Pointers and offsets are those of its datasheet, sections 3 and 5.

use crake::old::Task;
use crake::old::crc::Crc16;
use crake::old::exchange::{Command, Read, Step};
use crake::old::part::corncrake::SPEC;
use crake::old::part::{Accumulators, PaceSpec, RangeSpec, Spec};

use super::decoding::Decoding;
use super::operating::{How, operating};
use super::{Memory, Tamper};

/// Every mutant of Corncrake.
pub static CORNCRAKE: &[&dyn Tamper] = &[
    &Decoding::WrongSpec("wrong LSB in the Spec", &WRONG_LSB),
    &Decoding::WrongSpec("energy sum one bit narrower in the Spec", &NARROW_ENERGY),
    &Decoding::WrongSpec("a pace's period wrong in the Spec", &WRONG_PERIOD),
    &operating("waits too short", "waits", How::Impatient(5, 1_000)),
    &operating(
        "wait after a reset too short",
        "waits",
        How::Impatient(2, 10_000),
    ),
    &operating(
        "another part's identity accepted",
        "identity",
        How::Patched(identity),
    ),
    &operating("nothing refused", "refusals", How::TakesEverything),
    &Decoding::SenseBytesSwapped,
    &Decoding::BusBytesSwapped,
    &Decoding::SenseSignLost(18),
    &Decoding::BusSigned(16),
    &Decoding::ChannelsReversed(4),
    &operating(
        "channels enabled from the other end",
        "enabled-channels",
        How::Value(&[0x05], turned),
    ),
    &Decoding::RangesOfFirst,
    &Decoding::RangesExchanged,
    &operating(
        "ranges of the other end's channels",
        "ranges",
        How::Value(&[0x06], nibbles_turned),
    ),
    &Decoding::PowerSignLost(40),
    &Decoding::ClippingLost,
    &Decoding::ClippingExchanged,
    &operating(
        "lost frames told to the part as seen",
        "clipping",
        How::Value(&[0x03, 0x04], seen_all),
    ),
    &Decoding::AlwaysComplete,
    &operating(
        "averaging one step too long",
        "averaging",
        How::Value(&[0x07], longer),
    ),
    &operating(
        "another step stamped than the latch's",
        "stamps",
        How::NotStamped,
    ),
    &Decoding::PaceMisread,
    &operating(
        "one pace taken for the next",
        "paces",
        How::Value(&[0x04], slower),
    ),
    &operating(
        "idle goes on converting",
        "idle-and-single-shot",
        How::Value(&[0x04], never_idle),
    ),
    &operating(
        "groups of a burst in reverse order",
        "burst",
        How::Value(&[0x79], from_the_end),
    ),
    &operating(
        "pieces of a block one byte aside",
        "read-in-pieces",
        How::PiecesAside,
    ),
    &operating(
        "torn latch: sense from live registers",
        "coherence",
        How::Afterwards(&LIVE),
    ),
    &Decoding::ChargeCut(43),
    &Decoding::EnergyCut(59),
    &Decoding::RoundsCut(16),
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
        "over- and under-limits exchanged",
        "limit-at-code-boundary",
        How::Exchanged(&OPPOSITES),
    ),
    &operating(
        "hold ignored",
        "held-and-following",
        How::Value(&[0x34], own_alone),
    ),
    &operating(
        "everything held",
        "held-and-following",
        How::Value(&[0x34], all_held),
    ),
    &operating(
        "tells what was not asked for",
        "unknown-bits",
        How::TellsEverything,
    ),
    &operating(
        "clears every cause",
        "clear-only-what-was-seen",
        How::Value(&[0x37], everything),
    ),
    &operating(
        "clears nothing",
        "clear-only-what-was-seen",
        How::Value(&[0x37], nothing),
    ),
    &operating(
        "masks to the other output",
        "masks",
        How::Exchanged(&[(0x35, 0x36)]),
    ),
    &operating(
        "debounce one less",
        "debounce",
        How::Value(&DEBOUNCES, shorter),
    ),
    &operating(
        "debounce of 1 for all",
        "debounce",
        How::Value(&DEBOUNCES, ones),
    ),
    &operating(
        "the part's own causes masked",
        "rollover-ahead",
        How::Value(&[0x35, 0x36], limits_alone),
    ),
    &Decoding::ResetIgnored,
    &operating(
        "joining clears causes",
        "attach",
        How::Last(Task::Attach, clear_all),
    ),
    &operating(
        "set-up serial not compared",
        "foreign-set-up",
        How::Patched(serial),
    ),
    &operating("stale tag accepted", "lost-latch", How::Patched(tag)),
    &operating("effort too small", "longest-time", How::Short),
    &operating("limits not read back", "limit-reads-back", How::NotReadBack),
    &operating("check byte ignored", "check-byte", How::NotVerified),
    &operating(
        "block's check value ignored",
        "block-check",
        How::Patched(sealed),
    ),
];

static WRONG_LSB: Spec = Spec {
    // 400 nV instead of 500.
    sense: &[
        RangeSpec {
            lsb_units: 4,
            ..SPEC.sense[0]
        },
        SPEC.sense[1],
    ],
    ..SPEC
};

static NARROW_ENERGY: Spec = Spec {
    accumulators: Accumulators {
        energy_bits: 59,
        ..SPEC.accumulators
    },
    ..SPEC
};

static WRONG_PERIOD: Spec = Spec {
    paces: &[
        SPEC.paces[0],
        PaceSpec { period_us: 1_000 },
        SPEC.paces[2],
        SPEC.paces[3],
        SPEC.paces[4],
    ],
    ..SPEC
};

/// Limit registers of all channels.
static LIMITS: [u8; 20] = [
    0x10, 0x11, 0x12, 0x13, 0x14, 0x18, 0x19, 0x1A, 0x1B, 0x1C, 0x20, 0x21, 0x22, 0x23, 0x24, 0x28,
    0x29, 0x2A, 0x2B, 0x2C,
];
static OPPOSITES: [(u8, u8); 8] = [
    (0x10, 0x11),
    (0x12, 0x13),
    (0x18, 0x19),
    (0x1A, 0x1B),
    (0x20, 0x21),
    (0x22, 0x23),
    (0x28, 0x29),
    (0x2A, 0x2B),
];
static DEBOUNCES: [u8; 4] = [0x30, 0x31, 0x32, 0x33];
/// SENSE_0 to SENSE_3, to where the block has them.
static LIVE: [(u8, u8, u8); 4] = [(0x60, 3, 13), (0x61, 3, 37), (0x62, 3, 61), (0x63, 3, 85)];

fn turned(channels: u64, _: u8) -> u64 {
    (0..4).fold(0, |turned, bit| turned << 1 | channels >> bit & 1)
}

fn nibbles_turned(ranges: u64, _: u8) -> u64 {
    (0..4).fold(0, |turned, place| turned << 4 | ranges >> (4 * place) & 0xF)
}

/// `seen` is the tag before the new one, whether or not that frame ever came.
fn seen_all(value: u64, _: u8) -> u64 {
    let tag = value >> 8 & 0xFF;
    value & !0xFF | tag.saturating_sub(1)
}

fn longer(k: u64, _: u8) -> u64 {
    (k + 1).min(10)
}

fn slower(run: u64, _: u8) -> u64 {
    if run >> 16 == 0x13 {
        run + 0x01_0000
    } else {
        run
    }
}

fn never_idle(run: u64, _: u8) -> u64 {
    if run >> 16 == 0x00 {
        run | 0x10_0000
    } else {
        run
    }
}

fn from_the_end(index: u64, _: u8) -> u64 {
    1_008 - index
}

/// Ends of the scales, where limits stand that are not in use.
fn is_end(limit: u64, width: u8) -> bool {
    match width {
        2 => limit == 0xFFFF || limit == 0,
        3 => limit == 0x01_FFFF || limit == 0xFE_0000,
        _ => limit == 0x01_FFFF_FFFF,
    }
}

fn higher(limit: u64, width: u8) -> u64 {
    limit.wrapping_add(u64::from(!is_end(limit, width)))
}

fn lower(limit: u64, width: u8) -> u64 {
    limit.wrapping_sub(u64::from(!is_end(limit, width)))
}

/// Rollover ahead, round done and reset seen: what HOLD insists on.
fn own_alone(_: u64, _: u8) -> u64 {
    0x70_0000
}

fn all_held(_: u64, _: u8) -> u64 {
    0x7F_FFFF
}

fn everything(_: u64, _: u8) -> u64 {
    0xFF_FFFF
}

fn nothing(_: u64, _: u8) -> u64 {
    0
}

fn limits_alone(causes: u64, _: u8) -> u64 {
    causes & 0x0F_FFFF
}

fn clear_all() -> Command {
    Command::big_endian(0x37, 0x7F_FFFF, 3)
}

fn shorter(debounce: u64, _: u8) -> u64 {
    (0..5).fold(0, |shorter, place| {
        let count = debounce >> (4 * place) & 0xF;
        shorter | (count - u64::from(count > 1)) << (4 * place)
    })
}

fn ones(_: u64, _: u8) -> u64 {
    0x01_1111
}

fn identity(memory: &Memory, block: &mut [u8]) {
    if matches!(memory.last, Step::Read(Read { pointer: 0x00, .. })) {
        block[..4].copy_from_slice(&[0x9E, 0x37, 0xC4, 0x01]);
    }
}

/// Serials are all the same.
fn serial(memory: &Memory, block: &mut [u8]) {
    if matches!(memory.last, Step::Read(Read { pointer: 0x01, .. })) {
        block[..2].fill(0);
    }
    if is_whole(memory) && is_sound(block) {
        block[1..3].fill(0);
        seal(block);
    }
}

/// Whatever tag was asked for.
fn tag(memory: &Memory, block: &mut [u8]) {
    if let (true, Step::WriteStamped(command)) = (is_whole(memory), memory.latch)
        && let [.., tag, _] = command.data()
        && is_sound(block)
    {
        block[0] = *tag;
        seal(block);
    }
}

fn sealed(memory: &Memory, block: &mut [u8]) {
    if is_whole(memory) {
        seal(block);
    }
}

/// The block's last byte has arrived.
fn is_whole(memory: &Memory) -> bool {
    matches!(memory.last, Step::Read(Read { pointer: 0x80.., len, at, .. }) if u32::from(len) + u32::from(at) == 111)
}

fn is_sound(block: &[u8]) -> bool {
    block[109..111] == crc(block)
}

fn seal(block: &mut [u8]) {
    let crc = crc(block);
    block[109..111].copy_from_slice(&crc);
}

fn crc(block: &[u8]) -> [u8; 2] {
    let mut crc = Crc16::new();
    crc.add_all(&block[..109]);
    crc.value().to_be_bytes()
}
