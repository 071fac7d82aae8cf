//! The alert path of a run: watches put in force, lines looked at, causes served, and how long each step took.

use core::future::{Future, pending, poll_fn};
use core::pin::pin;
use core::task::Poll;
use core::time::Duration;

use crake::old::alert::{Cause, Event, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::old::board::Board;
use crake::old::part::corncrake::SPEC;
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Channel, Frame, NoReading, Setup, ShuntMonitor};
use embedded_hal::digital::PinState;
use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::digital::Wait;
use serde::Serialize;

use super::crossings::excursions;
use super::{RunError, board};
use crate::bench::{Bench, Line};
use crate::bus::BusError;
use crate::old::corncrake::{Output, Part};
use crate::scenario::{AlertKind, AlertPlan, RailPlan, Route, Scenario};

/// One alert, as the firmware heard of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AlertReport {
    /// When the event was decoded, in seconds of the bench's time.
    pub time_s: f64,
    /// The rail.
    pub rail: String,
    /// What the limit watches for.
    pub kind: &'static str,
    /// Outputs that were told: "A", "B" or "AB".
    pub output: &'static str,
    /// Reading of the frame latched after the cause was seen, in volts, amperes or watts; none if there was none.
    pub value: Option<f64>,
    /// Limit in force, in the same unit: the requested one, moved to the code on the safe side.
    pub limit: Option<f64>,
    /// From the moment at which the rail's true value is beyond the limit, and beyond all that instrument and board may be off by, to the output's edge, in seconds; none where the
    /// output spoke earlier than that, or the line was low already.
    pub crossing_to_edge_s: Option<f64>,
    /// What the datasheet allows for it: (debounce × round period + two conversions) ÷ (1 − oscillator tolerance).
    pub crossing_to_edge_bound_s: f64,
    /// From the output's edge to the decoded event, in seconds; none where the line was low already.
    pub edge_to_event_s: Option<f64>,
    /// What host and bus allow for it: declared latency, longest transfer in progress, service.
    pub edge_to_event_bound_s: f64,
}

/// Keeps watch over a run's rails.
pub(super) struct Desk<'w, const N: usize> {
    bench: Bench,
    lines: [Line; 2],
    station: Station<'w, N, 64>,
    watched: Vec<Watched>,
    latency: Duration,
    edge_to_event_bound_s: f64,
    falls: Vec<Fall>,
    /// Since when each line was high when it fell last.
    high_since_ns: [u64; 2],
    /// Lines that stay low for conditions already told: looked at with the next frame only.
    standing: [bool; 2],
    pub(super) timeline: Vec<AlertReport>,
}

/// A falling edge of a line.
struct Fall {
    output: usize,
    high_since_ns: u64,
    at_ns: u64,
}

/// One watch with what is needed to judge how it was served.
struct Watched {
    channel: Channel,
    kind: Kind,
    rail: String,
    output: Route,
    excursions: Vec<(u64, u64)>,
    bound_s: f64,
}

/// The driver's watches of a scenario.
pub(super) fn watches(scenario: &Scenario) -> Vec<Watch> {
    let of_rail = |rail: &RailPlan| {
        let channel = Channel::new(rail.channel);
        rail.alerts
            .iter()
            .map(move |alert| watch(channel, alert))
            .collect::<Vec<_>>()
    };
    scenario.rails.iter().flat_map(of_rail).collect()
}

fn watch(channel: Channel, alert: &AlertPlan) -> Watch {
    let limit = match alert.kind {
        AlertKind::OverVoltage => Limit::OverVoltage(Voltage::from_nanovolts(alert.limit)),
        AlertKind::UnderVoltage => Limit::UnderVoltage(Voltage::from_nanovolts(alert.limit)),
        AlertKind::OverCurrent => Limit::OverCurrent(Current::from_nanoamps(alert.limit)),
        AlertKind::UnderCurrent => Limit::UnderCurrent(Current::from_nanoamps(alert.limit)),
        AlertKind::OverPower => Limit::OverPower(Power::from_nanowatts(alert.limit)),
    };
    let outputs = match alert.output {
        Route::A => Outputs::A,
        Route::B => Outputs::B,
        Route::Both => Outputs::A | Outputs::B,
    };
    let watch = Watch::new(channel, limit)
        .debounce(alert.debounce)
        .to(outputs)
        .hysteresis(alert.hysteresis);
    if alert.latching { watch.held() } else { watch }
}

impl<'w, const N: usize> Desk<'w, N> {
    pub(super) fn new(
        scenario: &Scenario,
        bench: &Bench,
        part: &Part,
        board: &Board<N>,
        setup: Setup<N>,
        watches: &'w [Watch],
    ) -> Result<Self, RunError> {
        let lines = [bench.alert(part, Output::A), bench.alert(part, Output::B)];
        for line in &lines {
            line.set_recording(true);
        }
        let mut watched = Vec::new();
        for rail in &scenario.rails {
            for alert in &rail.alerts {
                watched.push(Watched {
                    channel: Channel::new(rail.channel),
                    kind: watch(Channel::C0, alert).limit().kind(),
                    rail: rail.name.clone(),
                    output: alert.output,
                    excursions: excursions(
                        rail,
                        alert,
                        margin(board, rail, alert),
                        scenario.duration_ns,
                    )?,
                    bound_s: crossing_to_edge_bound_s(scenario, alert.debounce),
                });
            }
        }
        Ok(Self {
            bench: bench.clone(),
            lines,
            station: Station::new(setup, Watches::limits(watches)),
            watched,
            latency: Duration::from_nanos(scenario.host.latency_ns),
            edge_to_event_bound_s: edge_to_event_bound_s(scenario),
            falls: Vec::new(),
            high_since_ns: [0; 2],
            standing: [false; 2],
            timeline: Vec::new(),
        })
    }

    /// Puts the watches in force; the frame is for the ledger.
    pub(super) fn arm<'m>(
        &mut self,
        monitor: &'m mut dyn ShuntMonitor<N, BusError = BusError>,
    ) -> Result<Frame<'m>, RunError> {
        Ok(self.station.arm(monitor)?)
    }

    /// Lets time pass until `ns`, or until a line is low that does not stand for what was told already; then, after the host's latency, true.
    pub(super) fn wait_until(&mut self, ns: u64) -> Result<bool, RunError> {
        let left = Duration::from_nanos(ns.saturating_sub(self.bench.now_ns()));
        for (standing, line) in self.standing.iter_mut().zip(&self.lines) {
            *standing &= line.level() == PinState::Low;
        }
        let mut waits = Vec::new();
        for (standing, line) in self.standing.iter().zip(&self.lines) {
            let (standing, mut line) = (*standing, line.clone());
            waits.push(Box::pin(async move {
                if standing {
                    pending::<()>().await;
                }
                // The bench's lines never fail.
                let Ok(()) = line.wait_for_low().await;
            }));
        }
        let mut delay = self.bench.delay();
        let fallen = self.bench.block_on(async {
            let mut rest = pin!(sleep(&mut delay, left));
            poll_fn(|context| {
                if waits
                    .iter_mut()
                    .any(|wait| wait.as_mut().poll(context).is_ready())
                {
                    return Poll::Ready(true);
                }
                rest.as_mut().poll(context).map(|()| false)
            })
            .await
        });
        let fallen = fallen.map_err(|stall| RunError::Stall(stall.to_string()))?;
        if fallen {
            self.bench.run_for(self.latency);
        }
        Ok(fallen)
    }

    /// Whether an output is pulled low now.
    pub(super) fn is_low(&self) -> bool {
        self.lines.iter().any(|line| line.level() == PinState::Low)
    }

    /// Shows a frame that was latched for its own sake, so that limits whose reading is back can be told again.
    pub(super) fn show(&mut self, frame: &Frame<'_>) {
        self.station.report(frame);
    }

    /// Serves the part, and notes what it told.
    pub(super) fn serve<'m>(
        &mut self,
        monitor: &'m mut dyn ShuntMonitor<N, BusError = BusError>,
    ) -> Result<Frame<'m>, RunError> {
        let frame = self.station.service(monitor)?;
        let now_ns = self.bench.now_ns();
        self.take_edges();
        let told = self.timeline.len();
        while let Some(event) = self.station.next_event() {
            self.note(&event, now_ns);
        }
        self.falls.clear();
        if self.timeline.len() == told {
            self.standing = self
                .lines
                .each_ref()
                .map(|line| line.level() == PinState::Low);
        }
        Ok(frame)
    }

    fn take_edges(&mut self) {
        for (output, (line, high_since_ns)) in
            self.lines.iter().zip(&mut self.high_since_ns).enumerate()
        {
            for edge in line.edges() {
                match edge.to {
                    PinState::High => *high_since_ns = edge.at_ns,
                    PinState::Low => {
                        self.falls.push(Fall {
                            output,
                            high_since_ns: *high_since_ns,
                            at_ns: edge.at_ns,
                        });
                    }
                }
            }
        }
    }

    fn note(&mut self, event: &Event, now_ns: u64) {
        let Cause::Limit(channel, kind) = event.cause else {
            return;
        };
        let found = self
            .watched
            .iter()
            .find(|watched| watched.channel == channel && watched.kind == kind);
        let Some(watched) = found else { return };
        let reaches = |output: usize| match watched.output {
            Route::A => output == 0,
            Route::B => output == 1,
            Route::Both => true,
        };
        let fall = self
            .falls
            .iter()
            .filter(|fall| reaches(fall.output))
            .min_by_key(|fall| fall.at_ns);
        let edge_ns = fall.map(|fall| fall.at_ns);
        // The excursion during which the line fell, if it was high when the excursion began.
        let crossing_ns = fall.and_then(|fall| {
            let begun = watched
                .excursions
                .partition_point(|(from_ns, _)| *from_ns <= fall.at_ns);
            let (from_ns, to_ns) = *watched.excursions.get(begun.checked_sub(1)?)?;
            (fall.at_ns <= to_ns && fall.high_since_ns <= from_ns).then_some(from_ns)
        });
        let seconds = |from: Option<u64>, to: Option<u64>| Some((to? - from?) as f64 / 1e9);
        self.timeline.push(AlertReport {
            time_s: now_ns as f64 / 1e9,
            rail: watched.rail.clone(),
            kind: word(kind),
            output: match watched.output {
                Route::A => "A",
                Route::B => "B",
                Route::Both => "AB",
            },
            value: event.reading.and_then(|reading| value(kind, reading)),
            limit: event.in_force.map(|limit| limit.value() as f64 / 1e9),
            crossing_to_edge_s: seconds(crossing_ns, edge_ns),
            crossing_to_edge_bound_s: watched.bound_s,
            edge_to_event_s: seconds(edge_ns, Some(now_ns)),
            edge_to_event_bound_s: self.edge_to_event_bound_s,
        });
    }
}

/// What one conversion may be off by at the limit, in nano-units: gain, offset, noise, sense resistor and temperature.
fn margin<const N: usize>(board: &Board<N>, plan: &RailPlan, alert: &AlertPlan) -> i64 {
    let Some(ranges) = board::ranges(&plan.sense) else {
        return 0;
    };
    let (Some(rail), Some(bus)) = (
        board.rail(Channel::new(plan.channel)),
        SPEC.bus_range(ranges.bus),
    ) else {
        return 0;
    };
    let of_current = |na: i64| {
        let bound = rail.current_bound(&SPEC, ranges.sense, Current::from_nanoamps(na), 1);
        bound.map_or(0, |bound| bound.total().as_nanoamps())
    };
    let of_voltage = |nv: i64| {
        let gain = i128::from(nv.abs()) * i128::from(bus.gain_ppm) / 1_000_000;
        gain as i64
            + bus.offset.as_nanovolts()
            + 6 * bus.noise.as_nanovolts()
            + bus.lsb_nv(SPEC.bus_unit_nv) as i64
    };
    match alert.kind {
        AlertKind::OverVoltage | AlertKind::UnderVoltage => of_voltage(alert.limit),
        AlertKind::OverCurrent | AlertKind::UnderCurrent => of_current(alert.limit),
        AlertKind::OverPower => {
            // dP at most V dI + I dV + dI dV; nA × nV = 1e-9 nW.
            let greatest_na = plan.declared.greatest_na;
            let full_nv = bus.full_scale_nv(SPEC.bus_unit_nv) as i64;
            let greatest_nv = plan
                .declared
                .voltage_nv
                .map_or(full_nv, |(_, greatest)| greatest);
            let (current, voltage) = (of_current(greatest_na), of_voltage(greatest_nv));
            let product = i128::from(current) * i128::from(greatest_nv)
                + i128::from(voltage) * i128::from(greatest_na)
                + i128::from(current) * i128::from(voltage);
            (product / 1_000_000_000) as i64
        }
    }
}

async fn sleep(delay: &mut crate::bench::Delay, duration: Duration) {
    let us = duration.as_micros();
    let mut left = u64::try_from(us).unwrap_or(u64::MAX);
    while left > 0 {
        let part = u32::try_from(left).unwrap_or(u32::MAX);
        delay.delay_us(part).await;
        left -= u64::from(part);
    }
    delay.delay_ns(duration.subsec_nanos() % 1_000).await;
}

fn word(kind: Kind) -> &'static str {
    match kind {
        Kind::OverVoltage => "over_voltage",
        Kind::UnderVoltage => "under_voltage",
        Kind::OverCurrent => "over_current",
        Kind::UnderCurrent => "under_current",
        Kind::OverPower => "over_power",
    }
}

fn value(kind: Kind, reading: Result<crake::old::Reading, NoReading>) -> Option<f64> {
    let reading = match reading {
        Ok(reading) | Err(NoReading::Clipped { reading, .. }) => reading,
        Err(_) => return None,
    };
    let nano = match kind {
        Kind::OverVoltage | Kind::UnderVoltage => reading.voltage.as_nanovolts(),
        Kind::OverCurrent | Kind::UnderCurrent => reading.current.as_nanoamps(),
        Kind::OverPower => reading.power.as_nanowatts(),
    };
    Some(nano as f64 / 1e9)
}

/// (Debounce × round period + two conversions) at the slowest oscillator.
fn crossing_to_edge_bound_s(scenario: &Scenario, debounce: u8) -> f64 {
    let round_s = 1.0 / f64::from(scenario.part.scans_per_second);
    let conversion_s = f64::from(SPEC.conversion_ns) / 1e9;
    let tolerance = f64::from(SPEC.oscillator.error_ppm) / 1e6;
    (f64::from(debounce) * round_s + 2.0 * conversion_s) / (1.0 - tolerance)
}

/// Declared latency, the longest transfer in progress (a frame's) and a service: causes read and cleared until none is left, then a frame.
///
/// Lengths by the clock: nine clocks a byte, and some for START, repeated START, STOP and the bus-free time.
fn edge_to_event_bound_s(scenario: &Scenario) -> f64 {
    let clocks = |bytes: u32| f64::from(9 * bytes + 6) / f64::from(scenario.bus_hz);
    let frame = clocks(3 + 111 + 1);
    let (read_causes, clear, latch) = (clocks(3 + 3 + 1), clocks(2 + 3 + 1), clocks(2 + 2 + 1));
    let wait_s = 510e-6;
    let latched = latch + wait_s + frame;
    // Four looks and clears at most, and the frame that may be in progress with its latch and wait.
    scenario.host.latency_ns as f64 / 1e9 + latched + 5.0 * (read_causes + clear) + latched
}
