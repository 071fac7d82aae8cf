//! Loads whose current follows from the voltage at them.

use alloc::{boxed::Box, rc::Rc};

use super::node::Form;
use super::switch::Contact;
use super::{Bounds, Piece, PlantError, Switched, VOLTAGE_NV_MAX};

/// What a load draws at which voltage.
pub(super) enum Law {
    /// So many microohms.
    Resistance(u64),
    /// So many nanowatts from `least_nv` on; below, as the resistance that takes them there.
    Power { nw: u64, least_nv: u64 },
    /// Picofarads behind microohms, at first at so many nanovolts; and the charge in it where the
    /// rail's present piece begins, in halves of nA·ns.
    Capacitor {
        pf: u64,
        series_uohm: u64,
        initial_nv: i64,
        charge: i128,
    },
    /// What a converter takes in.
    Converter(Box<Input>),
}

/// A converter's input, as [`Converter`] describes it.
pub(super) struct Input {
    converter: Converter,
    output: Switched,
    /// The output's piece in use.
    piece: Option<Piece>,
}

/// What a converter makes of the power at its output.
///
/// While the input's voltage is at least `least_input_nv` it takes in `idle_nw`, and what it puts
/// out over its efficiency. It puts out current × voltage at its terminals: before the output's own
/// impedance. Nothing is fed back: a negative output counts as none. Below `least_input_nv` it
/// takes current as a resistance would, and the output stands all the same: such a rail shows a
/// mistake of the scenario, not a converter that has stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Converter {
    /// Output power over input power, idle power aside, in parts per million: 10 000 to 1 000 000.
    pub efficiency_ppm: u32,
    /// Input power without output, in nanowatts, at most 10^12 (1 kW).
    pub idle_nw: u64,
    /// Least input voltage, in nanovolts, from 1 µV to 1 kV.
    pub least_input_nv: u64,
}

impl Law {
    /// The law, if its numbers make sense.
    pub(super) fn checked(self) -> Result<Self, PlantError> {
        match &self {
            Self::Resistance(uohm) => resistance(*uohm)?,
            Self::Power { nw, least_nv } => {
                power(*nw)?;
                least(*least_nv)?;
            }
            Self::Capacitor {
                pf,
                series_uohm,
                initial_nv,
                ..
            } => {
                resistance(*series_uohm)?;
                Bounds::of([*initial_nv])?;
                // pF × µΩ are 1e-9 ns.
                let tau_ns = u128::from(*pf) * u128::from(*series_uohm) / 1_000_000_000;
                if *pf > CAPACITANCE_PF_MAX || tau_ns < TIME_CONSTANT_NS_MIN {
                    return Err(PlantError::Capacitor);
                }
            }
            Self::Converter(input) => {
                power(input.converter.idle_nw)?;
                least(input.converter.least_input_nv)?;
                if !(10_000..=PPM).contains(&input.converter.efficiency_ppm) {
                    return Err(PlantError::Efficiency(input.converter.efficiency_ppm));
                }
            }
        }
        Ok(self)
    }

    pub(super) fn capacitor(pf: u64, series_uohm: u64, initial_nv: i64) -> Self {
        Self::Capacitor {
            pf,
            series_uohm,
            initial_nv,
            // nV × pF are 1e-3 nA·ns.
            charge: i128::from(initial_nv) * i128::from(pf) / HALVES_PER_PF_NV,
        }
    }

    pub(super) fn converter(converter: Converter, output: Switched) -> Self {
        Self::Converter(Box::new(Input {
            converter,
            output,
            piece: None,
        }))
    }

    /// Greatest current, in nanoamperes, that it draws within `reach`. Exact numbers do not matter
    /// here: it is rounded up.
    fn most_na(&self, reach: &Reach) -> i64 {
        let na = match self {
            Self::Resistance(uohm) => reach.highest / reach.ohms(*uohm),
            Self::Capacitor { series_uohm, .. } => reach.swing() / reach.ohms(*series_uohm),
            Self::Power { nw, least_nv } => *nw as f64 * 1e9 / *least_nv as f64,
            Self::Converter(input) => {
                let most = input.output.greatest();
                input.power(most.0.max(0) as f64 * most.1 as f64)
                    / input.converter.least_input_nv as f64
            }
        };
        na as i64 + 1
    }
}

/// Between which voltages a rail, and what is stored on it, can stand, in nanovolts.
struct Reach {
    lowest: f64,
    highest: f64,
    /// Impedance of the source, in ohms; 0 where a capacitor may be nearer than it.
    ohms: f64,
}

impl Reach {
    fn ohms(&self, uohm: u64) -> f64 {
        self.ohms + uohm as f64 / 1e6
    }

    fn swing(&self) -> f64 {
        self.highest - self.lowest
    }
}

impl Input {
    /// Power taken in, in nA·nV, for what is put out.
    fn power(&self, put_out: f64) -> f64 {
        let idle = self.converter.idle_nw as f64 * 1e9;
        let efficiency = f64::from(self.converter.efficiency_ppm) / f64::from(PPM);
        idle + put_out.max(0.0) / efficiency
    }

    fn power_at(&self, at_ns: u64) -> f64 {
        let put_out = |piece: Piece| {
            let end = piece.cut(at_ns);
            let ohms = self.output.impedance_uohm() as f64 / 1e6;
            (end.end_nv as f64 + end.end_na as f64 * ohms) * end.end_na as f64
        };
        self.power(self.piece.map(put_out).unwrap_or_default())
    }
}

/// A load of a rail that follows a [`Law`], as far as the rail has come.
pub(super) struct Branch {
    law: Law,
    contact: Option<Rc<Contact>>,
    /// Current where the present piece begins, and where it ends, in nanoamperes.
    pub(super) start_na: i64,
    pub(super) end_na: i64,
}

impl Branch {
    pub(super) fn new(law: Law, contact: Option<Rc<Contact>>) -> Self {
        Self {
            law,
            contact,
            start_na: 0,
            end_na: 0,
        }
    }

    /// The next moment at which what it draws is changed from outside.
    pub(super) fn next_change_ns(&self) -> Option<u64> {
        match &self.law {
            Law::Converter(input) => input.output.next_change_ns(),
            _ => None,
        }
    }

    /// Ends the rail's present piece, whose beginning and end are given, at `at_ns`.
    pub(super) fn end_piece(&mut self, from_ns: u64, to_ns: u64, at_ns: u64) {
        if let Law::Capacitor { charge, .. } = &mut self.law {
            let own = Piece {
                start_na: self.start_na,
                end_na: self.end_na,
                ..Piece::nothing(from_ns, to_ns)
            };
            *charge += own.until(at_ns).charge_half_na_ns;
        }
    }

    /// Begins a piece at `from_ns`; gives the moment up to which it may last.
    pub(super) fn begin_piece(&mut self, from_ns: u64) -> u64 {
        match &mut self.law {
            Law::Converter(input) => {
                input.piece = input.output.piece(from_ns);
                input.piece.map_or(u64::MAX, |piece| piece.to_ns)
            }
            _ => u64::MAX,
        }
    }

    /// What it is to the rail at `at_ns`, `since_ns` after the present piece began.
    pub(super) fn form(&self, at_ns: u64, since_ns: u64) -> Form {
        if self.contact.as_ref().is_some_and(|it| !it.is_closed()) {
            return Form::Open;
        }
        match &self.law {
            Law::Resistance(uohm) => Form::line(*uohm as f64 / 1e6, 0.0),
            Law::Power { nw, least_nv } => Form::Power {
                power: *nw as f64 * 1e9,
                least: *least_nv as f64,
            },
            Law::Capacitor {
                pf,
                series_uohm,
                charge,
                ..
            } => {
                // Current goes straight, so the voltage that it adds is half the sum of both ends
                // over the capacitance: the trapezoidal rule, and no charge is lost.
                let volts = *charge as f64 * NV_PF_PER_HALF / *pf as f64;
                let half = since_ns as f64 * NV_PF_PER_HALF / *pf as f64;
                let start_na = self.start_na as f64;
                Form::line(*series_uohm as f64 / 1e6 + half, volts + start_na * half)
            }
            Law::Converter(input) => Form::Power {
                power: input.power_at(at_ns),
                least: input.converter.least_input_nv as f64,
            },
        }
    }

    /// Whether `middle_na`, in the middle of a piece that goes to `end_na`, is close enough to the
    /// straight line.
    pub(super) fn is_straight(&self, middle_na: i64, end_na: i64) -> bool {
        let twice = 2 * middle_na - self.start_na - end_na;
        let greatest = self.start_na.abs().max(end_na.abs());
        twice.abs() <= greatest / (STRAIGHT_WITHIN / 2) + 2
    }
}

/// Least and greatest that `branches` can draw together with a load within `load`, behind
/// `impedance_uohm` from a source within `open`.
pub(super) fn bounds(
    branches: &[Branch],
    load: Bounds,
    open: Bounds,
    impedance_uohm: u64,
) -> Bounds {
    let ohms = impedance_uohm as f64 / 1e6;
    let initials = branches.iter().filter_map(|branch| match branch.law {
        Law::Capacitor { initial_nv, .. } => Some(initial_nv as f64),
        _ => None,
    });
    let fed = open.greatest as f64 - ohms * load.least.min(0) as f64;
    let drawn = open.least as f64 - ohms * load.greatest.max(0) as f64;
    let highest = initials.clone().fold(fed.max(0.0), f64::max);
    let alone = initials.clone().count() < 2 && highest <= fed.max(0.0);
    let reach = Reach {
        lowest: initials.clone().fold(drawn.min(0.0), f64::min),
        highest,
        ohms: if alone { ohms } else { 0.0 },
    };
    let all = branches.iter().map(|branch| branch.law.most_na(&reach));
    let greatest = all.fold(load.greatest, i64::saturating_add);
    // A capacitor gives back what it took in: to the source, or to other loads.
    let back = branches.iter().filter_map(|branch| match branch.law {
        Law::Capacitor { series_uohm, .. } => {
            let series = series_uohm as f64 / 1e6;
            let to_source = (highest - open.least as f64).max(0.0) / (series + ohms);
            let others_na = greatest.saturating_sub(branch.law.most_na(&reach));
            let to_all = to_source + others_na.max(0) as f64;
            Some(to_all.min(reach.swing() / series) as i64 + 1)
        }
        _ => None,
    });
    Bounds {
        least: back.fold(load.least, i64::saturating_sub),
        greatest,
    }
}

fn resistance(uohm: u64) -> Result<(), PlantError> {
    match (RESISTANCE_UOHM_MIN..=RESISTANCE_UOHM_MAX).contains(&uohm) {
        true => Ok(()),
        false => Err(PlantError::Resistance(uohm)),
    }
}

fn power(nw: u64) -> Result<(), PlantError> {
    match nw <= POWER_NW_MAX {
        true => Ok(()),
        false => Err(PlantError::Power(nw)),
    }
}

fn least(nv: u64) -> Result<(), PlantError> {
    match (1_000..=VOLTAGE_NV_MAX.unsigned_abs()).contains(&nv) {
        true => Ok(()),
        false => Err(PlantError::LeastVoltage(nv)),
    }
}

const PPM: u32 = 1_000_000;
/// 1 mΩ to 1 GΩ.
const RESISTANCE_UOHM_MIN: u64 = 1_000;
const RESISTANCE_UOHM_MAX: u64 = 1_000_000_000_000_000;
/// 1 kW.
const POWER_NW_MAX: u64 = 1_000_000_000_000;
/// 1000 F.
const CAPACITANCE_PF_MAX: u64 = 1_000_000_000_000_000;
/// Pieces end at whole nanoseconds, some seventy of them to a time constant.
const TIME_CONSTANT_NS_MIN: u128 = 1_000;
/// Half of 1 nA·ns is 0.5e-18 C, which a picofarad shows as 500 nV.
const NV_PF_PER_HALF: f64 = 500.0;
const HALVES_PER_PF_NV: i128 = 500;
/// A part of the current by which it may be off a straight line, in the middle of a piece.
const STRAIGHT_WITHIN: i64 = 8192;

#[cfg(test)]
mod tests {
    use super::*;

    /// To 8192 µA the middle of the line is 4096 µA; an 8192nd of the greatest is 1000 nA, and 1 nA
    /// more is taken.
    #[test]
    fn straight_is_what_is_within_an_8192nd_and_a_nanoampere() {
        let na = 8_192_000;
        for (start_na, end_na) in [(0, na), (na, 0), (0, -na), (-na, 0)] {
            let branch = Branch {
                start_na,
                ..Branch::new(Law::Resistance(1_000), None)
            };
            let middle_na = (start_na + end_na) / 2;
            for (off_na, is_straight) in [(1_001, true), (1_002, false)] {
                for off_na in [off_na, -off_na] {
                    let seen = branch.is_straight(middle_na + off_na, end_na);
                    assert_eq!(seen, is_straight, "{start_na} to {end_na}: {off_na}");
                }
            }
        }
    }
}
