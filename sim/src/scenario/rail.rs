use super::ScenarioError;
use super::alert::{self, AlertPlan};
use super::converter::{self, ConverterPlan, ENERGY};
use super::declared::{self, Declared};
use super::load::{self, Draws, LoadPlan, energy_fits};
use super::part::PartPlan;
use super::profile::{self, KINDS, Kind, ProfilePlan, Unit};
use super::table::{Field, Limits, Table, whole};
use crate::plant::{Cell, Constant, Load, PlantError, Source, Switched};

/// One rail of a scenario.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RailPlan {
    /// Line of the scenario file.
    pub line: u64,
    /// What it is called.
    pub name: String,
    /// The part that watches it, by its place among the scenario's.
    pub part: usize,
    /// The channel of that part.
    pub channel: u8,
    /// Its sense resistor, and what is to be measured; of a part that measures amperes itself, 1 Ω
    /// and the channel's own range.
    pub sense: Sense,
    /// What feeds it.
    pub source: SourcePlan,
    /// What it feeds, besides converters.
    pub load: Vec<LoadPlan>,
    /// Rails that converters feed from this one.
    pub outputs: Vec<RailPlan>,
    /// What the engineer tells the driver about the load.
    pub declared: Declared,
    /// Limits that are watched.
    pub alerts: Vec<AlertPlan>,
}

/// A sense resistor as its data sheet has it, and what its channel has to reach.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sense {
    /// Nominal resistance, in nanoohms.
    pub resistance_nohm: u64,
    /// Greatest departure from it, in parts per million.
    pub tolerance_ppm: u32,
    /// Greatest magnitude of its temperature coefficient, in parts per billion per kelvin.
    pub temperature_coefficient_ppb_per_k: u32,
    /// Its own heating, in thousandths of a kelvin per watt.
    pub thermal_resistance_mk_per_w: u32,
    /// Greatest sense voltage that is to be measured, in nanovolts.
    pub sense_full_scale_nv: i64,
    /// Greatest rail voltage that is to be measured, in nanovolts.
    pub rail_full_scale_nv: i64,
}

/// What feeds a rail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourcePlan {
    /// The ideal source inside.
    pub supply: Supply,
    /// Impedance of everything up to the load's side of the sense resistor, in microohms.
    pub impedance_uohm: u64,
}

/// An ideal source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Supply {
    /// A voltage over time, in nanovolts.
    Profile(ProfilePlan),
    /// A cell or pack.
    Cell(CellPlan),
    /// A converter from another rail.
    Converter(ConverterPlan),
}

/// A cell or several in series; see [`Cell`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellPlan {
    /// Capacity of one, in microampere-hours.
    pub capacity_uah: u64,
    /// State at the beginning, in parts per million of the capacity.
    pub initial_ppm: u32,
    /// How many in series.
    pub series: u32,
    /// State, in parts per million, and open-circuit voltage of one, in nanovolts.
    pub open_circuit: Vec<(u32, i64)>,
}

impl RailPlan {
    /// The rail itself.
    ///
    /// # Errors
    /// Whatever the constructors of its source and load refuse; none for a plan that was read from
    /// a file.
    pub fn rail(&self) -> Result<Switched, PlantError> {
        let source = match &self.source.supply {
            Supply::Profile(plan) => Source::of(plan.profile()?),
            Supply::Cell(plan) => Source::cell(plan.cell()?),
            Supply::Converter(plan) => Source::of(Constant::new(plan.voltage_nv)?),
        };
        let source = source.behind_microohms(self.source.impedance_uohm)?;
        let loads = self.load.iter().map(LoadPlan::load);
        let mut loads = loads.collect::<Result<Vec<_>, _>>()?;
        for output in &self.outputs {
            if let Supply::Converter(plan) = &output.source.supply {
                loads.push(Load::converter(plan.converter, output.rail()?)?);
            }
        }
        Switched::new(source, loads)
    }
}

impl CellPlan {
    fn cell(&self) -> Result<Cell, PlantError> {
        Cell::new(self.capacity_uah, self.initial_ppm, &self.open_circuit)?.in_series(self.series)
    }
}

/// Reads one `[[rail]]`, already named, and checks that it can be built; whether it declares its
/// load.
pub(super) fn read(
    mut table: Table<'_>,
    name: String,
    (part, channel): (usize, u8),
    by: &PartPlan,
    duration_ns: u64,
) -> Result<(RailPlan, bool), ScenarioError> {
    let sense = match by.kind.measures_amperes {
        true => amperes(&mut table, by, channel)?,
        false => sense(table.table("sense", "[rail.sense]")?, by, channel)?,
    };
    let source = source(table.table("source", "[rail.source]")?)?;
    let load = load::read(table.table("load", "[rail.load]")?)?;
    let declared = table.field("load_declared");
    let plan = RailPlan {
        line: table.line(),
        name,
        part,
        channel,
        source,
        load,
        outputs: Vec::new(),
        declared: match &declared {
            Some(field) => declared::read(field.table("[rail.load_declared]")?)?,
            None => Declared::nothing(table.line()),
        },
        alerts: alerts(&mut table, &sense, by, channel)?,
        sense,
    };
    let charged = |load: &LoadPlan| matches!(load.draws, Draws::Charger(_));
    if plan.load.iter().any(charged) && !matches!(plan.source.supply, Supply::Cell(_)) {
        return Err(table.error("a charger needs a source of kind \"cell\"".to_owned()));
    }
    match plan.rail() {
        Err(error) => return Err(table.error(error.to_string())),
        Ok(rail) if !energy_fits(&rail, duration_ns) => {
            return Err(table.error(ENERGY.to_owned()));
        }
        Ok(_) => {}
    }
    table.finish()?;
    Ok((plan, declared.is_some()))
}

/// Of a part that needs no resistor.
fn amperes(table: &mut Table<'_>, by: &PartPlan, channel: u8) -> Result<Sense, ScenarioError> {
    if let Some(field) = table.field("sense") {
        let name = by.kind.info.name;
        let said = format!("{name} measures amperes itself: leave [rail.sense] out");
        return Err(field.table("[rail.sense]")?.error(said));
    }
    let (sense_full_scale_nv, rail_full_scale_nv) = by.kind.greatest_nv(channel);
    Ok(Sense {
        resistance_nohm: 1_000_000_000,
        tolerance_ppm: 0,
        temperature_coefficient_ppb_per_k: 0,
        thermal_resistance_mk_per_w: 0,
        sense_full_scale_nv,
        rail_full_scale_nv,
    })
}

fn sense(mut table: Table<'_>, by: &PartPlan, channel: u8) -> Result<Sense, ScenarioError> {
    let (greatest_sense_nv, greatest_rail_nv) = by.kind.greatest_nv(channel);
    let full_scale = |table: &mut Table<'_>, key: &str, what: &str, greatest_nv: i64| {
        let Some(field) = table.field(key) else {
            return Ok(greatest_nv);
        };
        let nv = field.number(FULL_SCALE)?;
        match (0..=greatest_nv).contains(&nv) {
            true => Ok(nv),
            false => Err(field.error(&format!(
                "the {what} voltage to be measured must lie between 0 and {} V",
                greatest_nv as f64 / 1e9
            ))),
        }
    };
    let sense = Sense {
        resistance_nohm: table.count("resistance_ohm", RESISTANCE)?,
        tolerance_ppm: whole(table.count_or("tolerance_percent", TOLERANCE, 10_000)?),
        temperature_coefficient_ppb_per_k: whole(table.count_or(
            "temperature_coefficient_ppm_per_k",
            COEFFICIENT,
            50_000,
        )?),
        thermal_resistance_mk_per_w: whole(table.count_or(
            "thermal_resistance_k_per_w",
            THERMAL,
            20_000,
        )?),
        sense_full_scale_nv: full_scale(
            &mut table,
            "sense_full_scale_v",
            "sense",
            greatest_sense_nv,
        )?,
        rail_full_scale_nv: full_scale(&mut table, "rail_full_scale_v", "rail", greatest_rail_nv)?,
    };
    table.finish()?;
    Ok(sense)
}

/// Kinds of source, as a file names them.
#[derive(Clone, Copy)]
enum SourceKind {
    Profile(Kind),
    Cell,
    Converter,
}

/// What a source is that has a voltage and no kind.
const CONSTANT: SourceKind = SourceKind::Profile(Kind::Constant);

fn source(mut table: Table<'_>) -> Result<SourcePlan, ScenarioError> {
    let kinds: Vec<(&str, SourceKind)> = KINDS
        .iter()
        .map(|&(word, kind)| (word, SourceKind::Profile(kind)))
        .chain([
            ("cell", SourceKind::Cell),
            ("converter", SourceKind::Converter),
        ])
        .collect();
    let supply = match profile::kind(&mut table, VOLTS, &kinds, CONSTANT)? {
        SourceKind::Profile(kind) => Supply::Profile(profile::read(&mut table, kind, VOLTS)?),
        SourceKind::Cell => Supply::Cell(cell(&mut table)?),
        SourceKind::Converter => Supply::Converter(converter::read(&mut table)?),
    };
    let plan = SourcePlan {
        supply,
        impedance_uohm: table.count_or("impedance_ohm", IMPEDANCE, 0)?,
    };
    table.finish()?;
    Ok(plan)
}

fn cell(table: &mut Table<'_>) -> Result<CellPlan, ScenarioError> {
    let point = |field: &Field<'_>| {
        let (state, nv) = field.pair(STATE, VOLTS.limits, OPEN_CIRCUIT)?;
        Ok((whole(state.unsigned_abs()), nv))
    };
    let open_circuit = table.needed("open_circuit", OPEN_CIRCUIT)?;
    let plan = CellPlan {
        capacity_uah: table.count("capacity_ah", CAPACITY)?,
        initial_ppm: whole(table.count("initial_state", STATE)?),
        series: whole(table.count_or("series", SERIES, 1)?),
        open_circuit: open_circuit
            .elements(OPEN_CIRCUIT)?
            .iter()
            .map(point)
            .collect::<Result<_, _>>()?,
    };
    if let Err(error) = plan.cell() {
        return Err(open_circuit.error(&error.to_string()));
    }
    Ok(plan)
}

fn alerts(
    table: &mut Table<'_>,
    sense: &Sense,
    by: &PartPlan,
    channel: u8,
) -> Result<Vec<AlertPlan>, ScenarioError> {
    let Some(field) = table.field("alert") else {
        return Ok(Vec::new());
    };
    let mut plans = Vec::new();
    for element in field.elements("[[rail.alert]] tables")? {
        plans.push(alert::read(
            element.table("[[rail.alert]]")?,
            (by.kind, channel, sense),
            &plans,
        )?);
    }
    Ok(plans)
}

const OPEN_CIRCUIT: &str =
    "pairs of state and volts of one cell, such as [[0, 3.0], [1, 4.2]], states from 0 to 1 rising";

/// The part's inputs stand 72 V (datasheet, 9).
pub(super) const VOLTS: Unit = Unit {
    suffix: "v",
    limits: Limits::new(
        9,
        0,
        72_000_000_000,
        "a voltage must lie between 0 and 72 V, which is what the part's inputs stand",
    ),
};

pub(super) const RESISTANCE: Limits = Limits::new(
    9,
    100_000,
    10_000_000_000,
    "a sense resistor must lie between 0.0001 and 10 ohm",
);
/// Of loads.
pub(super) const RESISTANCE_ANY: Limits = Limits::new(
    6,
    1_000,
    1_000_000_000_000_000,
    "a resistance must lie between 0.001 and 1000000000 ohm",
);
pub(super) const TOLERANCE: Limits =
    Limits::new(4, 0, 100_000, "a tolerance must lie between 0 and 10 %");
pub(super) const COEFFICIENT: Limits = Limits::new(
    3,
    0,
    1_000_000,
    "a temperature coefficient must lie between 0 and 1000 ppm/K; its sign comes from the seed",
);
pub(super) const THERMAL: Limits = Limits::new(
    3,
    0,
    1_000_000,
    "a thermal resistance must lie between 0 and 1000 K/W",
);
pub(super) const IMPEDANCE: Limits = Limits::new(
    6,
    0,
    1_000_000_000,
    "an impedance must lie between 0 and 1000 ohm",
);
pub(super) const CAPACITY: Limits = Limits::new(
    6,
    1,
    10_000_000_000,
    "a capacity must lie between 0.000001 and 10000 Ah",
);
pub(super) const STATE: Limits = Limits::new(6, 0, 1_000_000, "a state must lie between 0 and 1");
pub(super) const SERIES: Limits = Limits::new(0, 1, 1000, "1 to 1000 cells may be in series");
pub(super) const FULL_SCALE: Limits = Limits::new(
    9,
    0,
    i64::MAX,
    "a full scale is 0 V or more, up to that of the part's widest range",
);
