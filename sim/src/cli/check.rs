use std::path::PathBuf;

use super::{show, text};
use crate::scenario::{Scenario, mistakes};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example: crake-sim check my.toml")]
pub(super) struct Check {
    /// The scenario file (docs/scenario.md describes it).
    scenario: PathBuf,
}

/// Prints every mistake, or what the scenario is.
pub(super) fn perform(args: &Check) -> Result<(), String> {
    let path = args.scenario.display();
    let read = Scenario::load(&args.scenario);
    let found = match &read {
        Ok(_) => Vec::new(),
        // What is no file cannot be read again.
        Err(first) if !args.scenario.is_file() => return Err(first.to_string()),
        Err(_) => mistakes(&args.scenario).map_err(text)?,
    };
    if !found.is_empty() {
        let lines: String = found.iter().map(|mistake| format!("{mistake}\n")).collect();
        show(&lines)?;
        let times = if found.len() == 1 {
            "mistake"
        } else {
            "mistakes"
        };
        return Err(format!("{path}: {} {times}: see above", found.len()));
    }
    let scenario = read.map_err(text)?;
    let contradictions = scenario.contradictions().map_err(text)?;
    let mut lines: String = contradictions
        .iter()
        .map(|told| format!("{path}:{}: {told}\n", told.line))
        .collect();
    let (rails, seconds) = (scenario.rails.len(), scenario.duration_ns as f64 / 1e9);
    let rails = if rails == 1 {
        "1 rail".to_owned()
    } else {
        format!("{rails} rails")
    };
    lines += &format!("{path}: no mistake; {rails} over {seconds} s\n");
    show(&lines)
}
