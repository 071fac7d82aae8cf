//! Every part's checks, and the wrong maps that the kit has to find.

use std::fmt::{self, Write};
use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;

use super::Conformance;
use crate::cli::{show, text};
use crate::old::conformance::mutant::{self, Tamper};
use crate::old::conformance::{
    COUNT, CheckResult, Corncrake, Gallinule, Moorhen, Outcome, Report, check_with,
};

/// A part of this project, and what is to be done with it.
struct Part {
    check: fn(&mut dyn FnMut(&'static str)) -> Report,
    mutants: &'static [&'static dyn Tamper],
    caught: fn(&'static dyn Tamper) -> Option<CheckResult>,
}

const PARTS: &[Part] = &[
    Part {
        check: |progress| check_with(&Corncrake, |_, name| progress(name)),
        mutants: mutant::CORNCRAKE,
        caught: |tamper| mutant::caught(&Corncrake, tamper),
    },
    Part {
        check: |progress| check_with(&Moorhen, |_, name| progress(name)),
        mutants: mutant::MOORHEN,
        caught: |tamper| mutant::caught(&Moorhen, tamper),
    },
    Part {
        check: |progress| check_with(&Gallinule, |_, name| progress(name)),
        mutants: mutant::GALLINULE,
        caught: |tamper| mutant::caught(&Gallinule, tamper),
    },
];

/// A mutant and the check that found it.
struct Found {
    part: &'static str,
    name: &'static str,
    wanted: &'static str,
    by: Option<CheckResult>,
}

/// Whether every part passed and every mutant was found.
pub(super) fn perform(args: &Conformance) -> Result<bool, String> {
    let bar = bar();
    let mut reports = Vec::new();
    let mut mutants = Vec::new();
    for part in PARTS {
        let report = (part.check)(&mut |name| {
            bar.set_message(name);
            bar.inc(1);
        });
        for tamper in part.mutants {
            let (name, wanted) = tamper.name();
            bar.set_message(name);
            mutants.push(Found {
                part: report.part,
                name,
                wanted,
                by: (part.caught)(*tamper),
            });
            bar.inc(1);
        }
        reports.push(report);
    }
    bar.finish_and_clear();
    if args.json {
        let object = Object::new(&reports, &mutants);
        show(&format!(
            "{:#}\n",
            serde_json::to_value(object).map_err(text)?
        ))?;
    } else {
        let mut out = String::new();
        // Writing to a string cannot fail.
        let _ = write(&mut out, &reports, &mutants, args.verbose);
        show(&out)?;
    }
    Ok(reports.iter().all(Report::passed) && mutants.iter().all(|mutant| mutant.by.is_some()))
}

fn bar() -> ProgressBar {
    let target = if std::io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let mutants: usize = PARTS.iter().map(|part| part.mutants.len()).sum();
    let len = PARTS.len() * COUNT + mutants;
    let bar = ProgressBar::with_draw_target(Some(len as u64), target);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos} of {len}: {msg}") {
        bar.set_style(style);
    }
    bar
}

fn write(out: &mut String, reports: &[Report], mutants: &[Found], verbose: bool) -> fmt::Result {
    for report in reports {
        part(out, report, verbose)?;
        writeln!(out)?;
    }
    let missed = mutants.iter().filter(|mutant| mutant.by.is_none()).count();
    writeln!(out, "wrong maps: {}, {missed} not found", mutants.len())?;
    let width = mutants
        .iter()
        .map(|mutant| mutant.name.len())
        .max()
        .unwrap_or(0);
    let part_width = mutants
        .iter()
        .map(|mutant| mutant.part.len())
        .max()
        .unwrap_or(0);
    let check_width = mutants
        .iter()
        .map(|mutant| mutant.wanted.len())
        .max()
        .unwrap_or(0);
    writeln!(
        out,
        "  {:part_width$}  {:width$}  {:check_width$}  first finding",
        "part", "mistake", "found by"
    )?;
    for mutant in mutants {
        let by = mutant.by.as_ref().map_or("NOT FOUND", |found| found.name);
        let finding = match mutant.by.as_ref().map(|found| &found.outcome) {
            Some(Outcome::Failed(findings)) => findings.first().map_or("", String::as_str),
            _ => "",
        };
        writeln!(
            out,
            "  {:part_width$}  {:width$}  {by:check_width$}  {}",
            mutant.part,
            mutant.name,
            shown(finding, verbose)
        )?;
        if mutant
            .by
            .as_ref()
            .is_some_and(|found| found.name != mutant.wanted)
        {
            writeln!(
                out,
                "  {:part_width$}  {:width$}  (about it is {})",
                "", "", mutant.wanted
            )?;
        }
    }
    Ok(())
}

fn part(out: &mut String, report: &Report, verbose: bool) -> fmt::Result {
    let failed = report.failed().count();
    let left_out = report.results.len() - report.applied();
    writeln!(
        out,
        "{}: {} checks, {failed} failed, {left_out} not applicable",
        report.part,
        report.results.len()
    )?;
    let width = report
        .results
        .iter()
        .map(|result| result.name.len())
        .max()
        .unwrap_or(0);
    writeln!(
        out,
        "  {:width$}  {:8}  {:>20}  about",
        "check", "result", "tried"
    )?;
    for result in &report.results {
        let verdict = match &result.outcome {
            Outcome::Passed => "passed",
            Outcome::Failed(_) => "FAILED",
            Outcome::NotApplicable(_) => "-",
        };
        let (count, unit) = result.tried;
        let about = match &result.outcome {
            Outcome::NotApplicable(reason) => format!("not applicable: {reason}"),
            Outcome::Passed | Outcome::Failed(_) => result.what.to_owned(),
        };
        let tried = match count {
            0 => String::new(),
            _ => format!("{count} {unit}"),
        };
        writeln!(
            out,
            "  {:width$}  {verdict:8}  {tried:>20}  {about}",
            result.name
        )?;
        if let Some(remark) = &result.remark {
            writeln!(
                out,
                "  {:width$}  {:8}  {:>20}  left out: {remark}",
                "", "", ""
            )?;
        }
        if let Outcome::Failed(findings) = &result.outcome {
            for finding in findings {
                writeln!(
                    out,
                    "    {}",
                    if verbose {
                        finding.clone()
                    } else {
                        shown(finding, false)
                    }
                )?;
            }
        }
    }
    Ok(())
}

/// Columns of a finding in a table.
const SHORT: usize = 110;

/// A finding whole, or as long as a table has room: its beginning, and the guess at its end, which
/// says the most.
fn shown(finding: &str, whole: bool) -> String {
    if whole || finding.chars().count() <= SHORT {
        return finding.to_owned();
    }
    let guess = finding.rsplit_once(": ").map_or("", |(_, guess)| guess);
    let room = SHORT - guess.chars().count().min(SHORT / 2) - 2;
    let beginning: String = finding.chars().take(room).collect();
    let end: String = guess.chars().take(SHORT / 2).collect();
    format!("{}… {end}", beginning.trim_end())
}

#[derive(Serialize)]
struct Object<'r> {
    parts: Vec<PartObject<'r>>,
    mutants: Vec<MutantObject<'r>>,
}

#[derive(Serialize)]
struct PartObject<'r> {
    name: &'static str,
    checks: usize,
    failed: usize,
    not_applicable: usize,
    results: Vec<ResultObject<'r>>,
}

#[derive(Serialize)]
struct ResultObject<'r> {
    name: &'static str,
    about: &'static str,
    result: &'static str,
    tried: u32,
    unit: &'static str,
    reason: Option<&'r str>,
    left_out: Option<&'r str>,
    findings: &'r [String],
}

#[derive(Serialize)]
struct MutantObject<'r> {
    name: &'static str,
    part: &'static str,
    caught_by: Option<&'static str>,
    expected: &'static str,
    finding: Option<&'r str>,
}

impl<'r> Object<'r> {
    fn new(reports: &'r [Report], mutants: &'r [Found]) -> Self {
        Self {
            parts: reports.iter().map(PartObject::new).collect(),
            mutants: mutants.iter().map(MutantObject::new).collect(),
        }
    }
}

impl<'r> PartObject<'r> {
    fn new(report: &'r Report) -> Self {
        Self {
            name: report.part,
            checks: report.results.len(),
            failed: report.failed().count(),
            not_applicable: report.results.len() - report.applied(),
            results: report.results.iter().map(ResultObject::new).collect(),
        }
    }
}

impl<'r> ResultObject<'r> {
    fn new(result: &'r CheckResult) -> Self {
        let (verdict, reason, findings): (_, _, &[String]) = match &result.outcome {
            Outcome::Passed => ("passed", None, &[]),
            Outcome::Failed(findings) => ("failed", None, findings),
            Outcome::NotApplicable(reason) => ("not_applicable", Some(reason.as_str()), &[]),
        };
        Self {
            name: result.name,
            about: result.what,
            result: verdict,
            tried: result.tried.0,
            unit: result.tried.1,
            reason,
            left_out: result.remark.as_deref(),
            findings,
        }
    }
}

impl<'r> MutantObject<'r> {
    fn new(mutant: &'r Found) -> Self {
        let finding = match mutant.by.as_ref().map(|found| &found.outcome) {
            Some(Outcome::Failed(findings)) => findings.first().map(String::as_str),
            _ => None,
        };
        Self {
            name: mutant.name,
            part: mutant.part,
            caught_by: mutant.by.as_ref().map(|found| found.name),
            expected: mutant.wanted,
            finding,
        }
    }
}
