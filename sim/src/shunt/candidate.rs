use core::fmt;

use crake::Channel;
use crake::board::{Board, Correction, Mean, Rail};
use crake::config::{ChannelRange, Config, FullScale, Scan};
use crake::units::{Current, Resistance, Voltage};
use schemars::JsonSchema;
use serde::Serialize;

use super::budget::{ErrorBudget, Setting, amps, volts};
use super::heat::DERATED_TO_C;
use super::{Demands, Heat};

/// One resistor of the series, and what it makes of the demands.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Nominal resistance, in nanoohms.
    pub resistance_nohm: u64,
    /// As the driver is told of it.
    pub rail: Rail,
    /// The finest ranges that reach the greatest current with all errors; `None` where none does.
    pub range: Option<ChannelRange>,
    /// What is asked of the ranges for that.
    pub full_scale: FullScale,
    /// What the greatest current makes of it.
    pub heat: Heat,
    /// Worst-case error at the least current, as a share of it; infinite without a range.
    pub error: f64,
    /// Demands that it breaks.
    pub broken: Vec<Broken>,
}

/// A demand that a candidate breaks.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Broken {
    /// The sense voltage of the greatest current, errors included, beyond the part's widest range;
    /// in volts.
    Range {
        /// What it may come to.
        needs: f64,
        /// What there is.
        has: f64,
    },
    /// The driver cannot use the part with a resistor as small as this.
    TooSmall,
    /// More burden than allowed, in volts.
    Burden {
        /// What it may come to.
        makes: f64,
        /// What is allowed.
        allowed: f64,
    },
    /// Hotter than a resistor may get, in degrees Celsius.
    Heat {
        /// What it may come to.
        reaches: f64,
    },
    /// More error at the least current than allowed, as a share of it.
    Error {
        /// What it may come to.
        makes: f64,
        /// What is allowed.
        allowed: f64,
    },
}

impl Candidate {
    /// A resistor of this size against the demands.
    #[must_use]
    pub fn new(demands: &Demands, resistance_nohm: u64) -> Self {
        let resistance = Resistance::from_nanoohms(resistance_nohm);
        let plain = demands.rail(resistance);
        let greatest_share = f64::from(plain.resistor().thermal_ppb(demands.greatest)) / 1e9
            + f64::from(demands.resistors.tolerance_ppm) / 1e6;
        let mut candidate = Self {
            resistance_nohm,
            rail: plain,
            range: None,
            full_scale: FullScale::new(Voltage::ZERO, Voltage::ZERO),
            heat: Heat::of(demands, resistance, greatest_share),
            error: f64::INFINITY,
            broken: Vec::new(),
        };
        candidate.find_range(demands);
        candidate.judge(demands);
        candidate
    }

    /// Whether it meets every demand.
    #[must_use]
    pub fn fits(&self) -> bool {
        self.broken.is_empty()
    }

    /// The current of its range's full scale, in amperes.
    #[must_use]
    pub fn full_scale_a(&self, demands: &Demands) -> Option<f64> {
        let range = demands
            .part
            .sense_ranges
            .get(usize::from(self.range?.sense))?;
        Some(self.code_a(demands)? * f64::from(range.code_max))
    }

    /// One sense code, in amperes.
    #[must_use]
    pub fn code_a(&self, demands: &Demands) -> Option<f64> {
        let lsb = f64::from(self.range?.sense_lsb) * volts(demands.part.sense_unit);
        Some(lsb / self.ohms())
    }

    /// One sense code times one rail code, in watts.
    #[must_use]
    pub fn code_w(&self, demands: &Demands) -> Option<f64> {
        let lsb = f64::from(self.range?.rail_lsb) * volts(demands.part.rail_unit);
        Some(self.code_a(demands)? * lsb)
    }

    /// Nominal resistance in ohms.
    #[must_use]
    pub fn ohms(&self) -> f64 {
        self.resistance_nohm as f64 / 1e9
    }

    /// Worst-case error of a reading at a current, as a share of it; `None` without a range.
    #[must_use]
    pub fn error_at(&self, demands: &Demands, current: Current) -> Option<f64> {
        let worst = self
            .setting(demands)?
            .worst_current(current, demands.reading())?;
        Some(amps(worst) / amps(current))
    }

    /// The least current whose error is within what is allowed at the least of interest; `None`
    /// where none up to the greatest is.
    #[must_use]
    pub fn good_from(&self, demands: &Demands) -> Option<Current> {
        let allowed = demands.error_ppm as f64 / 1e6;
        let good = |na: i64| {
            let error = self.error_at(demands, Current::from_nanoamps(na));
            error.is_some_and(|error| error <= allowed)
        };
        let (mut bad, mut least) = (0, demands.greatest.as_nanoamps());
        if !good(least) {
            return None;
        }
        // The greater the current, the less its share.
        while least - bad > 1 {
            let middle = bad + (least - bad) / 2;
            match good(middle) {
                true => least = middle,
                false => bad = middle,
            }
        }
        Some(Current::from_nanoamps(least))
    }

    /// The error budget at a current; `None` without a range.
    #[must_use]
    pub fn budget(&self, demands: &Demands, current: Current) -> Option<ErrorBudget> {
        let stretch = &demands.stretch;
        let scans = stretch.duration_us / u64::from(stretch.scan_period_us.max(1));
        let of_energy = Mean::Stretch {
            scans: scans.max(1),
            scan_period_us: stretch.scan_period_us,
            duration_us: stretch.duration_us,
            ends_us: 0,
            clock: stretch.clock,
        };
        self.setting(demands)?
            .errors(current, [demands.reading(), of_energy])
    }

    fn setting(&self, demands: &Demands) -> Option<Setting<'_>> {
        Some(Setting {
            info: demands.part,
            rail: &self.rail,
            range: self.range?,
            voltage: demands.voltage,
            greatest: demands.greatest,
        })
    }

    /// The finest range that reaches the greatest current as any part may show it.
    fn find_range(&mut self, demands: &Demands) {
        let ohms = self.ohms();
        let mut shown = demands.greatest;
        // Each time round takes a coarser range, or ends.
        for _ in 0..=demands.part.sense_ranges.len() {
            let sense = Voltage::from_nanovolts((amps(shown) * ohms * 1e9).ceil() as i64);
            self.full_scale = FullScale::new(sense, demands.voltage);
            let Some(range) = resolved(demands, self.full_scale) else {
                let widest = demands
                    .part
                    .sense_ranges
                    .iter()
                    .map(|one| one.full_scale_uv);
                let has = f64::from(widest.max().unwrap_or_default()) / 1e6;
                let needs = volts(sense);
                self.range = None;
                self.broken.push(Broken::Range { needs, has });
                return;
            };
            if self.range == Some(range) {
                break;
            }
            // What is converted has its offset still, calibrated or not.
            self.range = Some(range);
            let worst = self
                .setting(demands)
                .and_then(|setting| setting.worst_current(demands.greatest, SINGLE));
            shown = demands
                .greatest
                .saturating_add(worst.unwrap_or(Current::MAX));
        }
        let full_scale = FullScale::new(self.full_scale.sense(), self.rail_scale(demands));
        if let Some(range) = resolved(demands, full_scale) {
            (self.full_scale, self.range) = (full_scale, Some(range));
        }
        if demands.calibrated {
            self.rail = self.rail.corrected(self.calibration(demands));
        }
    }

    /// Greatest rail voltage as any part may show it.
    fn rail_scale(&self, demands: &Demands) -> Voltage {
        let budget = self.setting(demands).and_then(|setting| {
            let at = setting.point(demands.greatest, SINGLE);
            self.rail.voltage_budget(demands.part, &at)
        });
        let more = budget.map_or(Voltage::ZERO, |budget| budget.total());
        demands.voltage.saturating_add(more)
    }

    /// What an offset calibration leaves: noise of its conversions, and what the bias may do
    /// otherwise later, by gain and temperature, from one limit to the other.
    fn calibration(&self, demands: &Demands) -> Correction {
        let collected = Mean::Stretch {
            scans: COLLECTED,
            scan_period_us: 0,
            duration_us: 1,
            ends_us: 0,
            clock: crake::units::Tolerance::ZERO,
        };
        let bound_a = self.setting(demands).and_then(|setting| {
            let at = setting.point(Current::ZERO, collected);
            let nothing = self.rail.current_budget(demands.part, &at)?;
            let at = setting.point(demands.greatest, collected);
            let full = self.rail.current_budget(demands.part, &at)?;
            let noise = amps(nothing.noise) + amps(nothing.quantisation);
            let swing = (amps(full.gain) + amps(full.temperature)) / amps(demands.greatest);
            Some(noise + 2.0 * swing * amps(nothing.bias))
        });
        let bound_nv = (bound_a.unwrap_or_default() * self.ohms() * 1e9).ceil();
        Correction {
            offset_bound: Some(Voltage::from_nanovolts(bound_nv as i64)),
            ..Correction::NONE
        }
    }

    fn judge(&mut self, demands: &Demands) {
        if Board::new(demands.part, &[self.rail])
            .check(demands.part)
            .is_err()
        {
            self.broken.push(Broken::TooSmall);
        }
        let heat = &self.heat;
        if let Some(allowed) = demands.burden.map(volts)
            // To whole nanovolts, as demands are: 50 mΩ × 1.2 A is not above 60 mV.
            && ((heat.burden_v - allowed) * 1e9).round() > 0.0
        {
            let makes = heat.burden_v;
            self.broken.push(Broken::Burden { makes, allowed });
        }
        if heat.hottest_c >= DERATED_TO_C {
            let reaches = heat.hottest_c;
            self.broken.push(Broken::Heat { reaches });
        }
        let Some(error) = self.error_at(demands, demands.least) else {
            return;
        };
        self.error = error;
        let allowed = demands.error_ppm as f64 / 1e6;
        if error > allowed {
            let makes = error;
            self.broken.push(Broken::Error { makes, allowed });
        }
    }
}

/// Conversions of an offset calibration: as many as [`crake::calibration::Collection`] asks for.
const COLLECTED: u64 = 4_000;
const SINGLE: Mean = Mean::Reading { averaging_log2: 0 };

/// Ranges that the driver would take.
fn resolved(demands: &Demands, full_scale: FullScale) -> Option<ChannelRange> {
    let mut scan = Scan::<1>::NONE;
    let config = Config::single_shot([full_scale]);
    config.resolve(demands.part, &mut scan).ok()?;
    scan.range(Channel::C0).copied()
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let voltage = |volts: f64| Voltage::from_nanovolts((volts * 1e9).round() as i64);
        match *self {
            Self::Range { needs, has } => {
                let (needs, has) = (voltage(needs), voltage(has));
                write!(f, "sense voltage {needs}, part reaches {has}")
            }
            Self::TooSmall => f.write_str("too small for this part's numbers"),
            Self::Burden { makes, allowed } => {
                let (makes, allowed) = (voltage(makes), voltage(allowed));
                write!(f, "burden {makes}, allowed {allowed}")
            }
            Self::Heat { reaches } => write!(f, "gets {reaches:.0} °C hot"),
            Self::Error { makes, allowed } => {
                // Up, so that it never looks allowed.
                let makes = (makes * 1e5).ceil() / 1e3;
                write!(f, "error {makes} %, allowed {} %", allowed * 1e2)
            }
        }
    }
}
