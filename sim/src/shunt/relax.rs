use core::fmt;

use crake::units::{Current, Resistance};

use super::budget::amps;
use super::{Choice, Demands, Impossible};

/// A demand that may be given up in part so that something fits; each one alone does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Relaxed {
    /// Allow this much error at the least current, as a share of it.
    Error(f64),
    /// Be content with this least current, in amperes.
    Least(f64),
    /// Allow this much burden, in volts.
    Burden(f64),
    /// Take means of 2^k scans.
    Averaging(u8),
    /// Calibrate the offset.
    Calibration,
    /// Calibrate the offset, and take means of 2^k scans, where neither alone does.
    Both(u8),
}

impl Choice {
    /// What would help where nothing fits, most exact demand first; empty where no single one does.
    #[must_use]
    pub fn relaxed(&self, demands: &Demands) -> Vec<Relaxed> {
        let fitting = |changed: &Demands| Self::of(changed).is_ok_and(|it| it.chosen().is_some());
        let mut found = Vec::new();
        if let Some(closest) = self.closest() {
            found.push(Relaxed::Error(closest.error));
        }
        let least = self.but_for_the_error();
        if let Some(least) = least.filter_map(|one| one.good_from(demands)).min() {
            found.push(Relaxed::Least(amps(least)));
        }
        if demands.burden.is_some() {
            let without = Demands {
                burden: None,
                ..demands.clone()
            };
            let least = Self::of(&without).ok().and_then(|choice| {
                let fitting = choice.candidates().filter(|one| one.fits());
                let burdens = fitting.map(|one| one.heat.burden_v);
                burdens.min_by(f64::total_cmp)
            });
            found.extend(least.map(Relaxed::Burden));
        }
        let longer = |demands: &Demands| {
            let longer = demands.averaging + 1..=demands.part.averaging_log2_max;
            let with = |averaging| Demands {
                averaging,
                ..demands.clone()
            };
            longer.into_iter().find(|k| fitting(&with(*k)))
        };
        let averaging = longer(demands).map(Relaxed::Averaging);
        let calibrated = Demands {
            calibrated: true,
            ..demands.clone()
        };
        let calibration = (!demands.calibrated && fitting(&calibrated)).then_some(());
        let calibration = calibration.map(|()| Relaxed::Calibration);
        let both = match (averaging, calibration) {
            (None, None) if !demands.calibrated => longer(&calibrated).map(Relaxed::Both),
            _ => None,
        };
        found.extend([averaging, calibration, both].into_iter().flatten());
        found
    }
}

impl Choice {
    /// That nothing fits, what comes closest, and what would help.
    pub(super) fn nothing_fits(&self, demands: &Demands) -> Impossible {
        let closest = self.closest().or_else(|| self.candidates().next());
        let closest = closest.map_or_else(String::new, |one| {
            let broken: Vec<_> = one.broken.iter().map(ToString::to_string).collect();
            let resistance = Resistance::from_nanoohms(one.resistance_nohm);
            format!(": {resistance} comes closest ({})", broken.join("; "))
        });
        let relaxed = self.relaxed(demands);
        let relaxed: Vec<_> = relaxed.iter().map(|one| one.told(demands)).collect();
        let help = match relaxed.is_empty() {
            true => "no single demand that is relaxed would do".to_owned(),
            false => format!("any one of these would do: {}", relaxed.join(", ")),
        };
        Impossible(format!(
            "no {} resistor meets every demand{closest}; {help}",
            demands.series.name()
        ))
    }
}

impl Relaxed {
    /// The demand as it stands, beside what it would have to be.
    fn told(&self, demands: &Demands) -> String {
        let stands = match self {
            Self::Error(_) => format!("{} % now", demands.error_ppm as f64 / 1e4),
            Self::Least(_) => format!("{} now", demands.least),
            Self::Burden(_) => {
                let burden = demands.burden.unwrap_or_default();
                format!("{burden} now")
            }
            Self::Averaging(_) => format!("2^{} now", demands.averaging),
            Self::Calibration => "not now".to_owned(),
            Self::Both(_) => format!("not calibrated, 2^{} now", demands.averaging),
        };
        format!("{self} ({stands})")
    }
}

/// Rounded to the side on which it holds.
impl fmt::Display for Relaxed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Error(share) => {
                write!(f, "an error of {:.2} %", (share * 1e4).ceil() / 1e2)
            }
            Self::Least(amps) => {
                // Four digits, up.
                let na = (amps * 1e9).round() as u64;
                let step = 10_u64.pow(na.max(1).ilog10().saturating_sub(3));
                let na = na.div_ceil(step) * step;
                let least = Current::from_nanoamps(na as i64);
                write!(f, "a least current of {least}")
            }
            Self::Burden(volts) => write!(f, "a burden of {:.2} mV", (volts * 1e5).ceil() / 1e2),
            Self::Averaging(k) => write!(f, "means of 2^{k} scans"),
            Self::Calibration => f.write_str("an offset calibration by the firmware"),
            Self::Both(k) => write!(f, "an offset calibration with means of 2^{k} scans"),
        }
    }
}
