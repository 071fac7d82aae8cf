use super::ScenarioError;
use super::profile::{self, KINDS, Kind, ProfilePlan, TIME, Unit};
use super::rail::{RESISTANCE_ANY, VOLTS};
use super::table::{Limits, Table};
use crate::plant::{Charger, Load, PlantError, Switched};

/// One of the loads of a rail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LoadPlan {
    /// What it draws.
    pub draws: Draws,
    /// When its switch closes, and when it opens for good, in nanoseconds; none without a switch.
    pub between_ns: Option<(u64, u64)>,
}

/// What a load draws.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Draws {
    /// A current over time, in nanoamperes, positive from source to load.
    Current(ProfilePlan),
    /// A resistance in microohms; see [`Load::resistance`].
    Resistance(u64),
    /// A constant power in nanowatts down to so many nanovolts; see [`Load::power`].
    Power {
        /// The power.
        nw: u64,
        /// The least voltage at which it is taken.
        least_nv: u64,
    },
    /// The inrush of a capacitor; see [`Load::capacitor`].
    Inrush {
        /// Capacitance in picofarads.
        pf: u64,
        /// Resistance in series, in microohms.
        series_uohm: u64,
        /// Its voltage at the beginning, in nanovolts.
        initial_nv: i64,
    },
    /// A charger for the cell that is the rail's source.
    Charger(Charger),
}

impl LoadPlan {
    /// The load itself.
    ///
    /// # Errors
    /// Whatever its constructor refuses.
    pub fn load(&self) -> Result<Load, PlantError> {
        let load = match &self.draws {
            Draws::Current(plan) => Load::of(plan.profile()?),
            Draws::Resistance(uohm) => Load::resistance(*uohm)?,
            Draws::Power { nw, least_nv } => Load::power(*nw, *least_nv)?,
            Draws::Inrush {
                pf,
                series_uohm,
                initial_nv,
            } => Load::capacitor(*pf, *series_uohm, *initial_nv)?,
            Draws::Charger(charger) => Load::charger(*charger)?,
        };
        Ok(match self.between_ns {
            Some((closes_ns, opens_ns)) => load.between(closes_ns, opens_ns),
            None => load,
        })
    }

    const fn without_switch(draws: Draws) -> Self {
        Self {
            draws,
            between_ns: None,
        }
    }
}

/// Kinds of load, as a file names them.
#[derive(Clone, Copy)]
enum LoadKind {
    Profile(Kind),
    Resistance,
    Power,
    Inrush,
    Charger,
}

/// What a load is that has a current and no kind.
const CONSTANT: LoadKind = LoadKind::Profile(Kind::Constant);

/// Reads a `[rail.load]`: one load, or several of a sum.
pub(super) fn read(mut table: Table<'_>) -> Result<Vec<LoadPlan>, ScenarioError> {
    let kinds: Vec<(&str, LoadKind)> = KINDS
        .iter()
        .map(|&(word, kind)| (word, LoadKind::Profile(kind)))
        .chain([
            ("resistance", LoadKind::Resistance),
            ("constant_power", LoadKind::Power),
            ("inrush", LoadKind::Inrush),
            ("charger", LoadKind::Charger),
        ])
        .collect();
    let draws = match profile::kind(&mut table, AMPS, &kinds, CONSTANT)? {
        LoadKind::Profile(Kind::Sum) => {
            let parts = sum(&mut table)?;
            table.finish()?;
            return Ok(parts);
        }
        LoadKind::Profile(kind) => Draws::Current(profile::read(&mut table, kind, AMPS)?),
        LoadKind::Resistance => Draws::Resistance(table.count("resistance_ohm", RESISTANCE_ANY)?),
        LoadKind::Power => Draws::Power {
            nw: table.count("power_w", POWER)?,
            least_nv: table.count("down_to_v", DOWN_TO)?,
        },
        LoadKind::Inrush => Draws::Inrush {
            pf: table.count("capacitance_f", CAPACITANCE)?,
            series_uohm: table.count("series_ohm", RESISTANCE_ANY)?,
            initial_nv: table.number_or("initial_v", VOLTS.limits, 0)?,
        },
        LoadKind::Charger => Draws::Charger(Charger {
            trickle_na: table.number("trickle_a", CHARGE)?,
            trickle_below_nv: table.number("trickle_below_v", VOLTS.limits)?,
            bulk_na: table.number("constant_current_a", CHARGE)?,
            full_nv: table.number("constant_voltage_v", VOLTS.limits)?,
            least_na: table.number("end_a", CHARGE)?,
        }),
    };
    let plan = LoadPlan {
        draws,
        between_ns: between(&mut table)?,
    };
    if let Err(error) = plan.load() {
        return Err(table.error(error.to_string()));
    }
    table.finish()?;
    Ok(vec![plan])
}

/// The parts of a sum. Profiles alone are one profile.
fn sum(table: &mut Table<'_>) -> Result<Vec<LoadPlan>, ScenarioError> {
    let mut loads = Vec::new();
    for part in table.needed("parts", PARTS)?.elements(PARTS)? {
        loads.extend(read(part.table("parts")?)?);
    }
    let profile = |load: &LoadPlan| match load {
        LoadPlan {
            draws: Draws::Current(plan),
            between_ns: None,
        } => Some(plan.clone()),
        _ => None,
    };
    let profiles: Option<Vec<_>> = loads.iter().map(profile).collect();
    let loads = match profiles {
        Some(parts) => vec![LoadPlan::without_switch(Draws::Current(ProfilePlan::Sum(
            parts,
        )))],
        None => loads,
    };
    let built = loads
        .iter()
        .map(LoadPlan::load)
        .collect::<Result<Vec<_>, _>>();
    match built {
        Ok(_) => Ok(loads),
        Err(error) => Err(table.error(error.to_string())),
    }
}

/// `closes_s` and `opens_s`: neither for a load without a switch.
fn between(table: &mut Table<'_>) -> Result<Option<(u64, u64)>, ScenarioError> {
    let closes = table.field("closes_s");
    let opens = table.field("opens_s");
    if closes.is_none() && opens.is_none() {
        return Ok(None);
    }
    let closes_ns = closes
        .map_or(Ok(0), |field| field.number(TIME))?
        .unsigned_abs();
    let Some(opens) = opens else {
        return Ok(Some((closes_ns, u64::MAX)));
    };
    let opens_ns = opens.number(TIME)?.unsigned_abs();
    if opens_ns <= closes_ns {
        return Err(opens.error("it must be after closes_s, which is 0 unless given"));
    }
    Ok(Some((closes_ns, opens_ns)))
}

/// Whether six times the greatest energy, at the greatest voltage that the part's inputs stand, is
/// within 127 bits.
pub(super) fn energy_fits(rail: &Switched, duration_ns: u64) -> bool {
    let bounds = rail.bounds();
    let greatest = bounds
        .least
        .unsigned_abs()
        .max(bounds.greatest.unsigned_abs());
    (6 * 72_000_000_000 * i128::from(greatest))
        .checked_mul(i128::from(duration_ns))
        .is_some()
}

const PARTS: &str = "parts are loads, such as [{ kind = \"constant\", current_a = 0.1 }]";

pub(super) const AMPS: Unit = Unit {
    suffix: "a",
    limits: Limits::new(
        9,
        -1_000_000_000_000,
        1_000_000_000_000,
        "a current must lie between -1000 and 1000 A",
    ),
};
pub(super) const CHARGE: Limits = Limits::new(
    9,
    0,
    1_000_000_000_000,
    "a charger's current must lie between 0 and 1000 A",
);
pub(super) const POWER: Limits = Limits::new(
    9,
    0,
    1_000_000_000_000,
    "a power must lie between 0 and 1000 W",
);
pub(super) const DOWN_TO: Limits = Limits::new(
    9,
    1_000,
    72_000_000_000,
    "the least voltage must lie between 0.000001 and 72 V",
);
pub(super) const CAPACITANCE: Limits = Limits::new(
    12,
    1,
    1_000_000_000_000_000,
    "a capacitance must lie between 0.000000000001 and 1000 F",
);
