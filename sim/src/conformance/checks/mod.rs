//! The checks, each a function with a name and one line of what it is about. Those whose findings
//! point at a mistake most directly come before those that it breaks as well.

mod alerts;
mod call;
mod events;
mod faults;
pub(super) mod info;
mod masks;
mod over_range;
mod rates;
mod resets;
mod restarts;
mod sampling;
mod sums;
mod timing;
mod values;

use super::report::{CheckResult, Checked, Notes};
use super::scene::Scene;

pub(super) struct Check {
    pub(super) name: &'static str,
    pub(super) about: &'static str,
    run: fn(&Scene<'_>, &mut Notes) -> Checked,
}

impl Check {
    pub(super) fn run(&self, scene: &Scene<'_>) -> CheckResult {
        let mut notes = Notes::default();
        let ended = (self.run)(scene, &mut notes);
        notes.conclude(ended, self.name, self.about)
    }
}

const fn check(
    name: &'static str,
    about: &'static str,
    run: fn(&Scene<'_>, &mut Notes) -> Checked,
) -> Check {
    Check { name, about, run }
}

#[rustfmt::skip]
pub(super) const ALL: [Check; 45] = [
    check("info", "what the PartInfo says is what the datasheet says", info::info),
    check("ends", "every call ends, whatever the part answers", timing::ends),
    check("init", "a part in order takes its configuration", values::init),
    check("identity", "another part is refused, and nothing is written to it", restarts::identity),
    check("modes", "a scan rate converts by itself, a single-shot when asked", rates::modes),
    check("waits", "at the slowest oscillator values are the new ones", timing::waits),
    check("byte-order", "codes whose bytes all differ", values::byte_order),
    check("channel-order", "each channel shows what is applied to it", values::channel_order),
    check("signs", "sense codes of either sign, at both ends and around zero", values::signs),
    check("scale-of-sense", "each sense range from end to end, to the LSB", values::scale_of_sense),
    check("scale-of-rail", "each rail range from end to end, to the LSB", values::scale_of_rail),
    check("ranges", "every pair of ranges on each channel, beside others", values::ranges),
    check("enabled-channels", "every choice of channels", values::enabled_channels),
    check("power", "power is the product of sense and rail, with its sign", values::power),
    check("read-in-pieces", "the same whatever a controller reads at once", values::read_in_pieces),
    check("coherence", "all values of a sample are of one latch", sampling::coherence),
    check("stamps", "nothing in a sample is of before its stamp, or after it", sampling::stamps),
    check("single-shot", "a single-shot makes 2^k scans, each sample another", rates::single_shot),
    check("averaging", "results are of whole means, and none before the first", rates::averaging),
    check("scan-rates", "each scan rate makes the scans that its period says", rates::scan_rates),
    check("over-range", "inputs beyond their range are flagged", over_range::over_range),
    check("fast-capture", "the codes of a capture, in their order", sampling::fast_capture),
    check("running-sums", "sums grow by scans times code", sums::running_sums),
    check("rollover-charge", "the charge sum over its end", sums::rollover_charge),
    check("rollover-energy", "the energy sum over its end", sums::rollover_energy),
    check("rollover-scans", "the count of scans over its end", sums::rollover_scans),
    check("totals", "what totals make of steady inputs, and of a change", sums::totals),
    check("limit-at-code", "no flag at a limit's code, one at the next", alerts::limit_at_code),
    check("latching", "latching flags outlast their condition", alerts::latching),
    check("limits-removed", "what is taken away sets no flag; flags stay", alerts::limits_removed),
    check("clears-what-was-seen", "a look clears what it tells", events::clears_what_was_seen),
    check("lost-events", "a look that fails loses no event", events::lost_events),
    check("masks", "each kind reaches the outputs asked for", masks::masks),
    check("debounce", "as many conversions as asked for, not one less", alerts::debounce),
    check("rollover-ahead", "a sum near its end is told in time", events::rollover_ahead),
    check("limits-read-back", "a limit that did not arrive is found out", alerts::limits_read_back),
    check("check-byte", "a flipped bit is found by the check byte", faults::check_byte),
    check("block-check", "a flipped bit is found by the block's check value", faults::block_check),
    check("lost-latch", "a latch that never took place brings nothing old", restarts::lost_latch),
    check("reset", "a reset at any moment is told, and nothing of before is new", resets::reset),
    check("resume", "a restarted firmware goes on, and disturbs nothing", restarts::resume),
    check("foreign-writes", "what somebody else wrote is found out", restarts::foreign_writes),
    check("longest-time", "no call costs more than its worst case", timing::longest_time),
    check("bus-errors", "a call that fails or is dropped is told, and mended", faults::bus_errors),
    check("both-faces", "blocking and async make the same transfers", faults::both_faces),
];
