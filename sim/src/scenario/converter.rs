use super::error::Text;
use super::load::{DOWN_TO, POWER, energy_fits};
use super::rail::VOLTS;
use super::table::{Limits, Table, whole};
use super::{RailPlan, ScenarioError, Supply};
use crate::plant::Converter;

/// A converter that feeds a rail from another one of the scenario.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConverterPlan {
    /// Line of the scenario file that names the input.
    pub line: u64,
    /// Where it does, in bytes.
    pub(super) start: usize,
    /// Name of the rail that it takes its power from.
    pub input: String,
    /// What it puts out before the rail's impedance, in nanovolts.
    pub voltage_nv: i64,
    /// What it takes in for that.
    pub converter: Converter,
}

/// Reads the keys of a `[rail.source]` of this kind.
pub(super) fn read(table: &mut Table<'_>) -> Result<ConverterPlan, ScenarioError> {
    let input = table.needed("input", "the name of the rail that feeds the converter")?;
    Ok(ConverterPlan {
        line: input.line(),
        start: input.start(),
        input: input.string()?.to_owned(),
        voltage_nv: table.number("voltage_v", VOLTS.limits)?,
        converter: Converter {
            efficiency_ppm: whole(table.count("efficiency", EFFICIENCY)?),
            idle_nw: table.count_or("idle_w", POWER, 0)?,
            least_input_nv: table.count("input_down_to_v", DOWN_TO)?,
        },
    })
}

/// Gives every rail those that converters feed from it.
pub(super) fn connect(
    text: Text<'_>,
    plans: &mut [RailPlan],
    duration_ns: u64,
) -> Result<(), ScenarioError> {
    for plan in plans.iter() {
        let Some(converter) = converter(plan) else {
            continue;
        };
        let wrong = |message: &str| {
            let (name, input) = (&plan.name, &converter.input);
            let message = format!("rail \"{name}\": input = \"{input}\": {message}");
            text.point(&(converter.start..converter.start));
            Err(ScenarioError::at_line(text.path, converter.line, message))
        };
        let mut at = converter;
        for _ in 0..plans.len() {
            let Some(input) = plans.iter().find(|other| other.name == at.input) else {
                // Of another converter, whose own turn it is.
                if at == converter {
                    return wrong("there is no rail of that name");
                }
                break;
            };
            if input.name == plan.name {
                return wrong("the converter would feed itself");
            }
            match self::converter(input) {
                Some(next) => at = next,
                None => break,
            }
        }
    }
    let all = plans.to_vec();
    for plan in plans {
        plan.outputs = outputs(&all, &plan.name);
        if plan.outputs.is_empty() {
            continue;
        }
        let wrong = |message: String| {
            let message = format!("rail \"{}\", with its converters: {message}", plan.name);
            Err(ScenarioError::at_line(text.path, plan.line, message))
        };
        match plan.rail() {
            Err(error) => return wrong(error.to_string()),
            Ok(rail) if !energy_fits(&rail, duration_ns) => return wrong(ENERGY.to_owned()),
            Ok(_) => {}
        }
    }
    Ok(())
}

fn converter(plan: &RailPlan) -> Option<&ConverterPlan> {
    match &plan.source.supply {
        Supply::Converter(converter) => Some(converter),
        _ => None,
    }
}

/// Rails that `name` feeds, with those that they feed. No rail feeds itself.
fn outputs(all: &[RailPlan], name: &str) -> Vec<RailPlan> {
    let fed = |plan: &&RailPlan| converter(plan).is_some_and(|it| it.input == name);
    let with_its_own = |plan: &RailPlan| RailPlan {
        outputs: outputs(all, &plan.name),
        ..plan.clone()
    };
    all.iter().filter(fed).map(with_its_own).collect()
}

pub(super) const ENERGY: &str = "its energy over duration_s might exceed 28 GJ, as far as the \
    truth counts: shorten duration_s";
pub(super) const EFFICIENCY: Limits = Limits::new(
    6,
    10_000,
    1_000_000,
    "an efficiency must lie between 0.01 and 1",
);
