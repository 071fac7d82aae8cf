use super::alerts::read;
use super::burst;
use super::decode::{self, byte, bytes};
use super::effort::effort;
use super::map::{self, pointer};
use super::{Corncrake, SPEC};
use crate::crc::Crc16;
use crate::old::Task;
use crate::old::alert::{Causes, Plan};
use crate::old::exchange::{Command, Effort, Fault, Read, Step, Turn};
use crate::old::part::{Codec, Joint, Part};
use crate::old::sampling::{Mode, Sampling};

/// From the write of a latch until it has surely taken place: the longest round, at the slowest oscillator, rounded up.
pub(super) const LATCH_WAIT_US: u32 = 510;
/// From the write of a reset until the part surely answers.
pub(super) const RESET_WAIT_US: u32 = SPEC.reset_us + SPEC.reset_us / 10;
/// How often a block is read, or waited for, before the operation gives up.
pub(super) const BLOCK_TRIES: u8 = 3;

/// Stages that several operations share: latch, wait, then read the block in pieces, one stage a piece.
pub(super) const LATCH: u8 = 119;
const ASK: u8 = 120;
const WAIT: u8 = 121;
pub(super) const READ: u8 = 122;
/// The stages before them at which `attach` reads the block that is in place, and the set-up serial.
const READ_PRESENT: u8 = 2;
const PRESENT_READ: u8 = LATCH - 1;

/// What a block's set-up serial is good for.
#[derive(Clone, Copy)]
pub(super) enum Serial {
    /// We wrote ourselves: it is the one to expect from now on.
    Adopt,
    /// Nobody should have written.
    Compare,
    /// We wrote after the block was copied, and know its successor already.
    Known,
}

impl Part for Corncrake {
    type Block = [u8; map::block::LEN as usize + 1];
    const EMPTY: Self::Block = [0; map::block::LEN as usize + 1];
    const CHECKED: bool = true;

    fn check(&self, sampling: &Sampling<'_>) -> Result<(), Fault> {
        sampling.check(&SPEC).map_err(Fault::Misuse)
    }

    fn init(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        read_max: u8,
    ) -> Result<Step, Fault> {
        match turn.stage {
            0 => Ok(turn.next(identity())),
            1 => {
                identified(turn.block)?;
                Ok(turn.next(Step::Write(Command::big_endian(
                    pointer::RESTART,
                    map::RESTART_VALUE,
                    1,
                ))))
            }
            2 => {
                // Not before the reset is known to have come: until then the block in place may have any tag.
                (self.tag, self.seen) = (0, 0);
                self.watched = Causes::empty();
                Ok(turn.next(Step::Wait(RESET_WAIT_US)))
            }
            3 => Ok(turn.next(Step::Put(Command::big_endian(
                pointer::GUARD,
                map::GUARD_CHECKED,
                1,
            )))),
            4 => Ok(turn.next(Step::Write(Command::big_endian(
                pointer::BOOT,
                map::BOOT_CLEAR,
                1,
            )))),
            5..=8 => self.set_up(turn, sampling, 5),
            _ => self.block(turn, read_max, Serial::Adopt),
        }
    }

    fn attach(&mut self, turn: &mut Turn<'_>, joint: &Joint, read_max: u8) -> Result<Step, Fault> {
        match turn.stage {
            0 => Ok(turn.next(identity())),
            1 => {
                identified(turn.block)?;
                // A latch that our predecessor asked for may still be due. Were it to happen between the two reads, its tag could be ours.
                Ok(turn.then(READ_PRESENT, Step::Wait(LATCH_WAIT_US)))
            }
            READ_PRESENT..PRESENT_READ => {
                if let Some(piece) = piece(turn.stage.wrapping_sub(READ_PRESENT), read_max) {
                    return Ok(turn.next(piece));
                }
                if let Err(fault) = intact(turn.block) {
                    return turn.again(READ_PRESENT, Step::Wait(LATCH_WAIT_US), BLOCK_TRIES, fault);
                }
                let head = self.head(turn.block);
                if head.reset_seen {
                    return Err(Fault::ResetSeen);
                }
                self.watched = Causes::LIMITS;
                self.tag = byte(turn.block, map::block::TAG);
                // No tag that a latch has: whoever latched that block may not have seen its flags, so let them be carried over.
                self.seen = 0;
                turn.tries = 0;
                // The block in place may be older than the writes that our predecessor made last: limits are armed after it was copied.
                Ok(turn.then(PRESENT_READ, read(pointer::SERIAL, 2)))
            }
            PRESENT_READ => {
                let got = u16::from_be_bytes(bytes(turn.block, 0));
                if got != joint.serial {
                    let expected = joint.serial;
                    return Err(Fault::SetUpChanged { expected, got });
                }
                (self.serial, self.settled) = (got, true);
                turn.stage = LATCH;
                self.block(turn, read_max, Serial::Compare)
            }
            _ => self.block(turn, read_max, Serial::Compare),
        }
    }

    fn latch(&mut self, turn: &mut Turn<'_>, read_max: u8) -> Result<Step, Fault> {
        turn.stage = turn.stage.max(LATCH);
        self.block(turn, read_max, Serial::Compare)
    }

    fn configure(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        read_max: u8,
    ) -> Result<Step, Fault> {
        match turn.stage {
            0..=3 => self.set_up(turn, sampling, 0),
            _ => self.block(turn, read_max, Serial::Adopt),
        }
    }

    fn arm(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        plan: &Plan<'_>,
        found: &mut Causes,
        read_max: u8,
    ) -> Result<Step, Fault> {
        self.arm_stage(turn, sampling, plan, found, read_max)
    }

    fn look(
        &mut self,
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
        more: &mut bool,
    ) -> Result<Step, Fault> {
        Ok(Self::look_stage(turn, interest, found, more))
    }

    fn fetch(
        &mut self,
        turn: &mut Turn<'_>,
        codes: &mut [i32],
        count: &mut usize,
    ) -> Result<Step, Fault> {
        burst::fetch_stage(turn, codes, count)
    }

    fn effort(task: Task, read_max: u8) -> Effort {
        effort(task, read_max)
    }

    fn joint(&self) -> Joint {
        Joint {
            serial: self.serial,
        }
    }
}

impl Corncrake {
    /// Four stages from `first`: the set-up registers, then RUN, which latches and takes them over; goes on to the shared stages.
    pub(super) fn set_up(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        first: u8,
    ) -> Result<Step, Fault> {
        Ok(match turn.stage.wrapping_sub(first) {
            0 => {
                self.settled = false;
                turn.next(Step::Put(Command::big_endian(
                    pointer::CHANNELS,
                    channels(sampling),
                    1,
                )))
            }
            1 => turn.next(Step::Put(Command::big_endian(
                pointer::RANGES,
                ranges(sampling),
                2,
            ))),
            2 => turn.next(Step::Put(Command::big_endian(
                pointer::AVERAGING,
                u64::from(sampling.averaging),
                1,
            ))),
            _ => {
                self.advance_tag();
                let run =
                    u64::from_be_bytes([0, 0, 0, 0, 0, mode(sampling.mode), self.tag, self.seen]);
                turn.then(
                    WAIT,
                    Step::WriteStamped(Command::big_endian(pointer::RUN, run, 3)),
                )
            }
        })
    }

    /// The shared stages: latch, wait, read, judge.
    pub(super) fn block(
        &mut self,
        turn: &mut Turn<'_>,
        read_max: u8,
        serial: Serial,
    ) -> Result<Step, Fault> {
        match turn.stage {
            // A change that came to no end may still be due; a latch asked for now would take its place and be described by the set-up before.
            LATCH if !self.settled => Ok(turn.next(Step::Wait(LATCH_WAIT_US))),
            LATCH | ASK => {
                turn.stage = ASK;
                self.advance_tag();
                let latch = u64::from_be_bytes([0, 0, 0, 0, 0, 0, self.tag, self.seen]);
                Ok(turn.next(Step::WriteStamped(Command::big_endian(
                    pointer::LATCH,
                    latch,
                    2,
                ))))
            }
            WAIT => Ok(turn.next(Step::Wait(LATCH_WAIT_US))),
            stage => match piece(stage.wrapping_sub(READ), read_max) {
                Some(piece) => Ok(turn.next(piece)),
                None => self.judge(turn, serial),
            },
        }
    }

    /// A block is in: is it whole, the one asked for, and still of our set-up?
    fn judge(&mut self, turn: &mut Turn<'_>, serial: Serial) -> Result<Step, Fault> {
        if let Err(fault) = intact(turn.block) {
            return turn.again(READ, Step::Wait(LATCH_WAIT_US), BLOCK_TRIES, fault);
        }
        let (serial_there, reset_seen) =
            (decode::serial(turn.block), decode::reset_seen(turn.block));
        if reset_seen {
            // The block says so itself; the tag is gone with everything else.
            (self.tag, self.seen) = (
                byte(turn.block, map::block::TAG),
                byte(turn.block, map::block::TAG),
            );
            return Ok(Step::Done);
        }
        let tag = byte(turn.block, map::block::TAG);
        if tag != self.tag {
            let fault = Fault::Stale {
                expected: self.tag,
                got: tag,
            };
            return turn.again(READ, Step::Wait(LATCH_WAIT_US), BLOCK_TRIES, fault);
        }
        match serial {
            Serial::Compare if self.settled && serial_there != self.serial => {
                // The block is not handed over, so neither are its flags: it counts as unseen.
                return Err(Fault::SetUpChanged {
                    expected: self.serial,
                    got: serial_there,
                });
            }
            Serial::Adopt | Serial::Compare => self.serial = serial_there,
            Serial::Known => {}
        }
        (self.seen, self.settled) = (tag, true);
        Ok(Step::Done)
    }

    /// Tags run from 1 to 255 and round again; 0 is the tag of a part fresh from reset.
    ///
    /// The tag seen last is left out: after as many latches that never reached the part as there are tags, it would be taken for a new block.
    const fn advance_tag(&mut self) {
        let tag = following(self.tag);
        self.tag = if tag == self.seen {
            following(tag)
        } else {
            tag
        };
    }
}

const fn following(tag: u8) -> u8 {
    match tag {
        u8::MAX => 1,
        tag => tag.wrapping_add(1),
    }
}

const fn identity() -> Step {
    read(pointer::IDENTITY, 4)
}

fn identified(block: &[u8]) -> Result<(), Fault> {
    let got = u32::from_be_bytes(bytes(block, 0));
    if got == map::IDENTITY_VALUE {
        Ok(())
    } else {
        Err(Fault::Identity {
            expected: map::IDENTITY_VALUE,
            got,
        })
    }
}

/// The read of the block's piece with this number, at most `read_max` bytes long; `None` past the end.
fn piece(number: u8, read_max: u8) -> Option<Step> {
    let read_max = read_max.max(1);
    let at = number
        .checked_mul(read_max)
        .filter(|at| *at < map::block::LEN)?;
    let rest = map::block::LEN.saturating_sub(at);
    // The check byte exists behind the block's last byte alone; without room for it the block's own CRC must do.
    let check = rest < read_max;
    let read = Read {
        pointer: pointer::FRAME.wrapping_add(at),
        len: rest.min(read_max),
        at,
        check,
    };
    Some(Step::Read(read))
}

/// The block's own check value (section 5).
fn intact(block: &[u8]) -> Result<(), Fault> {
    let mut crc = Crc16::new();
    crc.add_all(block.get(..map::block::CRC).unwrap_or_default());
    let expected = crc.value();
    let got = u16::from_be_bytes(bytes(block, map::block::CRC));
    if expected == got {
        Ok(())
    } else {
        Err(Fault::BlockCheck { expected, got })
    }
}

/// Value of CHANNELS.
fn channels(sampling: &Sampling<'_>) -> u64 {
    let enabled = |(bit, ranges): (u32, &Option<_>)| {
        ranges.is_some().then(|| 1_u64.checked_shl(bit)).flatten()
    };
    (0..)
        .zip(sampling.channels)
        .filter_map(enabled)
        .fold(0, |bits, bit| bits | bit)
}

/// Value of RANGES; a channel that is left out keeps the coarsest.
fn ranges(sampling: &Sampling<'_>) -> u64 {
    let nibble = |channel: u8| match sampling.channels.get(usize::from(channel)) {
        Some(Some(ranges)) => (u64::from(ranges.sense.0) << 2) | u64::from(ranges.bus.0),
        _ => 2,
    };
    (0..SPEC.channels)
        .rev()
        .fold(0, |value, channel| (value << 4) | nibble(channel))
}

const fn mode(mode: Mode) -> u8 {
    match mode {
        Mode::Idle => map::mode::IDLE,
        Mode::Paced(pace) => map::mode::PACED | pace.0,
        Mode::SingleShot => map::mode::SINGLE_SHOT,
        Mode::Burst(channel) => map::mode::BURST | channel.number(),
    }
}

#[cfg(test)]
mod tests;
