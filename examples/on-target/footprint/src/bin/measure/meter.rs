//! Instructions and stack of a call.

use core::hint::black_box;

use cortex_m::peripheral::SYST;
use cortex_m_stack::{current_stack_in_use, repaint_stack, stack_painted, stack_size};

/// Calls that are measured together: exact to a tenth of an instruction, and the longest does not
/// run SysTick out.
const CALLS: u32 = 32;

/// Instructions for one call of `act`, each after a call of `before`, which does not count.
#[inline(never)]
pub fn instructions(before: &mut dyn FnMut(), act: &mut dyn FnMut()) -> u32 {
    let whole = ticks(before, act);
    let rest = ticks(before, &mut || {
        black_box(());
    });
    // 40 ns a tick, 32 ns an instruction.
    whole.saturating_sub(rest) * 5 / 4 / CALLS
}

#[inline(never)]
fn ticks(before: &mut dyn FnMut(), act: &mut dyn FnMut()) -> u32 {
    let begin = SYST::get_current();
    for _ in 0..CALLS {
        before();
        act();
    }
    begin.wrapping_sub(SYST::get_current()) & 0x00FF_FFFF
}

pub fn alone(act: &mut dyn FnMut()) -> u32 {
    instructions(&mut || {}, act)
}

/// Bytes of stack that `act` takes, at the deepest.
#[inline(never)]
pub fn stack(act: &mut dyn FnMut()) -> u32 {
    repaint_stack();
    let before = current_stack_in_use();
    act();
    (stack_size() - stack_painted()).saturating_sub(before)
}
