use super::decode::bytes;
use super::map::{self, pointer};
use super::steps::{LATCH_WAIT_US, READ, Serial};
use super::{Corncrake, SPEC};
use crate::old::Channel;
use crate::old::alert::{Cause, Causes, Kind, Outputs, Plan};
use crate::old::exchange::{Command, Fault, Read, Step, Turn};
use crate::old::sampling::Sampling;

/// Stages of arming.
const DISARM: u8 = 4;
const READ_AGAIN: u8 = DISARM + LIMITS_OF_ALL;
const CLEAR: u8 = READ_AGAIN + 1;
const SET_UP: u8 = READ_AGAIN + 2;
const TAKEN_OVER: u8 = SET_UP + 4;
const DEBOUNCE: u8 = TAKEN_OVER + 1;
const HOLD: u8 = DEBOUNCE + SPEC.channels;
const LIMITS: u8 = HOLD + 1;
const UNMASK_A: u8 = LIMITS + LIMITS_OF_ALL;
const UNMASK_B: u8 = UNMASK_A + 1;
const READ_SERIAL: u8 = UNMASK_B + 1;
const KEEP_SERIAL: u8 = READ_SERIAL + 1;
const KINDS: u8 = Kind::ALL.len() as u8;
const LIMITS_OF_ALL: u8 = SPEC.channels * KINDS;

impl Corncrake {
    /// Outputs masked; limits in force moved to the end of the scale, where nothing passes them; causes read and cleared: all of them were set under the old limits and ranges.
    /// Then the set-up, debounce and hold, and the new limits last, so that whatever sets a cause from there on is meant.
    pub(super) fn arm_stage(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        plan: &Plan<'_>,
        found: &mut Causes,
        read_max: u8,
    ) -> Result<Step, Fault> {
        loop {
            // What a stage writes and reads back; stages that do something else have gone on by themselves.
            let (pointer, value, width) = match turn.stage {
                0 => {
                    self.settled = false;
                    (pointer::MASK_A, 0, 3)
                }
                1 => (pointer::MASK_B, 0, 3),
                // Before the limits move, too: a cause that follows goes with its limit.
                2 | READ_AGAIN => return Ok(turn.next(read_causes())),
                3 => {
                    *found |= self.of_old_watches(causes(turn.block));
                    turn.stage = DISARM;
                    continue;
                }
                DISARM..READ_AGAIN => {
                    let (channel, kind) = numbered(turn.stage.wrapping_sub(DISARM));
                    if !self
                        .watched
                        .contains(Causes::of(Cause::Limit(channel, kind)))
                    {
                        turn.stage = turn.stage.wrapping_add(1);
                        continue;
                    }
                    limit(channel, kind, None)
                }
                CLEAR => {
                    let seen = causes(turn.block);
                    *found |= self.of_old_watches(seen);
                    // Of limits no further one can come; of the part's own, those that come now stay.
                    return Ok(turn.next(clear(seen)));
                }
                SET_UP..TAKEN_OVER => {
                    self.watched = Causes::empty();
                    let next = turn.stage.wrapping_add(1);
                    let step = self.set_up(turn, sampling, SET_UP);
                    turn.stage = next;
                    return step;
                }
                TAKEN_OVER => return Ok(turn.next(Step::Wait(LATCH_WAIT_US))),
                DEBOUNCE..HOLD => {
                    let channel = Channel::new(turn.stage.wrapping_sub(DEBOUNCE));
                    if !plan.watched().intersects(Causes::channel(channel)) {
                        turn.stage = turn.stage.wrapping_add(1);
                        continue;
                    }
                    let pointer = pointer::DEBOUNCE.wrapping_add(channel.number());
                    (pointer, debounces(plan, channel), 3)
                }
                HOLD => {
                    let held = bits(plan.held()) | map::cause::ALWAYS_HELD;
                    (pointer::HOLD, held, 3)
                }
                LIMITS..UNMASK_A => {
                    self.watched = plan.watches().interest();
                    let (channel, kind) = numbered(turn.stage.wrapping_sub(LIMITS));
                    let Some(code) = plan.code(channel, kind) else {
                        turn.stage = turn.stage.wrapping_add(1);
                        continue;
                    };
                    limit(channel, kind, Some(code))
                }
                UNMASK_A => (pointer::MASK_A, bits(plan.mask(Outputs::A)), 3),
                UNMASK_B => (pointer::MASK_B, bits(plan.mask(Outputs::B)), 3),
                // The block was copied when the set-up took over: what was written since is not in its serial.
                READ_SERIAL => return Ok(turn.next(read(pointer::SERIAL, 2))),
                KEEP_SERIAL => {
                    self.serial = u16::from_be_bytes(bytes(turn.block, 0));
                    turn.stage = READ;
                    continue;
                }
                _ => return self.block(turn, read_max, Serial::Known),
            };
            return Ok(turn.next(Step::Put(Command::big_endian(pointer, value, width))));
        }
    }

    /// What of the causes that stand was watched for: limits all, since unwatched ones are never passed; of the part's own those alone that were asked for.
    fn of_old_watches(&self, causes: Causes) -> Causes {
        causes & (Causes::LIMITS | self.watched)
    }

    pub(super) fn look_stage(
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
        more: &mut bool,
    ) -> Step {
        match turn.stage {
            0 => turn.next(read_causes()),
            1 => {
                let seen = causes(turn.block) & interest;
                if seen.is_empty() {
                    return Step::Done;
                }
                // Before it is cleared: should the clearing fail, it may have taken effect nevertheless.
                *found |= seen;
                *more = true;
                turn.next(clear(seen))
            }
            _ => Step::Done,
        }
    }
}

/// Channel and kind of a limit, counted through all channels.
fn numbered(number: u8) -> (Channel, Kind) {
    let kind = Kind::ALL.get(usize::from(number % KINDS));
    (
        Channel::new(number / KINDS),
        kind.copied().unwrap_or(Kind::OverVoltage),
    )
}

const fn read_causes() -> Step {
    read(pointer::CAUSES, 3)
}

pub(super) const fn read(pointer: u8, len: u8) -> Step {
    Step::Read(Read {
        pointer,
        len,
        at: 0,
        check: true,
    })
}

fn clear(seen: Causes) -> Step {
    Step::Write(Command::big_endian(pointer::CAUSES, bits(seen), 3))
}

/// The part's own causes stand in the same order here and there, so far apart.
const OWN: u32 =
    Causes::ROLLOVER_AHEAD.bits().trailing_zeros() - map::cause::ROLLOVER_AHEAD.trailing_zeros();
const _: () = assert!(
    Causes::ROLLOVER_AHEAD.bits() == map::cause::ROLLOVER_AHEAD << OWN
        && Causes::ROUND_DONE.bits() == map::cause::ROUND_DONE << OWN
        && Causes::RESET_SEEN.bits() == map::cause::RESET_SEEN << OWN
);

/// Causes as read into the block's beginning.
fn causes(block: &[u8]) -> Causes {
    let [high, middle, low] = bytes(block, 0);
    let bits = u64::from(u32::from_be_bytes([0, high, middle, low]));
    Causes::from_bits_retain(bits & map::cause::LIMITS | (bits & map::cause::ALWAYS_HELD) << OWN)
}

/// Causes as the registers have them.
const fn bits(causes: Causes) -> u64 {
    causes.bits() & map::cause::LIMITS | (causes.bits() >> OWN) & map::cause::ALWAYS_HELD
}

/// The limit register of a kind, its value and its width; without a code the end of the scale, which nothing passes.
fn limit(channel: Channel, kind: Kind, code: Option<i64>) -> (u8, u64, u8) {
    let (unwatched, width) = match kind {
        Kind::OverVoltage => (0xFFFF, 2),
        Kind::UnderVoltage => (0, 2),
        Kind::OverCurrent => (0x0001_FFFF, 3),
        Kind::UnderCurrent => (-0x0002_0000, 3),
        Kind::OverPower => (0x0001_FFFF_FFFF, 5),
    };
    let first = pointer::LIMITS.wrapping_add(pointer::LIMITS_STRIDE.wrapping_mul(channel.number()));
    let pointer = first.wrapping_add(kind.index() as u8);
    (pointer, code.unwrap_or(unwatched) as u64, width)
}

/// Five counts of four bits, the first kind lowest.
fn debounces(plan: &Plan<'_>, channel: Channel) -> u64 {
    Kind::ALL.iter().rev().fold(0, |counts, kind| {
        (counts << 4) | u64::from(plan.debounce(channel, *kind))
    })
}
