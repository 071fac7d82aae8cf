//! What the part does in time: rounds, paces, bursts, wake-up and rest, latches and the take-over by RUN.

use alloc::{vec, vec::Vec};

use super::{
    CHANNELS, Model,
    alerts::{ROLLOVER_AHEAD, ROUND_DONE},
    frame::Pending,
    supply::Draw,
    values::Settings,
};

/// The set-up that conversions go by, taken over from the registers by RUN.
#[derive(Debug)]
pub(super) struct Active {
    pub(super) mode: u8,
    pub(super) channels: u8,
    pub(super) ranges: u16,
    pub(super) averaging: u8,
    /// Enabled channels in the order of conversion; the first `enabled` of them.
    order: [usize; CHANNELS],
    enabled: usize,
    /// Rounds that a single-shot has yet to do.
    rounds_to_do: u32,
}

impl Active {
    pub(super) fn taken_over(settings: &Settings, mode: u8) -> Self {
        let mut order = [0; CHANNELS];
        let mut enabled = 0;
        for channel in (0..CHANNELS).filter(|channel| settings.channels >> channel & 1 == 1) {
            order[enabled] = channel;
            enabled += 1;
        }
        let Settings {
            channels,
            ranges,
            averaging,
            ..
        } = *settings;
        Self {
            mode,
            channels,
            ranges,
            averaging,
            order,
            enabled,
            rounds_to_do: 1 << averaging,
        }
    }

    fn order(&self) -> &[usize] {
        &self.order[..self.enabled]
    }

    fn sense_range(&self, channel: usize) -> usize {
        usize::from(self.ranges >> (4 * channel + 2) & 1)
    }

    fn bus_range(&self, channel: usize) -> usize {
        usize::from(self.ranges >> (4 * channel) & 3)
    }

    /// Conversions from the start of one round to that of the next; none where rounds follow back to back.
    fn period(&self) -> u64 {
        match self.mode {
            0x10 => 8,
            0x11 => 32,
            0x12 => 160,
            0x13 => 1_600,
            0x14 => 16_000,
            _ => 0,
        }
    }
}

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
    Round(Round),
    Burst {
        channel: usize,
        conversion: Conversion,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Round {
    began_ns: u64,
    /// 0 sense and 1 bus of the first enabled channel, 2 sense of the second and so on.
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
            Self::Round(Round { conversion, .. }) | Self::Burst { conversion, .. } => {
                Some(conversion.until_ns())
            }
        }
    }
}

/// The conversions kept by a burst.
#[derive(Debug)]
pub(super) struct Store {
    pub(super) count: usize,
    /// On the heap: 4 KiB are much for the stack of a small target.
    pub(super) codes: Vec<i32>,
}

impl Store {
    pub(super) fn after_reset() -> Self {
        Self {
            count: 0,
            codes: vec![0; STORE_LEN],
        }
    }
}

impl super::Core {
    /// The STATE register (section 3.1).
    pub(super) fn state(&self) -> u8 {
        let converting = matches!(self.phase, Phase::Round(_) | Phase::Burst { .. });
        u8::from(converting) << 7 | u8::from(self.pending.is_some()) << 6 | self.active.mode >> 4
    }

    /// The channel that is being converted, and since when.
    pub(super) fn aperture(&self) -> Option<(usize, u64)> {
        match self.phase {
            Phase::Round(Round {
                slot, conversion, ..
            }) => Some((self.active.order[slot / 2], conversion.from_ns)),
            Phase::Burst {
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
                Phase::Round(round) => self.end_conversion(round, at_ns),
                Phase::Burst {
                    channel,
                    conversion,
                } => self.end_burst_conversion(channel, conversion, at_ns),
            }
        }
    }

    /// An accepted LATCH, or RUN where there is a mode, of a tag that is not known yet.
    pub(super) fn ask(&mut self, tag: u8, seen: u8, mode: Option<u8>) {
        let before = self.core.pending;
        let due = !self.in_round() || before.is_some_and(|pending| pending.due);
        let mode = mode.or(before.and_then(|pending| pending.mode));
        self.core.pending = Some(Pending {
            tag,
            seen,
            mode,
            due,
        });
        self.settle_pending(self.now_ns);
    }

    /// Carries out a latch or RUN that is due, unless the host is reading the window.
    pub(super) fn settle_pending(&mut self, at_ns: u64) {
        let Some(pending) = self
            .core
            .pending
            .filter(|pending| pending.due && !self.protocol.reads_window)
        else {
            return;
        };
        if pending.mode.is_some() && self.in_round() {
            // Put off by the window, and a round has begun since: no round is cut short.
            self.core.pending = Some(Pending {
                due: false,
                ..pending
            });
            return;
        }
        self.core.pending = None;
        self.core.copy_block(pending.tag, pending.seen);
        if let Some(mode) = pending.mode {
            self.take_over(mode, at_ns);
        }
    }

    fn take_over(&mut self, mode: u8, at_ns: u64) {
        self.core.active = Active::taken_over(&self.core.settings, mode);
        self.core.sums.start_anew();
        self.core.alerts.enable(self.core.active.channels);
        if mode >> 4 == BURST {
            self.core.store.count = 0;
        }
        let phase = match self.core.phase {
            _ if mode == IDLE => Phase::Idle,
            Phase::Idle => Phase::Waking {
                until_ns: at_ns + WAKE_UP_NS,
            },
            // A wake-up that has begun goes on: the converter is not ready earlier.
            waking @ Phase::Waking { .. } => waking,
            Phase::Resting { .. } | Phase::Round(_) | Phase::Burst { .. } => {
                Phase::Resting { until_ns: at_ns }
            }
        };
        self.enter(phase, at_ns);
    }

    fn begin(&mut self, at_ns: u64) {
        let conversion = Conversion {
            from_ns: at_ns,
            length_ns: self.converter.begin_round(at_ns),
        };
        let phase = match self.core.active.mode {
            mode if mode >> 4 == BURST => Phase::Burst {
                channel: usize::from(mode & 3),
                conversion,
            },
            _ => Phase::Round(Round {
                began_ns: at_ns,
                slot: 0,
                conversion,
            }),
        };
        self.enter(phase, at_ns);
    }

    fn end_conversion(&mut self, round: Round, at_ns: u64) {
        let core = &mut self.core;
        let channel = core.active.order[round.slot / 2];
        let from_ns = round.conversion.from_ns;
        if round.slot.is_multiple_of(2) {
            let code =
                self.converter
                    .sense(channel, core.active.sense_range(channel), from_ns, at_ns);
            core.sums.take_sense(channel, code);
            core.alerts.judge_sense(channel, i64::from(code.value));
        } else {
            let code = self
                .converter
                .bus(channel, core.active.bus_range(channel), from_ns, at_ns);
            let power = core.sums.take_bus(channel, code);
            core.alerts.judge_bus(channel, i64::from(code.value));
            core.alerts.judge_power(channel, power);
        }
        if round.slot + 1 < 2 * core.active.enabled {
            core.phase = Phase::Round(Round {
                slot: round.slot + 1,
                conversion: round.conversion.next(),
                ..round
            });
        } else {
            self.end_round(round, at_ns);
        }
    }

    fn end_round(&mut self, round: Round, at_ns: u64) {
        let core = &mut self.core;
        if core
            .sums
            .end_round(core.active.order(), core.active.averaging)
        {
            core.alerts.set(ROLLOVER_AHEAD);
        }
        core.alerts.set(ROUND_DONE);
        let next_ns = at_ns.max(round.began_ns + core.active.period() * round.conversion.length_ns);
        let mut phase = Phase::Resting { until_ns: next_ns };
        if core.active.mode == SINGLE_SHOT {
            core.active.rounds_to_do -= 1;
            if core.active.rounds_to_do == 0 {
                core.active.mode = IDLE;
                phase = Phase::Idle;
            }
        }
        if let Some(pending) = &mut core.pending {
            pending.due = true;
        }
        self.enter(phase, at_ns);
        self.settle_pending(at_ns);
    }

    fn end_burst_conversion(&mut self, channel: usize, conversion: Conversion, at_ns: u64) {
        let core = &mut self.core;
        let code = self.converter.sense(
            channel,
            core.active.sense_range(channel),
            conversion.from_ns,
            at_ns,
        );
        core.sums.take_sense(channel, code);
        core.store.codes[core.store.count] = code.value;
        core.store.count += 1;
        if core.store.count < STORE_LEN {
            core.phase = Phase::Burst {
                channel,
                conversion: conversion.next(),
            };
        } else {
            core.active.mode = IDLE;
            self.enter(Phase::Idle, at_ns);
        }
    }

    fn enter(&mut self, phase: Phase, at_ns: u64) {
        let draw = match phase {
            Phase::Idle => Draw::Idle,
            // Rounds that follow back to back leave no time to rest.
            Phase::Resting { .. } => Draw::Resting,
            Phase::Waking { .. } | Phase::Round(_) | Phase::Burst { .. } => Draw::Converting,
        };
        self.supply.draw(draw as u32, at_ns);
        self.core.phase = phase;
    }

    fn in_round(&self) -> bool {
        matches!(self.core.phase, Phase::Round(_))
    }
}

const IDLE: u8 = 0x00;
const SINGLE_SHOT: u8 = 0x20;
/// Upper half of the mode byte.
const BURST: u8 = 3;
const WAKE_UP_NS: u64 = 150_000;
const STORE_LEN: usize = 1024;
