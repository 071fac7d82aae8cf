use super::{Corncrake, SPEC, map};
use crate::old::Channel;
use crate::old::part::{BusRange, Codec, Codes, Counters, Head, Pace, SenseRange, Spec, Tally};
use crate::old::sampling::{Mode, Ranges};

impl Codec for Corncrake {
    fn spec(&self) -> &'static Spec {
        &SPEC
    }

    fn head(&self, block: &[u8]) -> Head {
        let flags = flags(block);
        Head {
            serial: serial(block),
            mode: mode(byte(block, map::block::MODE)),
            averaging: byte(block, map::block::SETUP) >> 4,
            reset_seen: reset_seen(block),
            complete: flags & map::flag::COMPLETE != 0,
            rounds: u32::from_be_bytes(bytes(block, map::block::ROUNDS)),
        }
    }

    fn ranges(&self, block: &[u8], channel: Channel) -> Option<Ranges> {
        if channel.number() >= SPEC.channels
            || (byte(block, map::block::SETUP) >> channel.number()) & 1 == 0
        {
            return None;
        }
        let ranges = u16::from_be_bytes(bytes(block, map::block::RANGES));
        let [nibble, _] =
            (ranges >> (4_u32.wrapping_mul(u32::from(channel.number())))).to_le_bytes();
        Some(Ranges {
            sense: SenseRange((nibble >> 2) & 1),
            bus: BusRange(nibble & 3),
        })
    }

    fn codes(&self, block: &[u8], channel: Channel) -> Codes {
        let Some([s2, s1, s0, b1, b0, p4, p3, p2, p1, p0, ..]) = fields(block, channel) else {
            return Codes::default();
        };
        let flags = flags(block) >> (2_u32.wrapping_mul(u32::from(channel.number())));
        Codes {
            sense: sign_extended_32([*s2, *s1, *s0]),
            bus: u32::from(u16::from_be_bytes([*b1, *b0])),
            power: i64::from_be_bytes([*p4, *p3, *p2, *p1, *p0, 0, 0, 0]) >> 24,
            sense_clipped: flags & 1 != 0,
            bus_clipped: flags & 2 != 0,
        }
    }

    fn counters(&self, block: &[u8], channel: Channel) -> Counters {
        fields(block, channel).map_or_else(Counters::default, counters_of)
    }

    /// As provided, in one pass over the block.
    fn tally(&self, block: &[u8], rounds: Option<u32>, tallies: &mut [Tally]) {
        let channels = block.get(map::block::CHANNEL..).unwrap_or_default();
        let (channels, _) = channels.as_chunks::<{ map::block::CHANNEL_STRIDE }>();
        let mut flags = u32::from(flags(block));
        for (fields, tally) in channels.iter().zip(tallies) {
            let [_, _, _, b1, b0, ..] = fields;
            let codes = Codes {
                bus: u32::from(u16::from_be_bytes([*b1, *b0])),
                sense_clipped: flags & 1 != 0,
                bus_clipped: flags & 2 != 0,
                ..Codes::default()
            };
            flags >>= 2;
            tally.add(SPEC.accumulators, counters_of(fields), codes, rounds);
        }
    }
}

#[inline(always)]
fn counters_of(fields: &[u8; map::block::CHANNEL_STRIDE]) -> Counters {
    let [
        _,
        _,
        _,
        _,
        _,
        _,
        _,
        _,
        _,
        _,
        c5,
        c4,
        c3,
        c2,
        c1,
        c0,
        energy @ ..,
    ] = fields;
    Counters {
        charge: i64::from_be_bytes([*c5, *c4, *c3, *c2, *c1, *c0, 0, 0]) >> 16,
        energy: i64::from_be_bytes(*energy),
    }
}

/// A channel's fields, all of them in one piece: sense 3, bus 2, power 5, charge 6, energy 8 bytes. `None` where the channel does not exist or the block is too short.
fn fields(block: &[u8], channel: Channel) -> Option<&[u8; map::block::CHANNEL_STRIDE]> {
    if channel.number() >= SPEC.channels {
        return None;
    }
    // Far below `usize`'s end.
    let at =
        map::block::CHANNEL.wrapping_add(map::block::CHANNEL_STRIDE.wrapping_mul(channel.index()));
    block.get(at..)?.first_chunk()
}

/// Set-up serial.
pub(super) fn serial(block: &[u8]) -> u16 {
    u16::from_be_bytes(bytes(block, map::block::SERIAL))
}

/// A reset was seen and not yet cleared.
pub(super) fn reset_seen(block: &[u8]) -> bool {
    flags(block) & map::flag::RESET_SEEN != 0
}

fn flags(block: &[u8]) -> u16 {
    u16::from_be_bytes(bytes(block, map::block::FLAGS))
}

fn mode(byte: u8) -> Mode {
    match byte & 0xF0 {
        map::mode::PACED => Mode::Paced(Pace(byte & 0x0F)),
        map::mode::SINGLE_SHOT => Mode::SingleShot,
        map::mode::BURST => Mode::Burst(Channel::new(byte & 0x0F)),
        _ => Mode::Idle,
    }
}

pub(super) fn byte(block: &[u8], at: usize) -> u8 {
    block.get(at).copied().unwrap_or_default()
}

/// `W` bytes from `at`; zeros where the block is too short.
pub(super) fn bytes<const W: usize>(block: &[u8], at: usize) -> [u8; W] {
    block
        .get(at..)
        .and_then(|rest| rest.first_chunk())
        .copied()
        .unwrap_or([0; W])
}

pub(super) fn sign_extended_32(field: [u8; 3]) -> i32 {
    let [high, mid, low] = field;
    i32::from_be_bytes([high, mid, low, 0]) >> 8
}

#[cfg(test)]
mod tests {
    use super::*;

    const PART: Corncrake = Corncrake::new();

    /// A block of zeros but for `bytes` from `at`; offsets are those of section 5.
    fn block(at: usize, bytes: &[u8]) -> [u8; 111] {
        let mut block = [0; 111];
        block[at..at + bytes.len()].copy_from_slice(bytes);
        block
    }

    #[test]
    fn signs_extend_from_the_top_bit_of_each_width() {
        for channel in Channel::first(4) {
            let base = 13 + 24 * channel.index();
            let sense = |bytes: [u8; 3]| PART.codes(&block(base, &bytes), channel).sense;
            assert_eq!(sense([0xFE, 0, 0]), -131_072);
            assert_eq!(sense([0x01, 0xFF, 0xFF]), 131_071);
            assert_eq!(sense([0xFF, 0xFF, 0xFF]), -1);
            let power = |bytes: [u8; 5]| PART.codes(&block(base + 5, &bytes), channel).power;
            assert_eq!(power([0xFE, 0, 0, 0, 0]), -(1 << 33));
            assert_eq!(power([0x01, 0xFF, 0xFF, 0xFF, 0xFF]), (1 << 33) - 1);
            let charge = |bytes: [u8; 6]| PART.counters(&block(base + 10, &bytes), channel).charge;
            assert_eq!(charge([0xF8, 0, 0, 0, 0, 0]), -(1 << 43));
            assert_eq!(charge([0x07, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]), (1 << 43) - 1);
            let energy = |bytes: [u8; 8]| PART.counters(&block(base + 16, &bytes), channel).energy;
            assert_eq!(energy([0xF8, 0, 0, 0, 0, 0, 0, 0]), -(1 << 59));
            assert_eq!(
                energy([0x07, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]),
                (1 << 59) - 1
            );
            let bus = |bytes: [u8; 2]| PART.codes(&block(base + 3, &bytes), channel).bus;
            assert_eq!((bus([0xFF, 0xFF]), bus([0x80, 0])), (65_535, 32_768));
        }
    }

    /// Each flag bit alone, each ranges nibble alone: nothing leaks into a neighbour.
    #[test]
    fn flags_and_ranges_belong_to_one_channel_each() {
        for bit in 0..16_u16 {
            let block = block(7, &(1_u16 << bit).to_be_bytes());
            let head = PART.head(&block);
            assert_eq!((head.reset_seen, head.complete), (bit == 15, bit == 14));
            for channel in Channel::first(4) {
                let codes = PART.codes(&block, channel);
                let first = 2 * u16::from(channel.number());
                assert_eq!(
                    (codes.sense_clipped, codes.bus_clipped),
                    (bit == first, bit == first + 1)
                );
            }
        }
        for channel in Channel::first(4) {
            for (sense, bus) in [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2)] {
                let number = channel.number();
                let ranges = u16::from(sense << 2 | bus) << (4 * number);
                let [high, low] = ranges.to_be_bytes();
                let block = block(4, &[0x50 | 1 << number, high, low]);
                assert_eq!(PART.head(&block).averaging, 5);
                for other in Channel::first(6) {
                    let expected = Ranges {
                        sense: SenseRange(sense),
                        bus: BusRange(bus),
                    };
                    let expected = (other == channel).then_some(expected);
                    assert_eq!(PART.ranges(&block, other), expected);
                }
            }
        }
    }

    #[test]
    fn what_is_missing_reads_as_zero() {
        for len in 0..111 {
            let block = [0xFF; 111];
            let block = &block[..len];
            let _ = PART.head(block);
            for channel in Channel::first(u8::MAX) {
                let (codes, counters) = (PART.codes(block, channel), PART.counters(block, channel));
                if channel.number() >= 4 {
                    assert_eq!((codes, counters), Default::default());
                    assert_eq!(PART.ranges(block, channel), None);
                }
            }
        }
        assert_eq!(PART.head(&[]).rounds, 0);
    }

    /// The same part without a pass of its own: what the trait provides goes by the other methods.
    struct Plain;

    impl Codec for Plain {
        fn spec(&self) -> &'static Spec {
            &SPEC
        }
        fn head(&self, block: &[u8]) -> Head {
            PART.head(block)
        }
        fn ranges(&self, block: &[u8], channel: Channel) -> Option<Ranges> {
            PART.ranges(block, channel)
        }
        fn codes(&self, block: &[u8], channel: Channel) -> Codes {
            PART.codes(block, channel)
        }
        fn counters(&self, block: &[u8], channel: Channel) -> Counters {
            PART.counters(block, channel)
        }
    }

    /// Blocks of bytes without order, with and without check value and check byte; one to four rails.
    #[test]
    fn one_pass_adds_what_the_provided_method_adds() {
        for rails in 1..=4 {
            let start = Tally::from(Counters::default(), None, true);
            let (mut one, mut other) = ([start; 4], [start; 4]);
            for (turn, len) in [111, 109, 112, 111, 111].into_iter().enumerate() {
                let mut block = [0; 112];
                let mut state = 0x9E37_79B9_u32.wrapping_add(turn as u32);
                for byte in &mut block {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    *byte = (state >> 24) as u8;
                }
                let rounds = (turn != 1).then_some(7 * turn as u32);
                PART.tally(&block[..len], rounds, &mut one[..rails]);
                Plain.tally(&block[..len], rounds, &mut other[..rails]);
                assert_eq!(one, other, "turn {turn}");
            }
            assert!(
                one[..rails]
                    .iter()
                    .all(|tally| tally.charge() != 0 && tally.twice_bus() != 0)
            );
            assert!(one[rails..].iter().all(|tally| *tally == start));
        }
    }
}
