use super::{Corncrake, SPEC, map};
use crate::Channel;
use crate::part::{BusRange, Codec, Codes, Counters, Head, Pace, SenseRange, Spec};
use crate::sampling::{Mode, Ranges};

impl Codec for Corncrake {
    fn spec(&self) -> &'static Spec {
        &SPEC
    }

    fn head(&self, block: &[u8]) -> Head {
        let flags = flags(block);
        Head {
            serial: u16::from_be_bytes(bytes(block, map::block::SERIAL)),
            mode: mode(byte(block, map::block::MODE)),
            averaging: byte(block, map::block::SETUP) >> 4,
            reset_seen: flags & map::flag::RESET_SEEN != 0,
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
        let Some(at) = offset(channel) else {
            return Codes::default();
        };
        let flags = flags(block) >> (2_u32.wrapping_mul(u32::from(channel.number())));
        Codes {
            sense: sign_extended_32(bytes(block, at.wrapping_add(map::block::SENSE))),
            bus: u32::from(u16::from_be_bytes(bytes(
                block,
                at.wrapping_add(map::block::BUS),
            ))),
            power: sign_extended_64(bytes::<5>(block, at.wrapping_add(map::block::POWER))),
            sense_clipped: flags & 1 != 0,
            bus_clipped: flags & 2 != 0,
        }
    }

    fn counters(&self, block: &[u8], channel: Channel) -> Counters {
        let Some(at) = offset(channel) else {
            return Counters::default();
        };
        Counters {
            charge: sign_extended_64(bytes::<6>(block, at.wrapping_add(map::block::CHARGE))),
            energy: i64::from_be_bytes(bytes(block, at.wrapping_add(map::block::ENERGY))),
        }
    }
}

/// Where a channel's fields begin. The numbers are far below `usize`'s end.
const fn offset(channel: Channel) -> Option<usize> {
    if channel.number() >= SPEC.channels {
        return None;
    }
    Some(map::block::CHANNEL.wrapping_add(map::block::CHANNEL_STRIDE.wrapping_mul(channel.index())))
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

fn sign_extended_64<const W: usize>(field: [u8; W]) -> i64 {
    let mut wide = [0; 8];
    for (to, from) in wide.iter_mut().zip(field) {
        *to = from;
    }
    let spare = 64_u32.saturating_sub(8_u32.saturating_mul(W as u32));
    i64::from_be_bytes(wide)
        .checked_shr(spare)
        .unwrap_or_default()
}
