//! Every part's checks, and the wrong maps that the kit has to find.

use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::{Value, json};

use super::Conformance;
use super::table::table;
use super::wrong::{FIGURES, MISTAKES, WrongCorncrake};
use crate::cli::show;
use crate::conformance::{COUNT, CheckResult, Corncrake, Gallinule, Moorhen, Outcome, Report};
use crate::conformance::{check_with, compare, first_failure};

/// A wrong map, and what found it.
pub(super) struct Found {
    pub(super) part: &'static str,
    pub(super) mistake: &'static str,
    /// The check that is about it.
    pub(super) about: &'static str,
    /// The first check that failed.
    pub(super) by: Option<&'static str>,
    pub(super) finding: String,
}

/// Whether every part passed and every wrong map was found by the check that is about it.
pub(super) fn perform(args: &Conformance) -> Result<bool, String> {
    let bar = bar();
    let tell = |_, name| {
        bar.set_message(name);
        bar.inc(1);
    };
    let reports = [
        check_with(&Corncrake, tell),
        check_with(&Moorhen, tell),
        check_with(&Gallinule, tell),
    ];
    let mut found = Vec::new();
    let part = reports[0].part;
    for (mistake, wrong) in FIGURES {
        let mut info = crake::part::corncrake::INFO;
        wrong(&mut info);
        let finding = compare(&info, &Corncrake::STATED).into_iter().next();
        let by = finding.as_ref().map(|_| "info");
        let finding = finding.unwrap_or_default();
        found.push(Found {
            part,
            mistake,
            about: "info",
            by,
            finding,
        });
    }
    for (mistake, about) in MISTAKES {
        bar.set_message(*mistake);
        let failed = first_failure(&WrongCorncrake(mistake));
        let finding = failed
            .as_ref()
            .and_then(|failed| failed.findings().first().cloned());
        let by = failed.as_ref().map(|failed| failed.name);
        let finding = finding.unwrap_or_default();
        found.push(Found {
            part,
            mistake,
            about,
            by,
            finding,
        });
        bar.inc(1);
    }
    bar.finish_and_clear();
    match args.json {
        true => show(&format!("{:#}\n", object(&reports, &found)))?,
        false => show(&table(&reports, &found, args.verbose))?,
    }
    let caught = found.iter().all(|found| found.by == Some(found.about));
    Ok(reports.iter().all(Report::passed) && caught)
}

fn bar() -> ProgressBar {
    let target = match std::io::stderr().is_terminal() {
        true => ProgressDrawTarget::stderr(),
        false => ProgressDrawTarget::hidden(),
    };
    let len = 3 * (COUNT + 1) + MISTAKES.len();
    let bar = ProgressBar::with_draw_target(Some(len as u64), target);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos} of {len}: {msg}") {
        bar.set_style(style);
    }
    bar
}

fn object(reports: &[Report], found: &[Found]) -> Value {
    let result = |result: &CheckResult| {
        let (outcome, reason) = match &result.outcome {
            Outcome::Passed => ("passed", None),
            Outcome::Failed(_) => ("failed", None),
            Outcome::NotApplicable(reason) => ("not_applicable", Some(reason)),
        };
        json!({
            "name": result.name,
            "about": result.about,
            "result": outcome,
            "tried": result.tried,
            "reason": reason,
            "left_out": result.left_out,
            "findings": result.findings(),
        })
    };
    let part = |report: &Report| {
        json!({
            "name": report.part,
            "checks": report.results.len(),
            "failed": report.failed(),
            "not_applicable": report.not_applicable().count(),
            "results": report.results.iter().map(result).collect::<Vec<_>>(),
        })
    };
    let mutant = |found: &Found| {
        json!({
            "name": found.mistake,
            "part": found.part,
            "caught_by": found.by,
            "expected": found.about,
            "finding": found.by.map(|_| &found.finding),
        })
    };
    json!({
        "parts": reports.iter().map(part).collect::<Vec<_>>(),
        "mutants": found.iter().map(mutant).collect::<Vec<_>>(),
    })
}
