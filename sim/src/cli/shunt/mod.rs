//! `crake-sim shunt`: a sense resistor for a rail, before the board exists.

mod arguments;
mod chart;
mod files;
mod page;
mod table;

use std::path::Path;

use crake::units::Current;

use super::part::PartName;
use super::{show, text};
use crate::scenario::{RailPlan, Scenario};
use crate::shunt::{Choices, Demands, RailChoice, between};
pub(super) use arguments::Shunt;

/// A rail by name, and what is asked of it.
type Asked = (String, Demands);

/// Prints the choice for each rail, or says which demand is in the way.
pub(super) fn perform(args: &Shunt) -> Result<(), String> {
    let (part, asked) = asked(args)?;
    let mut choices = Vec::new();
    for (rail, demands) in &asked {
        let at = match args.at.is_empty() {
            true => between(demands.least, demands.greatest, 3),
            false => points(args, demands)?,
        };
        let choice = RailChoice::new(rail.clone(), demands, &at);
        let choice = choice.map_err(|impossible| match args.scenario.is_some() {
            true => format!("rail \"{rail}\": {impossible}"),
            false => impossible.to_string(),
        })?;
        choices.push(choice);
    }
    let tables: Vec<_> = choices.iter().map(table::choice).collect();
    let tables = tables.join("\n") + table::CAUTIONS;
    let object = serde_json::to_string_pretty(&Choices { rails: &choices }).map_err(text)? + "\n";
    if let Some(directory) = &args.out {
        let overwrite = args.overwrite;
        files::write(
            directory,
            overwrite,
            part,
            (&asked, &choices),
            (&tables, &object),
        )?;
    }
    show(if args.json { &object } else { &tables })
}

/// Of the flags alone, or of each rail of a scenario that is asked for, and what measures them.
fn asked(args: &Shunt) -> Result<(PartName, Vec<Asked>), String> {
    let Some(path) = &args.scenario else {
        let part = with_resistors(args.part, "--part")?;
        return Ok((part, vec![("RAIL".to_owned(), args.demands(part, None)?)]));
    };
    let scenario = Scenario::load(path).map_err(text)?;
    let plans = plans(args, path, &scenario)?;
    let parts = &scenario.parts;
    let place = plans.first().map_or(0, |plan| plan.part);
    if plans.iter().any(|plan| plan.part != place) {
        return Err("--scenario: its rails are those of several parts; name one by --rail".into());
    }
    let part = with_resistors(PartName::of(parts[place].kind.info)?, "--scenario")?;
    let asked = plans.into_iter().map(|plan| {
        let demands = args.demands(part, Some((&scenario, plan)))?;
        Ok((plan.name.clone(), demands))
    });
    Ok((part, asked.collect::<Result<_, String>>()?))
}

/// The rails that are asked for, in the order of their channels.
fn plans<'s>(
    args: &Shunt,
    path: &Path,
    scenario: &'s Scenario,
) -> Result<Vec<&'s RailPlan>, String> {
    let rails = scenario.rails.iter();
    let mut plans: Vec<_> = match &args.rail {
        None => rails.collect(),
        Some(named) => rails.filter(|plan| plan.name == *named).collect(),
    };
    if let (true, Some(named)) = (plans.is_empty(), &args.rail) {
        let names: Vec<_> = scenario.rails.iter().map(|plan| &*plan.name).collect();
        return Err(format!(
            "--rail {named}: {} has none of that name, but {}",
            path.display(),
            names.join(", ")
        ));
    }
    plans.sort_by_key(|plan| (plan.part, plan.channel));
    Ok(plans)
}

fn with_resistors(part: PartName, flag: &str) -> Result<PartName, String> {
    match part {
        PartName::Gallinule => Err(format!(
            "{flag}: a Gallinule measures amperes by itself: there is no sense resistor to choose"
        )),
        PartName::Corncrake | PartName::Moorhen => Ok(part),
    }
}

/// Currents at which budgets are asked for.
fn points(args: &Shunt, demands: &Demands) -> Result<Vec<Current>, String> {
    let beyond = args.at.iter().find(|current| **current > demands.greatest);
    match beyond {
        Some(current) => {
            let greatest = demands.greatest;
            Err(format!(
                "--at: {current} lies above the greatest current, {greatest}"
            ))
        }
        None => Ok(args.at.clone()),
    }
}
