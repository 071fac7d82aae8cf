use super::SPEC;
use super::burst;
use super::map::{block, store};
use super::steps::{BLOCK_TRIES, LATCH_WAIT_US, RESET_WAIT_US};
use crate::old::Task;
use crate::old::exchange::Effort;

/// The most that a task can cost, whatever the part answers: the steps of `steps`, `alerts` and `burst`, added up.
pub(super) const fn effort(task: Task, read_max: u8) -> Effort {
    match task {
        Task::Init => read(4)
            .then(write(1))
            .then(Effort::wait(RESET_WAIT_US))
            .then(put(1))
            .then(write(1))
            .then(set_up())
            .then(blocks(read_max)),
        Task::Attach => read(4)
            .then(Effort::wait(LATCH_WAIT_US))
            .then(blocks(read_max))
            .then(read(2))
            .then(latch(read_max)),
        Task::Latch => latch(read_max),
        Task::Configure => set_up().then(blocks(read_max)),
        Task::Arm => put(3)
            .times(2)
            .then(read(3))
            .then(limits())
            .then(read(3))
            .then(write(3))
            .then(set_up())
            .then(put(3).times(SPEC.channels as u32))
            .then(put(3))
            .then(limits())
            .then(put(3).times(2))
            .then(read(2))
            .then(blocks(read_max)),
        Task::Look => look(),
        Task::Service => look().times(Task::LOOKS as u32).then(latch(read_max)),
        Task::Fetch => read(1)
            .times(burst::TRIES as u32)
            .then(Effort::wait(burst::WAIT_US).times(waits(burst::TRIES)))
            .then(read(2))
            .then(put(2).then(read(burst::STORE_LEN as u32)).times(GROUPS)),
    }
}

/// Groups of codes in the store.
const GROUPS: u32 = (store::LEN / store::CODES) as u32;

const fn write(width: u32) -> Effort {
    Effort::write(width, true)
}

const fn read(len: u32) -> Effort {
    Effort::read(len, true)
}

const fn put(width: u32) -> Effort {
    Effort::put(width, true)
}

/// CHANNELS, RANGES, AVERAGING, RUN, and the wait until it has taken over.
const fn set_up() -> Effort {
    put(1)
        .then(put(2))
        .then(put(1))
        .then(write(3))
        .then(Effort::wait(LATCH_WAIT_US))
}

/// All limits of all channels.
const fn limits() -> Effort {
    let of_a_channel = put(2).times(2).then(put(3).times(2)).then(put(5));
    of_a_channel.times(SPEC.channels as u32)
}

/// CAUSES read, and what was found cleared.
const fn look() -> Effort {
    read(3).then(write(3))
}

/// LATCH, between a wait for a change that may still be due and the wait for the latch.
const fn latch(read_max: u8) -> Effort {
    Effort::wait(LATCH_WAIT_US)
        .then(write(2))
        .then(Effort::wait(LATCH_WAIT_US))
        .then(blocks(read_max))
}

/// The block in pieces, as often as it is tried; the check byte behind its last byte.
const fn blocks(read_max: u8) -> Effort {
    let len = block::LEN as u32;
    let pieces = len.div_ceil(if read_max == 0 { 1 } else { read_max as u32 });
    let block = Effort {
        transfers: pieces,
        restarts: pieces,
        bytes: len
            .saturating_add(1)
            .saturating_add(pieces.saturating_mul(3)),
        wait_us: 0,
    };
    block
        .times(BLOCK_TRIES as u32)
        .then(Effort::wait(LATCH_WAIT_US).times(waits(BLOCK_TRIES)))
}

/// Waits between so many tries.
const fn waits(tries: u8) -> u32 {
    (tries as u32).saturating_sub(1)
}
