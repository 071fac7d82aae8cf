//! `crake-sim shunt`: a sense resistor for a rail, before the board exists.

mod arguments;
mod chart;
mod files;
mod page;
mod table;

use crake::units::Current;

use super::{show, text};
use crate::scenario::Scenario;
use crate::shunt::{Choices, Demands, RailChoice, between};
pub(super) use arguments::Shunt;

/// A rail by name, and what is asked of it.
type Asked = (String, Demands);

/// Prints the choice for each rail, or says which demand is in the way.
pub(super) fn perform(args: &Shunt) -> Result<(), String> {
    let asked = asked(args)?;
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
        files::write(directory, args, (&asked, &choices), (&tables, &object))?;
    }
    show(if args.json { &object } else { &tables })
}

/// Of the flags alone, or of each rail of a scenario that is asked for.
fn asked(args: &Shunt) -> Result<Vec<Asked>, String> {
    let Some(path) = &args.scenario else {
        return Ok(vec![("RAIL".to_owned(), args.demands(None)?)]);
    };
    let scenario = Scenario::load(path).map_err(text)?;
    let named = |name: &str| args.rail.as_ref().is_none_or(|rail| rail == name);
    let plans = scenario.rails.iter().filter(|plan| named(&plan.name));
    let mut plans: Vec<_> = plans.collect();
    plans.sort_by_key(|plan| plan.channel);
    let asked = plans.into_iter();
    let asked = asked.map(|plan| Ok((plan.name.clone(), args.demands(Some((&scenario, plan)))?)));
    let asked: Vec<Asked> = asked.collect::<Result<_, String>>()?;
    match (asked.is_empty(), &args.rail) {
        (true, Some(rail)) => {
            let names: Vec<_> = scenario
                .rails
                .iter()
                .map(|plan| plan.name.as_str())
                .collect();
            let (path, names) = (path.display(), names.join(", "));
            Err(format!(
                "--rail {rail}: {path} has none of that name, but {names}"
            ))
        }
        _ => Ok(asked),
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
