//! The voltage at which a source and all that it feeds agree.

use alloc::vec::Vec;

/// Current over voltage at one instant.
#[derive(Clone, Copy)]
pub(super) enum Form {
    /// Nothing flows.
    Open,
    /// Nanoamperes per nanovolt above `behind`.
    Line { per_nv: f64, behind: f64 },
    /// nA·nV from `least` nanovolts on.
    Power { power: f64, least: f64 },
}

impl Form {
    pub(super) fn line(ohms: f64, behind: f64) -> Self {
        Self::Line {
            per_nv: 1.0 / ohms,
            behind,
        }
    }

    /// Current and its slope; `whole`: whether a constant power is one down to the least voltage.
    fn at(self, nv: f64, whole: bool) -> (f64, f64) {
        match self {
            Self::Open => (0.0, 0.0),
            Self::Line { per_nv, behind } => ((nv - behind) * per_nv, per_nv),
            Self::Power { power, .. } if whole => (power / nv, -power / (nv * nv)),
            Self::Power { power, least } => {
                let per_nv = power / (least * least);
                (nv * per_nv, per_nv)
            }
        }
    }

    /// Current in nanoamperes at `nv`, to the nearest.
    pub(super) fn current_na(self, nv: f64) -> i64 {
        let whole = matches!(self, Self::Power { least, .. } if nv >= least);
        let na = self.at(nv, whole).0;
        // Rounding by basic operations, the same on every machine.
        (na + 0.5_f64.copysign(na)) as i64
    }

    fn least(self) -> Option<f64> {
        match self {
            Self::Power { least, .. } => Some(least),
            _ => None,
        }
    }
}

/// The voltage at the load, in nanovolts: `open_nv` behind `impedance_uohm`, which feeds `load_na`
/// and `forms`.
///
/// Constant power has two such voltages, or none; the upper one holds if there is one. Between two
/// least voltages what is too much at a voltage is a convex function of it, so that Newton's method
/// from above comes down to the uppermost root and never passes one.
pub(super) fn voltage(open_nv: i64, impedance_uohm: u64, load_na: i64, forms: &[Form]) -> f64 {
    let ohms = impedance_uohm as f64 / 1e6;
    let unloaded = open_nv as f64 - ohms * load_na as f64;
    if impedance_uohm == 0 {
        return unloaded;
    }
    let marks = |form: &Form| match *form {
        Form::Open => None,
        Form::Line { behind, .. } => Some(behind),
        Form::Power { least, .. } => Some(least),
    };
    let mut upper = forms.iter().filter_map(marks).fold(unloaded, f64::max);
    loop {
        let below = |least: &f64| *least < upper;
        let leasts = forms.iter().filter_map(|form| form.least());
        let lower = leasts.filter(below).fold(f64::NEG_INFINITY, f64::max);
        let mut nv = upper;
        // At a double root each step halves the distance.
        loop {
            let (mut excess, mut slope) = (nv - unloaded, 1.0);
            for form in forms {
                let whole = form.least().is_some_and(|least| least <= lower);
                let (na, per_nv) = form.at(nv, whole);
                excess += ohms * na;
                slope += ohms * per_nv;
            }
            if excess <= 0.0 {
                return nv;
            }
            let next = nv - excess / slope;
            if slope <= 0.0 || next < lower {
                break;
            }
            // Newton's method comes from above, and is at the root when it moves no more.
            if next >= nv {
                return nv;
            }
            nv = next;
        }
        upper = lower;
    }
}

/// Currents in nanoamperes of `forms` at `nv`.
pub(super) fn currents(forms: &[Form], nv: f64) -> Vec<i64> {
    forms.iter().map(|form| form.current_na(nv)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn currents_are_rounded_to_the_nearest() {
        let one_ohm = Form::line(1.0, 0.0);
        let rounded = [1.495, 1.5, -1.495, -1.5].map(|nv| one_ohm.current_na(nv));
        assert_eq!(rounded, [1, 2, -1, -2]);
    }

    /// Half of 12 V on each of two kilohms, however many branches are open beside them.
    #[test]
    fn what_is_open_counts_for_nothing() {
        let forms = [Form::Open, Form::line(1e3, 0.0), Form::Open];
        let nv = voltage(12_000_000_000, 1_000_000_000, 0, &forms);
        // A straight law is met in one step.
        assert_eq!(nv, 6e9);
        assert_eq!(currents(&forms, nv), [0, 6_000_000, 0]);
    }
}
