//! The checks, each a function with a name and one line of what it is about; cheap ones first, and those whose findings point at a mistake most directly before those that it breaks as well.

mod causes;
mod clipping;
mod codes;
mod coherence;
mod effort;
mod flips;
mod limits;
mod rollover;
mod set_up;
mod spec;
mod sums;
mod timing;
mod wire;

use super::Subject;
use super::report::{CheckResult, Notes, Stop};
use super::scene::Scene;

/// A check of subjects with `N` channels.
pub(super) struct Check<S, const N: usize> {
    pub(super) name: &'static str,
    pub(super) what: &'static str,
    unit: &'static str,
    run: for<'a> fn(&'a Scene<'a, S, N>, &mut Notes) -> Result<(), Stop>,
}

impl<S: Subject<N>, const N: usize> Check<S, N> {
    pub(super) fn run(&self, subject: &S) -> CheckResult {
        let mut notes = Notes::default();
        let ended = Scene::new(subject).and_then(|scene| (self.run)(&scene, &mut notes));
        notes.conclude(ended, (self.name, self.what, self.unit))
    }

    const ALL: [Self; COUNT] = [
        check(
            "spec",
            "what the Spec says is what the datasheet says",
            "statements",
            spec::spec,
        ),
        check(
            "waits",
            "with the slowest oscillator nothing is read too early",
            "moments",
            effort::waits,
        ),
        check(
            "identity",
            "another part is refused, and nothing is written to it",
            "identities",
            set_up::identity,
        ),
        check(
            "refusals",
            "what the part cannot do is refused before a byte is sent",
            "set-ups",
            set_up::refusals,
        ),
        check(
            "byte-order",
            "codes whose bytes all differ",
            "codes",
            codes::byte_order,
        ),
        check(
            "channel-order",
            "each channel shows what is applied to it",
            "codes",
            codes::channel_order,
        ),
        check(
            "signs-of-sense",
            "sense codes of either sign, at both ends and around zero",
            "codes",
            codes::signs_of_sense,
        ),
        check(
            "scale-of-sense",
            "each sense range from end to end, to the LSB",
            "codes",
            codes::scale_of_sense,
        ),
        check(
            "scale-of-bus",
            "each bus range from end to end, to the LSB",
            "codes",
            codes::scale_of_bus,
        ),
        check(
            "stamps",
            "a frame is stamped around the transfer that asked for it",
            "frames",
            timing::stamps,
        ),
        check(
            "read-in-pieces",
            "frames are the same whatever a controller reads at once",
            "lengths",
            wire::read_in_pieces,
        ),
        check(
            "coherence",
            "all values of a frame are of one latch while inputs change",
            "frames",
            coherence::coherence,
        ),
        check(
            "ranges",
            "every pair of ranges on each channel, beside others",
            "codes",
            codes::ranges,
        ),
        check(
            "enabled-channels",
            "every choice of channels",
            "codes",
            codes::enabled_channels,
        ),
        check(
            "signs-of-power",
            "power is the product of sense and bus, with its sign",
            "codes",
            codes::power,
        ),
        check(
            "clipping",
            "inputs beyond their range are flagged until somebody was told",
            "excursions",
            clipping::clipping,
        ),
        check(
            "averaging",
            "results are of whole means, and there are none before the first",
            "averagings",
            clipping::averaging,
        ),
        check(
            "paces",
            "each pace makes the rounds that its period says",
            "paces",
            timing::paces,
        ),
        check(
            "idle-and-single-shot",
            "idle converts nothing, a single-shot 2^k rounds",
            "modes",
            timing::idle_and_single_shot,
        ),
        check(
            "burst",
            "the codes of a burst, in their order",
            "bursts",
            timing::burst,
        ),
        check(
            "running-sums",
            "sums grow by rounds times code",
            "sums",
            sums::running_sums,
        ),
        check(
            "change-of-set-up",
            "a change of set-up divides the sums at its own frame",
            "sums",
            sums::change_of_set_up,
        ),
        check(
            "rollover-charge",
            "the charge sum over its end",
            "rollovers",
            rollover::rollover_charge,
        ),
        check(
            "rollover-energy",
            "the energy sum over its end",
            "rollovers",
            rollover::rollover_energy,
        ),
        check(
            "rollover-rounds",
            "the count of rounds over its end",
            "rollovers",
            rollover::rollover_rounds,
        ),
        check(
            "unknown-bits",
            "nothing is told but what was asked for, whatever else is set",
            "bits",
            flips::unknown_bits,
        ),
        check(
            "limit-at-code-boundary",
            "each limit: nothing at its own code, the cause at the next",
            "limits",
            limits::limit_at_code_boundary,
        ),
        check(
            "held-and-following",
            "held causes outlast their condition, following ones do not",
            "causes",
            causes::held_and_following,
        ),
        check(
            "clear-only-what-was-seen",
            "a service clears what it tells, and nothing else",
            "moments",
            causes::clear_only_what_was_seen,
        ),
        check(
            "masks",
            "each kind reaches the outputs that it is to reach, and no other",
            "masks",
            causes::masks,
        ),
        check(
            "debounce",
            "as many conversions in a row as asked for, not one less",
            "counts",
            limits::debounce,
        ),
        check(
            "rollover-ahead",
            "a sum that comes near its end is told in time",
            "sums",
            rollover::rollover_ahead,
        ),
        check(
            "check-byte",
            "a flipped bit is found out by the check byte",
            "flipped bits",
            flips::check_byte,
        ),
        check(
            "block-check",
            "a flipped bit is found out by the block's own check value",
            "flipped bits",
            flips::block_check,
        ),
        check(
            "reset-detection",
            "a reset at any moment is told, and nothing of before is mixed with after",
            "moments",
            set_up::reset_detection,
        ),
        check(
            "attach",
            "a restarted firmware joins without disturbing the part",
            "joins",
            set_up::attach,
        ),
        check(
            "foreign-set-up",
            "a set-up that somebody else wrote is found out",
            "joins",
            set_up::foreign_set_up,
        ),
        check(
            "lost-latch",
            "a latch that never took place does not bring the frame before",
            "latches",
            wire::lost_latch,
        ),
        check(
            "longest-time",
            "no call costs more than its effort says",
            "calls",
            effort::longest_time,
        ),
        check(
            "limit-reads-back",
            "a limit that did not arrive is found out",
            "lost writes",
            limits::limit_reads_back,
        ),
        check(
            "error-mapping",
            "a refused byte is told with its register, and loses nothing",
            "refused bytes",
            wire::error_mapping,
        ),
    ];
}

/// Number of checks.
pub const COUNT: usize = 41;

/// All checks, in order.
pub(super) const fn all<S: Subject<N>, const N: usize>() -> [Check<S, N>; COUNT] {
    Check::ALL
}

const fn check<S, const N: usize>(
    name: &'static str,
    what: &'static str,
    unit: &'static str,
    run: for<'a> fn(&'a Scene<'a, S, N>, &mut Notes) -> Result<(), Stop>,
) -> Check<S, N> {
    Check {
        name,
        what,
        unit,
        run,
    }
}
