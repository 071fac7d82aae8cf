//! How long each step of an alert took: from a rail's crossing to the output's edge, and on to the
//! event.

use crake::alert::{AlertFlag, Event, Kind, Outputs, limit_in_force};
use crake::board::{Mean, OperatingPoint, Rail};
use crake::config::Scan;
use crake::info::{PartInfo, Source};
use crake::plan::Duty;
use crake::units::{Current, Power, Voltage};
use crake::{Channel, Sample};
use embedded_hal::digital::PinState;
use schemars::JsonSchema;
use serde::Serialize;

use super::alerts::kind;
use super::crossings::excursions;
use super::faults::Faults;
use super::firmware::{Busy, Setup};
use crate::bench::Line;
use crate::plant::PlantError;
use crate::scenario::{AlertPlan, RailPlan, Route};

/// One alert, as the firmware heard of it.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct AlertReport {
    /// When the event was there, in seconds of the bench's time.
    pub time_s: f64,
    /// The rail.
    pub rail: String,
    /// What the limit watches for.
    pub kind: &'static str,
    /// Outputs that were told: "A", "B" or "AB"; "none" where the driver compares.
    pub output: &'static str,
    /// Reading of the sample taken after the flag was seen, in volts, amperes or watts; none if
    /// there was none.
    pub value: Option<f64>,
    /// Limit in force, in the same unit: the requested one, moved to the code on the safe side.
    pub limit: Option<f64>,
    /// From the moment at which the rail's true value is beyond the limit, and beyond all that
    /// instrument and board may be off by, to the output's edge, in seconds; none where the output
    /// spoke earlier than that, where the line was low already, where the rail was beyond the limit
    /// before the limit was set, where a fault of the scenario struck meanwhile, and where the
    /// driver compares: no output tells of that.
    pub crossing_to_edge_s: Option<f64>,
    /// What the datasheet allows for it, rounded up to microseconds: (debounce × scan period + two
    /// conversions) ÷ (1 − oscillator tolerance). Of a part that converts when it is told to:
    /// debounce × the time from one reading to the next, a conversion, and what host and bus allow.
    pub crossing_to_edge_bound_s: f64,
    /// From the output's edge to the event, in seconds; none where the line was low already, where
    /// a fault of the scenario struck meanwhile, where the firmware did not listen, after one or
    /// while it set up another part, and where the driver compares.
    pub edge_to_event_s: Option<f64>,
    /// What host and bus allow for it: declared latency, the longest work in progress, a service of
    /// every other part, and one of this.
    pub edge_to_event_bound_s: f64,
}

/// Limits with what is needed to judge how they were served, and what was told.
pub(super) struct Reactions {
    watched: Vec<Watched>,
    edge_to_event_bound_s: f64,
    /// When the limits stood in the part.
    armed_ns: u64,
    /// Edges before that were not listened to.
    listens_from_ns: u64,
    falls: Vec<Fall>,
    /// Since when each line was high when it fell last.
    high_since_ns: [u64; 2],
    timeline: Vec<AlertReport>,
    faults: Faults,
}

/// A falling edge of a line.
struct Fall {
    output: usize,
    high_since_ns: u64,
    at_ns: u64,
}

struct Watched {
    channel: Channel,
    kind: Kind,
    rail: String,
    output: Route,
    by: Source,
    excursions: Vec<(u64, u64)>,
    bound_s: f64,
    /// The reading's own delay is part of the bound: the part converts with readings.
    with_readings: bool,
}

impl Reactions {
    /// Of a part of a run on these rails, as `scan` has them; the host is kept so long by it.
    pub(super) fn new<const N: usize>(
        setup: &Setup<'_>,
        rails: &[Rail; N],
        scan: &Scan<N>,
        busy: &Busy,
    ) -> Result<Self, PlantError> {
        let (scenario, info) = (setup.scenario, setup.plan().kind.info);
        let mut watched = Vec::new();
        let interval_us = scenario.host.read_every_ns.div_ceil(1_000);
        let duty = Duty::new(info, scan, interval_us);
        for plan in setup.rails() {
            for alert in &plan.alerts {
                // Where nothing says what a conversion may be off by, no crossing is dated.
                let margin = margin(info, rails, scan, plan, alert);
                let excursions =
                    margin.map(|margin| excursions(plan, alert, margin, scenario.duration_ns));
                watched.push(Watched {
                    channel: Channel::new(plan.channel),
                    kind: kind(alert),
                    rail: plan.name.clone(),
                    output: alert.output,
                    by: compared_by(info, plan, alert),
                    excursions: excursions.transpose()?.unwrap_or_default(),
                    bound_s: duty.seen_within_us(alert.debounce, Source::Part) as f64 / 1e6,
                    with_readings: setup.plan().scans_per_second == 0,
                });
            }
        }
        let mut reactions = Self {
            watched,
            edge_to_event_bound_s: scenario.host.latency_ns as f64 / 1e9,
            armed_ns: 0,
            listens_from_ns: 0,
            falls: Vec::new(),
            high_since_ns: [0; 2],
            timeline: Vec::new(),
            faults: setup.faults.clone(),
        };
        // What may be in progress: a sample, and what a condition that is over by it asks for.
        reactions.wait_for_others(busy.reading_s + busy.service_s);
        Ok(reactions)
    }

    /// Others may keep the host for so long besides.
    pub(super) fn wait_for_others(&mut self, others_s: f64) {
        self.edge_to_event_bound_s += others_s;
        let with_readings = self.watched.iter_mut().filter(|it| it.with_readings);
        with_readings.for_each(|it| it.bound_s += others_s);
    }

    /// The limits stand in the part from now on.
    pub(super) const fn armed(&mut self, now_ns: u64) {
        self.armed_ns = now_ns;
    }

    /// The firmware listens from now on again.
    pub(super) const fn listens_from(&mut self, now_ns: u64) {
        self.listens_from_ns = now_ns;
    }

    /// Takes the edges of outputs A and B since the last call.
    pub(super) fn see(&mut self, lines: &[(Outputs, Line)]) {
        let lines = lines.iter().zip(&mut self.high_since_ns);
        for (output, ((_, line), high_since_ns)) in lines.enumerate() {
            for edge in line.edges() {
                match edge.to {
                    PinState::High => *high_since_ns = edge.at_ns,
                    PinState::Low => self.falls.push(Fall {
                        output,
                        high_since_ns: *high_since_ns,
                        at_ns: edge.at_ns,
                    }),
                }
            }
        }
    }

    /// A service begins, for what outputs show now: edges of a line that is high again are past. A
    /// condition that lasts may have made some that nobody listened to.
    pub(super) fn begin_service(&mut self, lines: &[(Outputs, Line)]) {
        self.see(lines);
        for (output, (_, line)) in lines.iter().enumerate() {
            let mut falls = self.falls.iter();
            let last = falls.rposition(|fall| fall.output == output);
            let last = last.filter(|_| line.level() == PinState::Low);
            let mut place = 0;
            self.falls.retain(|fall| {
                place += 1;
                fall.output != output || Some(place - 1) == last
            });
        }
    }

    /// Takes an event, and the sample of the service that told it; `was_deaf`: outputs were not
    /// listened to until then.
    pub(super) fn note<const N: usize, S: Sample<N> + ?Sized>(
        &mut self,
        event: &Event,
        sample: &S,
        now_ns: u64,
        was_deaf: bool,
    ) {
        let AlertFlag::Limit(channel, kind) = event.flag() else {
            return;
        };
        let mut watched = self.watched.iter();
        let Some(watched) = watched.find(|it| it.channel == channel && it.kind == kind) else {
            return;
        };
        let reaches = |output: usize| match watched.output {
            Route::A => output == 0,
            Route::B => output == 1,
            Route::Both => true,
        };
        let told = watched.by == Source::Part;
        let falls = self.falls.iter();
        let falls = falls.filter(|fall| told && reaches(fall.output));
        let fall = falls.min_by_key(|fall| fall.at_ns);
        let edge_ns = fall.map(|fall| fall.at_ns);
        let heard_ns = edge_ns.filter(|&ns| ns >= self.listens_from_ns);
        // The excursion during which the line fell, if limits stood and the line was high when it
        // began.
        let crossing_ns = fall.and_then(|fall| {
            let excursions = &watched.excursions;
            let begun = excursions.partition_point(|(from_ns, _)| *from_ns <= fall.at_ns);
            let (from_ns, to_ns) = *excursions.get(begun.checked_sub(1)?)?;
            let ready_ns = fall.high_since_ns.max(self.armed_ns);
            (fall.at_ns <= to_ns && ready_ns <= from_ns).then_some(from_ns)
        });
        let seconds = |from_ns: Option<u64>, to_ns: Option<u64>| {
            let from_ns = from_ns.filter(|&ns| !self.faults.struck_since(ns, &watched.rail))?;
            Some((to_ns? - from_ns) as f64 / 1e9)
        };
        let in_force = event
            .limit()
            .and_then(|limit| limit_in_force(sample, channel, limit));
        self.timeline.push(AlertReport {
            time_s: now_ns as f64 / 1e9,
            rail: watched.rail.clone(),
            kind: word(kind),
            output: match watched.output {
                _ if !told => "none",
                Route::A => "A",
                Route::B => "B",
                Route::Both => "AB",
            },
            value: event.value().map(|value| value.billionths() as f64 / 1e9),
            limit: in_force.map(|limit| limit.billionths() as f64 / 1e9),
            crossing_to_edge_s: seconds(crossing_ns, edge_ns),
            crossing_to_edge_bound_s: watched.bound_s,
            edge_to_event_s: seconds(heard_ns, Some(now_ns).filter(|_| !was_deaf)),
            edge_to_event_bound_s: self.edge_to_event_bound_s,
        });
    }

    /// A service is over: what the outputs told until then is done with.
    pub(super) fn served(&mut self) {
        self.falls.clear();
    }

    pub(super) fn timeline(&self) -> &[AlertReport] {
        &self.timeline
    }

    pub(super) fn into_timeline(self) -> Vec<AlertReport> {
        self.timeline
    }
}

/// What one conversion may be off by at the limit, in nano-units: the driver's own error budget.
fn margin<const N: usize>(
    info: &PartInfo,
    rails: &[Rail; N],
    scan: &Scan<N>,
    plan: &RailPlan,
    alert: &AlertPlan,
) -> Option<i64> {
    let channel = Channel::new(plan.channel);
    let rail = rails.get(channel.index())?;
    let mut at = OperatingPoint {
        range: *scan.range(channel)?,
        current: Current::ZERO,
        voltage: Voltage::ZERO,
        power: Power::ZERO,
        mean: Mean::Reading { averaging_log2: 0 },
    };
    match kind(alert) {
        Kind::OverVoltage | Kind::UnderVoltage => {
            at.voltage = Voltage::from_nanovolts(alert.limit);
            Some(rail.voltage_budget(info, &at)?.total().as_nanovolts())
        }
        Kind::OverCurrent | Kind::UnderCurrent => {
            at.current = Current::from_nanoamps(alert.limit);
            Some(rail.current_budget(info, &at)?.total().as_nanoamps())
        }
        Kind::OverPower => {
            // Which current and voltage make the power is not known: the greatest of both.
            let declared = &plan.declared;
            let full_nv = plan.sense.rail_full_scale_nv;
            let voltage_nv = declared
                .voltage_nv
                .map_or(full_nv, |(_, greatest)| greatest);
            at.current = Current::from_nanoamps(declared.greatest_na);
            at.voltage = Voltage::from_nanovolts(voltage_nv);
            at.power = Power::from_nanowatts(alert.limit);
            Some(rail.power_budget(info, &at)?.total().as_nanowatts())
        }
    }
}

/// What a plan watches for, as reports have it.
pub(crate) fn word_of(alert: &AlertPlan) -> &'static str {
    word(kind(alert))
}

/// Who compares with a limit.
pub(super) fn compared_by(info: &PartInfo, plan: &RailPlan, alert: &AlertPlan) -> Source {
    info.compared_by(plan.channel, kind(alert), alert.debounce, alert.latching)
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

#[cfg(test)]
mod tests {
    use embedded_hal::i2c::I2c;

    use super::*;
    use crate::bench::Bench;
    use crate::part::corncrake::{Corncrake, Output};
    use crate::run::board::described;
    use crate::scenario::Scenario;

    fn scenario(alert: &str) -> Scenario {
        let text = format!(
            "title = \"t\"\nduration_s = 1\n[[rail]]\nname = \"A\"\n\
             sense = {{ resistance_ohm = 0.01, tolerance_percent = 0, \
             sense_full_scale_v = 0.06, rail_full_scale_v = 6.5, \
             temperature_coefficient_ppm_per_k = 0, thermal_resistance_k_per_w = 0 }}\n\
             source.voltage_v = 5\nload.current_a = 1\n\
             load_declared = {{ steps_per_hour = 0, step_a = 0, flow = \"forward\", \
             greatest_a = 2, voltage_v = [4, 6] }}\n[[rail.alert]]\noutput = \"A\"\n{alert}\n"
        );
        Scenario::parse(&text, "case.toml").expect("a scenario")
    }

    /// By hand from docs/accuracy.md and section 7 of the Corncrake's datasheet, coarse range,
    /// 10 mΩ, 6.5 V. Current: gain 2 mA, offset 10 µV, noise 6 × 2.5 µV, a code of 0.5 µV.
    /// Voltage: gain 7.5 mV, offset 1 mV, noise 6 × 150 µV, a code of 0.1 mV. Power at 2 A and 6 V:
    /// gain 17.5 mW, and the rest of each times the other.
    #[test]
    fn a_conversion_may_be_off_by_all_its_limits() {
        for (alert, expected, gain) in [
            (
                "kind = \"over_current\"\nlimit_a = 1",
                2e6 + (10.0 + 15.0 + 0.5) * 1e5,
                0.002,
            ),
            (
                "kind = \"under_voltage\"\nlimit_v = 5",
                7.5e6 + 1e6 + 0.9e6 + 0.1e6,
                0.0015,
            ),
            (
                "kind = \"over_power\"\nlimit_w = 5",
                17.5e6 + 6.0 * 2.55e6 + 2.0 * 2e6,
                0.0035,
            ),
        ] {
            let scenario = scenario(alert);
            let (rails, config) = described::<4>(&scenario, 0);
            let info = scenario.parts[0].kind.info;
            let mut scan = Scan::NONE;
            config.resolve(info, &mut scan).expect("a configuration");
            let plan = &scenario.rails[0];
            let found = margin(info, &rails, &scan, plan, &plan.alerts[0]).expect("a rail");
            let expected = expected / (1.0 - gain);
            let off = (found as f64 / expected - 1.0).abs();
            assert!(off < 0.02, "{alert}: {found}, not {expected}");
        }
    }

    /// Of edges that nobody listened to only the last of a line that is still low is news.
    #[test]
    fn a_service_is_for_what_lines_show_when_it_begins() {
        let bench = Bench::new(0);
        let part = bench.part(Corncrake::ideal(0x32)).expect("a free address");
        let lines = [(Outputs::A, Output::A), (Outputs::B, Output::B)]
            .map(|(outputs, output)| (outputs, bench.alert(&part, output)));
        lines.iter().for_each(|(_, line)| line.set_recording(true));
        // "Reset seen" pulls what its mask lets it (section 3.6).
        let pulls = |mask: u8, low: bool| {
            let bytes = [mask, u8::from(low) << 6, 0, 0];
            bench.i2c().write(0x32, &bytes).expect("acknowledged");
            bench.now_ns()
        };
        let mut reactions = Reactions {
            watched: Vec::new(),
            edge_to_event_bound_s: 0.0,
            armed_ns: 0,
            listens_from_ns: 0,
            falls: Vec::new(),
            high_since_ns: [0; 2],
            timeline: Vec::new(),
            faults: Faults::new(&bench, &scenario("kind = \"over_current\"\nlimit_a = 1"))
                .expect("no fault"),
        };
        let falls = |reactions: &Reactions| -> Vec<_> {
            let falls = reactions.falls.iter();
            falls
                .map(|it| (it.output, it.high_since_ns, it.at_ns))
                .collect()
        };
        pulls(0x35, true);
        let a_high_ns = pulls(0x35, false);
        let a_low_ns = pulls(0x35, true);
        pulls(0x36, true);
        let b_high_ns = pulls(0x36, false);
        reactions.begin_service(&lines);
        assert_eq!(falls(&reactions), [(0, a_high_ns, a_low_ns)]);
        let b_low_ns = pulls(0x36, true);
        reactions.begin_service(&lines);
        let both = [(0, a_high_ns, a_low_ns), (1, b_high_ns, b_low_ns)];
        assert_eq!(falls(&reactions), both);
        pulls(0x35, false);
        reactions.begin_service(&lines);
        assert_eq!(falls(&reactions), both[1..]);
        reactions.served();
        assert_eq!(falls(&reactions), []);
    }
}
