//! What the part does in time: scans, rest, captures, wake-up, start and stop, latches.

use super::{
    Core, Model,
    alerts::{ROLLOVER_AHEAD, SCAN_DONE},
    sample::Pending,
    supply::Draw,
};
use crate::part::fields::fields;

/// What goes on at present, and until when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Phase {
    Idle,
    Waking {
        until_ns: u64,
    },
    Resting {
        until_ns: u64,
    },
    Scan(Scan),
    Capture {
        channel: usize,
        conversion: Conversion,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Scan {
    began_ns: u64,
    /// 0 sense and 1 rail of the first enabled channel, 2 sense of the second and so on.
    slot: usize,
    conversion: Conversion,
}

/// A conversion in progress.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Conversion {
    from_ns: u64,
    length_ns: u64,
}

impl Conversion {
    fn until_ns(self) -> u64 {
        self.from_ns + self.length_ns
    }

    fn next(self) -> Self {
        Self {
            from_ns: self.until_ns(),
            ..self
        }
    }
}

impl Phase {
    pub(super) fn until_ns(self) -> Option<u64> {
        match self {
            Self::Idle => None,
            Self::Waking { until_ns } | Self::Resting { until_ns } => Some(until_ns),
            Self::Scan(Scan { conversion, .. }) | Self::Capture { conversion, .. } => {
                Some(conversion.until_ns())
            }
        }
    }
}

impl Core {
    /// The STATE register (section 3.1).
    pub(super) fn state(&self) -> u8 {
        let converting = matches!(self.phase, Phase::Scan(_) | Phase::Capture { .. });
        let pending = self.pending.is_some();
        let mode = self.mode >> 4;
        fields(&[
            (converting.into(), 1),
            (pending.into(), 1),
            (mode.into(), 6),
        ]) as u8
    }

    /// The channel that is being converted, and since when.
    pub(super) fn aperture(&self) -> Option<(usize, u64)> {
        match self.phase {
            Phase::Scan(Scan {
                slot, conversion, ..
            }) => Some((self.configuration.order()[slot / 2], conversion.from_ns)),
            Phase::Capture {
                channel,
                conversion,
            } => Some((channel, conversion.from_ns)),
            Phase::Idle | Phase::Waking { .. } | Phase::Resting { .. } => None,
        }
    }
}

impl Model {
    /// Does all that falls until `to_ns`, the moment itself included.
    pub(super) fn run_to(&mut self, to_ns: u64) {
        if self.watch.is_some() {
            self.run_watched(to_ns);
        }
        self.run_events(to_ns);
        self.now_ns = self.now_ns.max(to_ns);
    }

    pub(super) fn run_events(&mut self, to_ns: u64) {
        while let Some(at_ns) = self.core.phase.until_ns().filter(|&at_ns| at_ns <= to_ns) {
            match self.core.phase {
                Phase::Idle => {}
                Phase::Waking { .. } | Phase::Resting { .. } => self.begin(at_ns),
                Phase::Scan(scan) => self.end_conversion(scan, at_ns),
                Phase::Capture {
                    channel,
                    conversion,
                } => self.end_capture_conversion(channel, conversion, at_ns),
            }
        }
    }

    /// An accepted RUN: to the active mode, to idle, or from idle.
    pub(super) fn run(&mut self, mode: u8) {
        if mode == self.core.mode {
            return;
        }
        if mode != SINGLE_SHOT {
            self.core.settings.count_write();
        }
        self.core.alerts.restart();
        if mode == IDLE {
            self.go_idle(self.now_ns);
            self.fall_due();
        } else {
            self.start_mode(mode);
        }
    }

    fn start_mode(&mut self, mode: u8) {
        let core = &mut self.core;
        core.mode = mode;
        core.scans_to_do = 1 << core.configuration.averaging;
        core.sums.start_anew();
        if mode >> 4 == CAPTURE {
            core.captured.clear();
            core.captured.reserve_exact(CAPTURE_LEN);
        }
        let until_ns = self.now_ns + WAKE_UP_NS;
        self.enter(Phase::Waking { until_ns }, self.now_ns);
    }

    /// An accepted LATCH.
    pub(super) fn latch(&mut self, tag: u8, seen: u8) {
        if self.core.knows(tag) {
            return;
        }
        let was_due = self.core.pending.is_some_and(|pending| pending.due);
        let in_scan = matches!(self.core.phase, Phase::Scan(_));
        self.core.pending = Some(Pending {
            tag,
            seen,
            due: was_due || !in_scan,
        });
        self.settle_pending();
    }

    /// Carries out a latch that is due, unless the host is reading the window.
    pub(super) fn settle_pending(&mut self) {
        if let Some(pending) = self.core.pending
            && pending.due
            && !self.protocol.reads_window
        {
            self.core.pending = None;
            self.core.copy_block(pending.tag, pending.seen);
        }
    }

    /// A latch that is not yet done waits for no scan any more.
    fn fall_due(&mut self) {
        if let Some(pending) = &mut self.core.pending {
            pending.due = true;
        }
        self.settle_pending();
    }

    /// A scan or the capture begins.
    fn begin(&mut self, at_ns: u64) {
        let conversion = Conversion {
            from_ns: at_ns,
            length_ns: self.converter.begin_scan(at_ns),
        };
        let phase = match self.core.mode {
            mode if mode >> 4 == CAPTURE => Phase::Capture {
                channel: usize::from(mode & 3),
                conversion,
            },
            _ => Phase::Scan(Scan {
                began_ns: at_ns,
                slot: 0,
                conversion,
            }),
        };
        self.enter(phase, at_ns);
    }

    fn end_conversion(&mut self, scan: Scan, at_ns: u64) {
        let core = &mut self.core;
        let channel = core.configuration.order()[scan.slot / 2];
        let from_ns = scan.conversion.from_ns;
        if scan.slot.is_multiple_of(2) {
            let range = core.configuration.sense_range(channel);
            let code = self.converter.sense(channel, range, from_ns, at_ns);
            core.sums.take_sense(channel, code);
            core.alerts.compare_sense(channel, i64::from(code.value));
        } else {
            let range = core.configuration.rail_range(channel);
            let code = self.converter.rail(channel, range, from_ns, at_ns);
            let power = core.sums.take_rail(channel, code);
            core.alerts.compare_rail(channel, i64::from(code.value));
            core.alerts.compare_power(channel, power);
        }
        if scan.slot + 1 < 2 * core.configuration.order().len() {
            core.phase = Phase::Scan(Scan {
                slot: scan.slot + 1,
                conversion: scan.conversion.next(),
                ..scan
            });
        } else {
            self.end_scan(scan, at_ns);
        }
    }

    fn end_scan(&mut self, scan: Scan, at_ns: u64) {
        let core = &mut self.core;
        if core.sums.end_scan(&core.configuration) {
            core.alerts.set(ROLLOVER_AHEAD);
        }
        core.alerts.set(SCAN_DONE);
        core.scans_to_do = core.scans_to_do.saturating_sub(1);
        if core.mode == SINGLE_SHOT && core.scans_to_do == 0 {
            self.go_idle(at_ns);
        } else {
            let period_ns = period(core.mode) * scan.conversion.length_ns;
            let until_ns = at_ns.max(scan.began_ns + period_ns);
            self.enter(Phase::Resting { until_ns }, at_ns);
        }
        self.fall_due();
    }

    fn end_capture_conversion(&mut self, channel: usize, conversion: Conversion, at_ns: u64) {
        let core = &mut self.core;
        let range = core.configuration.sense_range(channel);
        let from_ns = conversion.from_ns;
        let code = self.converter.sense(channel, range, from_ns, at_ns);
        core.sums.take_sense(channel, code);
        core.captured.push(code.value);
        if core.captured.len() < CAPTURE_LEN {
            core.phase = Phase::Capture {
                channel,
                conversion: conversion.next(),
            };
        } else {
            self.go_idle(at_ns);
        }
    }

    fn go_idle(&mut self, at_ns: u64) {
        self.core.mode = IDLE;
        self.enter(Phase::Idle, at_ns);
    }

    fn enter(&mut self, phase: Phase, at_ns: u64) {
        let draw = match phase {
            Phase::Idle => Draw::Idle,
            // Scans that follow back to back leave no time to rest.
            Phase::Resting { .. } => Draw::Resting,
            Phase::Waking { .. } | Phase::Scan(_) | Phase::Capture { .. } => Draw::Converting,
        };
        self.supply.draw(draw as u32, at_ns);
        self.core.phase = phase;
    }
}

/// Conversions from the start of one scan to that of the next; none where scans follow back to back
/// (section 6).
fn period(mode: u8) -> u64 {
    match mode {
        0x10 => 8,
        0x11 => 32,
        0x12 => 160,
        0x13 => 1_600,
        0x14 => 16_000,
        _ => 0,
    }
}

pub(super) const IDLE: u8 = 0x00;
const SINGLE_SHOT: u8 = 0x20;
/// Upper half of the mode byte.
const CAPTURE: u8 = 3;
const WAKE_UP_NS: u64 = 150_000;
/// Codes that a capture keeps.
const CAPTURE_LEN: usize = 1024;
