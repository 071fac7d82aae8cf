use super::decode::{byte, bytes, sign_extended_32};
use super::map::{self, pointer};
use crate::old::exchange::{Command, Fault, Read, Step, Turn};

/// Stages, after those for waiting: two for each sixteen codes.
const CODES: u8 = 3;
/// A burst's 1024 conversions at the slowest oscillator, wake-up included, in two waits and a bit.
pub(super) const WAIT_US: u32 = 33_000;
pub(super) const TRIES: u8 = 3;
/// Bytes of one read of STORE.
pub(super) const STORE_LEN: u8 = 48;

/// Waits for the end of a burst, then fetches sixteen codes at a time.
pub(super) fn fetch_stage(
    turn: &mut Turn<'_>,
    codes: &mut [i32],
    count: &mut usize,
) -> Result<Step, Fault> {
    let read = |pointer, len| {
        Step::Read(Read {
            pointer,
            len,
            at: 0,
            check: true,
        })
    };
    match turn.stage {
        0 => Ok(turn.next(read(pointer::STATE, 1))),
        1 => {
            let mode = byte(turn.block, 0) & map::state::MODE;
            if mode == map::state::BURST {
                let fault = Fault::Stale {
                    expected: 0,
                    got: mode,
                };
                return turn.again(0, Step::Wait(WAIT_US), TRIES, fault);
            }
            Ok(turn.next(read(pointer::STORE_COUNT, 2)))
        }
        2 => {
            let kept = u16::from_be_bytes(bytes(turn.block, 0));
            *count = usize::from(kept.min(map::store::LEN)).min(codes.len());
            turn.stage = CODES;
            Ok(select(turn, 0, *count))
        }
        stage if stage.wrapping_sub(CODES) & 1 == 1 => {
            Ok(turn.next(read(pointer::STORE, STORE_LEN)))
        }
        stage => {
            let first = first_of(stage.wrapping_sub(CODES) / 2);
            keep(
                turn.block,
                first,
                codes.get_mut(..*count).unwrap_or_default(),
            );
            let next = usize::from(first).saturating_add(usize::from(map::store::CODES));
            Ok(select(turn, next, *count))
        }
    }
}

/// Selects the sixteen codes from `first` on, unless there are no more.
fn select(turn: &mut Turn<'_>, first: usize, count: usize) -> Step {
    if first >= count {
        return Step::Done;
    }
    let index = u64::try_from(first)
        .unwrap_or(u64::MAX)
        .min(u64::from(map::store::INDEX_MAX));
    turn.next(Step::Put(Command::big_endian(
        pointer::STORE_INDEX,
        index,
        2,
    )))
}

/// First code of the group that the stage before the one for this group's successor has read: groups count from 1 there.
const fn first_of(group: u8) -> u16 {
    (group as u16)
        .wrapping_sub(1)
        .wrapping_mul(map::store::CODES)
}

fn keep(block: &[u8], first: u16, codes: &mut [i32]) {
    let room = codes
        .iter_mut()
        .skip(usize::from(first))
        .take(usize::from(map::store::CODES));
    for (place, code) in (0..).step_by(map::store::CODE_LEN).zip(room) {
        *code = sign_extended_32(bytes(block, place));
    }
}
