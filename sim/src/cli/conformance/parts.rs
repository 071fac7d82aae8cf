//! Every part's checks, and the wrong maps that the kit has to find.

use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::json;

use super::Conformance;
use super::table::table;
use super::wrong::{FIGURES, MISTAKES, WrongCorncrake};
use crate::cli::{is_quiet, show};
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
        true => show(&format!("{:#}\n", json!(object(&reports, &found))))?,
        false => show(&table(&reports, &found, args.verbose))?,
    }
    let caught = found.iter().all(|found| found.by == Some(found.about));
    Ok(reports.iter().all(Report::passed) && caught)
}

fn bar() -> ProgressBar {
    let target = match std::io::stderr().is_terminal() && !is_quiet() {
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

/// What the kit found.
#[derive(JsonSchema, Serialize)]
pub(crate) struct Object<'r> {
    /// Every part with its checks.
    parts: Vec<Part<'r>>,
    /// Wrong maps, and what found them.
    mutants: Vec<Mutant<'r>>,
}

#[derive(JsonSchema, Serialize)]
struct Part<'r> {
    /// Its name.
    name: &'static str,
    /// How many checks there are.
    checks: usize,
    /// How many of them failed.
    failed: usize,
    /// How many of them do not apply.
    not_applicable: usize,
    /// Each check.
    results: Vec<Checked<'r>>,
}

#[derive(JsonSchema, Serialize)]
struct Checked<'r> {
    /// Its name.
    name: &'static str,
    /// What it is about.
    about: &'static str,
    /// "passed", "failed" or "not_applicable".
    result: &'static str,
    /// How many things were tried.
    tried: u32,
    /// Why it does not apply.
    reason: Option<&'r str>,
    /// What of it was left out, and why.
    left_out: Option<&'r str>,
    /// What was done, what came, what was expected.
    findings: &'r [String],
}

#[derive(JsonSchema, Serialize)]
struct Mutant<'r> {
    /// What is wrong with it.
    name: &'static str,
    /// Whose map it is.
    part: &'static str,
    /// The first check that failed.
    caught_by: Option<&'static str>,
    /// The check that is about it.
    expected: &'static str,
    /// What that check found first.
    finding: Option<&'r str>,
}

fn object<'r>(reports: &'r [Report], found: &'r [Found]) -> Object<'r> {
    let result = |result: &'r CheckResult| {
        let (outcome, reason) = match &result.outcome {
            Outcome::Passed => ("passed", None),
            Outcome::Failed(_) => ("failed", None),
            Outcome::NotApplicable(reason) => ("not_applicable", Some(reason.as_str())),
        };
        Checked {
            name: result.name,
            about: result.about,
            result: outcome,
            tried: result.tried,
            reason,
            left_out: result.left_out.as_deref(),
            findings: result.findings(),
        }
    };
    let part = |report: &'r Report| Part {
        name: report.part,
        checks: report.results.len(),
        failed: report.failed(),
        not_applicable: report.not_applicable().count(),
        results: report.results.iter().map(result).collect(),
    };
    let mutant = |found: &'r Found| Mutant {
        name: found.mistake,
        part: found.part,
        caught_by: found.by,
        expected: found.about,
        finding: found.by.map(|_| found.finding.as_str()),
    };
    Object {
        parts: reports.iter().map(part).collect(),
        mutants: found.iter().map(mutant).collect(),
    }
}
