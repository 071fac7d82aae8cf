//! The alert path of a run: limits set, outputs listened to, the part served.

use core::time::Duration;

use crake::alert::{AlertQueue, Kind, Lasting, Limit, Limits, Outputs, Quantity, Threshold};
use crake::{Channel, ShuntMonitor};
use embedded_hal::digital::PinState;

use super::reactions::{AlertReport, Reactions};
use crate::bench::{Bench, Line};
use crate::bus::BusError;
use crate::scenario::{AlertKind, AlertPlan, RailPlan, Route};

/// Serves a run's part.
pub(super) struct Listener<'l> {
    bench: Bench,
    lines: Vec<(Outputs, Line)>,
    queue: AlertQueue<'l, 64>,
    latency: Duration,
    /// When the part was served last.
    served_ns: u64,
    /// Services in a row that told nothing and left an output low.
    fruitless: u32,
    /// Until when outputs are not listened to.
    deaf_until_ns: u64,
    reactions: Reactions,
}

/// What a part is to be served for.
pub struct Awaited {
    /// Outputs that may go low.
    pub(super) lines: Vec<Line>,
    /// When it is due whatever they do.
    pub(super) due_ns: Option<u64>,
    /// From an output's edge until the host has noticed.
    pub(super) latency: Duration,
}

/// The driver's limits of a part's rails.
pub(super) fn limits<'s>(rails: impl Iterator<Item = &'s RailPlan>) -> Vec<Limit> {
    let of_rail = |rail: &RailPlan| {
        let channel = Channel::new(rail.channel);
        let alerts = rail.alerts.iter();
        alerts
            .map(|alert| limit(channel, alert))
            .collect::<Vec<_>>()
    };
    rails.flat_map(of_rail).collect()
}

/// What a plan watches for, in the driver's words.
pub(crate) fn kind(alert: &AlertPlan) -> Kind {
    match alert.kind {
        AlertKind::OverVoltage => Kind::OverVoltage,
        AlertKind::UnderVoltage => Kind::UnderVoltage,
        AlertKind::OverCurrent => Kind::OverCurrent,
        AlertKind::UnderCurrent => Kind::UnderCurrent,
        AlertKind::OverPower => Kind::OverPower,
    }
}

fn limit(channel: Channel, alert: &AlertPlan) -> Limit {
    let kind = kind(alert);
    let mut limit = Limit::new(channel, Threshold::of(kind, alert.limit))
        .debounce(alert.debounce)
        .to(match alert.output {
            Route::A => Outputs::A,
            Route::B => Outputs::B,
            Route::Both => Outputs::A | Outputs::B,
        });
    if let Some(margin) = alert.hysteresis {
        limit = limit.hysteresis(Quantity::of(kind, margin));
    }
    if let Some(ns) = alert.look_again_ns {
        limit = limit.lasting(Lasting::LookAgain(Duration::from_nanos(ns)));
    }
    if alert.latching {
        limit
    } else {
        limit.following()
    }
}

impl<'l> Listener<'l> {
    pub(super) fn new(
        bench: &Bench,
        lines: &[(Outputs, Line)],
        latency_ns: u64,
        reactions: Reactions,
    ) -> Self {
        for (_, line) in lines {
            line.set_recording(true);
        }
        Self {
            bench: bench.clone(),
            lines: lines.to_vec(),
            queue: AlertQueue::new(),
            latency: Duration::from_nanos(latency_ns),
            served_ns: 0,
            fruitless: 0,
            deaf_until_ns: 0,
            reactions,
        }
    }

    /// Puts the limits in force.
    pub(super) fn arm<const N: usize, M>(
        &mut self,
        monitor: &mut M,
        limits: &'l Limits<'l>,
    ) -> Result<(), crake::Error<BusError>>
    where
        M: ShuntMonitor<N, BusError = BusError>,
    {
        self.queue.set_limits(monitor, limits)?;
        // The part is set up: its outputs are news again.
        self.deaf_until_ns = 0;
        self.served_ns = self.bench.now_ns();
        self.reactions.armed(self.served_ns);
        Ok(())
    }

    /// What the part is to be served for; nothing while outputs are not listened to.
    pub(super) fn awaits(&self) -> Option<Awaited> {
        if self.bench.now_ns() < self.deaf_until_ns {
            return None;
        }
        let due_ns = self.queue.next_in().map(|after| {
            let ns = u64::try_from(after.as_nanos()).unwrap_or(u64::MAX);
            self.served_ns.saturating_add(ns)
        });
        Some(Awaited {
            lines: self.listened().cloned().collect(),
            due_ns,
            latency: self.latency,
        })
    }

    /// Whether an output whose level is news is pulled low now.
    pub(super) fn is_low(&self) -> bool {
        self.listened().any(|line| line.level() == PinState::Low)
    }

    /// Serves the part, and notes what it told; its sample is the monitor's last one.
    ///
    /// After a failure, and when an output stays low and nothing is told, outputs are not listened
    /// to until `reading_ns`, when the part is served in any case: an output that is stuck would
    /// keep host and bus busy.
    pub(super) fn serve<const N: usize, M>(
        &mut self,
        monitor: &mut M,
        reading_ns: u64,
    ) -> Result<(), crake::Error<BusError>>
    where
        M: ShuntMonitor<N, BusError = BusError>,
    {
        let was_deaf = core::mem::replace(&mut self.deaf_until_ns, reading_ns) != 0;
        self.reactions.begin_service(&self.lines);
        let sample = self.queue.service(monitor)?;
        self.served_ns = self.bench.now_ns();
        self.reactions.see(&self.lines);
        let mut told = false;
        while let Some(event) = self.queue.next_event() {
            self.reactions
                .note(&event, sample, self.served_ns, was_deaf);
            told = true;
        }
        let calls_for_nothing = !told && self.is_low();
        self.fruitless = if calls_for_nothing {
            self.fruitless + 1
        } else {
            0
        };
        if self.fruitless < FRUITLESS_MAX {
            self.deaf_until_ns = 0;
        }
        self.reactions.served();
        Ok(())
    }

    /// Shows a sample that was taken for its own sake, so that conditions that are over are told
    /// again.
    pub(super) fn show<const N: usize, M>(
        &mut self,
        monitor: &mut M,
    ) -> Result<(), crake::Error<BusError>>
    where
        M: ShuntMonitor<N, BusError = BusError>,
    {
        self.queue.update(monitor.last_sample());
        self.queue.settle(monitor)
    }

    /// Others may keep the host for so long.
    pub(super) fn wait_for_others(&mut self, others_s: f64) {
        self.reactions.wait_for_others(others_s);
    }

    /// The host listened to nothing until now.
    pub(super) fn was_kept_waiting(&mut self) {
        self.reactions.listens_from(self.bench.now_ns());
    }

    /// Every alert, in the order in which the firmware heard of them.
    pub(super) fn timeline(&self) -> &[AlertReport] {
        self.reactions.timeline()
    }

    /// The same for good.
    pub(super) fn into_timeline(self) -> Vec<AlertReport> {
        self.reactions.into_timeline()
    }

    fn listened(&self) -> impl Iterator<Item = &Line> {
        let listening = self.queue.listening();
        let outputs = self.lines.iter();
        outputs
            .filter(move |(output, _)| listening.contains(*output))
            .map(|(_, line)| line)
    }
}

/// Services in a row that tell nothing, after which an output that is low is taken for stuck: one
/// may find nothing where a flag that follows has gone again and come back.
const FRUITLESS_MAX: u32 = 8;
