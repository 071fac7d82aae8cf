use super::decode::bytes;
use super::map::{self, pointer};
use super::steps::{LATCH, LATCH_WAIT_US, READ, Serial};
use super::{Corncrake, SPEC};
use crate::Channel;
use crate::alert::{Causes, Kind, Outputs, Plan};
use crate::exchange::{Command, Fault, Read, Step, Turn};
use crate::sampling::Sampling;

/// Stages of arming.
const SET_UP: u8 = 4;
const LIMITS: u8 = 9;
const DEBOUNCE: u8 = LIMITS + SPEC.channels * KINDS;
const HOLD: u8 = DEBOUNCE + SPEC.channels;
const STALE: u8 = HOLD + 1;
const UNMASK_A: u8 = HOLD + 2;
const UNMASK_B: u8 = HOLD + 3;
const KINDS: u8 = Kind::ALL.len() as u8;

/// How often a service reads the causes again: a condition that stands sets its cause again and again.
const SERVICE_TRIES: u8 = 4;

impl Corncrake {
    pub(super) fn arm_stage(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        plan: &Plan<'_>,
        found: &mut Causes,
        read_max: u8,
    ) -> Result<Step, Fault> {
        let put = |pointer, value, width| Step::Put(Command::big_endian(pointer, value, width));
        Ok(match turn.stage {
            0 => turn.next(put(pointer::MASK_A, 0, 3)),
            1 => turn.next(put(pointer::MASK_B, 0, 3)),
            2 => turn.next(read_causes()),
            3 => {
                *found |= causes(turn.block) & plan.watched();
                turn.stage = SET_UP;
                return self.arm_stage(turn, sampling, plan, found, read_max);
            }
            SET_UP..LIMITS => {
                // The last of four stages is RUN; the fifth lets the set-up take over before any limit is judged by it.
                if turn.stage.wrapping_sub(SET_UP) < 4 {
                    let stage = turn.stage;
                    let step = self.set_up(turn, sampling, SET_UP)?;
                    return Ok(turn.then(stage.wrapping_add(1), step));
                }
                turn.next(Step::Wait(LATCH_WAIT_US))
            }
            LIMITS..DEBOUNCE => {
                let number = turn.stage.wrapping_sub(LIMITS);
                let (channel, kind) = (Channel::new(number / KINDS), number % KINDS);
                turn.next(Step::Put(limit(plan, channel, kind)))
            }
            DEBOUNCE..HOLD => {
                let channel = turn.stage.wrapping_sub(DEBOUNCE);
                let counts = debounces(plan, Channel::new(channel));
                turn.next(put(pointer::DEBOUNCE.wrapping_add(channel), counts, 3))
            }
            HOLD => turn.next(put(
                pointer::HOLD,
                bits(plan.held()) | map::cause::ALWAYS_HELD,
                3,
            )),
            // What the limits made of codes that were not meant for them.
            STALE => turn.next(Step::Write(Command::big_endian(
                pointer::CAUSES,
                map::cause::LIMITS,
                3,
            ))),
            UNMASK_A => turn.next(put(pointer::MASK_A, bits(plan.mask(Outputs::A)), 3)),
            UNMASK_B => turn.then(READ, put(pointer::MASK_B, bits(plan.mask(Outputs::B)), 3)),
            _ => return self.block(turn, read_max, Serial::Adopt),
        })
    }

    pub(super) fn service_stage(
        &mut self,
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
        read_max: u8,
    ) -> Result<Step, Fault> {
        match turn.stage {
            0 => Ok(turn.next(read_causes())),
            1 => {
                let seen = causes(turn.block) & interest;
                *found |= seen;
                if seen.is_empty() || turn.tries >= SERVICE_TRIES {
                    turn.tries = 0;
                    turn.stage = LATCH;
                    return self.block(turn, read_max, Serial::Compare);
                }
                turn.tries = turn.tries.wrapping_add(1); // below the limit
                Ok(turn.then(
                    0,
                    Step::Write(Command::big_endian(pointer::CAUSES, bits(seen), 3)),
                ))
            }
            _ => self.block(turn, read_max, Serial::Compare),
        }
    }
}

const fn read_causes() -> Step {
    Step::Read(Read {
        pointer: pointer::CAUSES,
        len: 3,
        at: 0,
        check: true,
    })
}

/// Causes as read into the block's beginning.
fn causes(block: &[u8]) -> Causes {
    let [high, middle, low] = bytes(block, 0);
    let bits = u64::from(u32::from_be_bytes([0, high, middle, low]));
    let mut causes = Causes::from_bits_retain(bits & map::cause::LIMITS);
    causes.set(
        Causes::ROLLOVER_AHEAD,
        bits & map::cause::ROLLOVER_AHEAD != 0,
    );
    causes.set(Causes::ROUND_DONE, bits & map::cause::ROUND_DONE != 0);
    causes.set(Causes::RESET_SEEN, bits & map::cause::RESET_SEEN != 0);
    causes
}

/// Causes as the registers have them.
fn bits(causes: Causes) -> u64 {
    let own = [
        (Causes::ROLLOVER_AHEAD, map::cause::ROLLOVER_AHEAD),
        (Causes::ROUND_DONE, map::cause::ROUND_DONE),
        (Causes::RESET_SEEN, map::cause::RESET_SEEN),
    ];
    own.into_iter()
        .filter(|(cause, _)| causes.contains(*cause))
        .fold(causes.bits() & map::cause::LIMITS, |bits, (_, bit)| {
            bits | bit
        })
}

/// The limit register of a kind; the end of the scale where nothing is watched, which nothing passes.
fn limit(plan: &Plan<'_>, channel: Channel, number: u8) -> Command {
    let (kind, unwatched, width) = match number {
        0 => (Kind::OverVoltage, 0xFFFF, 2),
        1 => (Kind::UnderVoltage, 0, 2),
        2 => (Kind::OverCurrent, 0x0001_FFFF, 3),
        3 => (Kind::UnderCurrent, -0x0002_0000, 3),
        _ => (Kind::OverPower, 0x0001_FFFF_FFFF, 5),
    };
    let code = plan.code(channel, kind).unwrap_or(unwatched);
    let first = pointer::LIMITS.wrapping_add(pointer::LIMITS_STRIDE.wrapping_mul(channel.number()));
    Command::big_endian(first.wrapping_add(number), code as u64, width)
}

/// Five counts of four bits, the first kind lowest.
fn debounces(plan: &Plan<'_>, channel: Channel) -> u64 {
    Kind::ALL.iter().rev().fold(0, |counts, kind| {
        (counts << 4) | u64::from(plan.debounce(channel, *kind))
    })
}
