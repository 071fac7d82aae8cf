//! What the kit found, as tables.

use super::parts::Found;
use crate::conformance::{Outcome, Report};

/// Both tables.
pub(super) fn table(reports: &[Report], found: &[Found], verbose: bool) -> String {
    let mut lines = Vec::new();
    for report in reports {
        part(&mut lines, report, verbose);
    }
    let missed = found
        .iter()
        .filter(|found| found.by != Some(found.about))
        .count();
    let count = found.len();
    lines.push(format!(
        "wrong maps: {count}, {missed} not found by the check about them"
    ));
    let width =
        |of: fn(&Found) -> &str| found.iter().map(|found| of(found).len()).max().unwrap_or(0);
    let (parts, mistakes, checks) = (
        width(|found| found.part),
        width(|found| found.mistake),
        width(|found| found.about),
    );
    let row = |part: &str, mistake: &str, by: &str, finding: &str| {
        format!("  {part:parts$}  {mistake:mistakes$}  {by:checks$}  {finding}")
    };
    lines.push(row("part", "mistake", "found by", "first finding"));
    for found in found {
        let finding = shown(&found.finding, verbose);
        lines.push(row(
            found.part,
            found.mistake,
            found.by.unwrap_or("NOT FOUND"),
            &finding,
        ));
        if found.by != Some(found.about) {
            lines.push(row("", "", &format!("(about it is {})", found.about), ""));
        }
    }
    lines
        .iter()
        .map(|line| format!("{}\n", line.trim_end()))
        .collect()
}

fn part(lines: &mut Vec<String>, report: &Report, verbose: bool) {
    let (checks, failed) = (report.results.len(), report.failed());
    let idle = report.not_applicable().count();
    lines.push(format!(
        "{}: {checks} checks, {failed} failed, {idle} do not apply",
        report.part
    ));
    let width = report
        .results
        .iter()
        .map(|result| result.name.len())
        .max()
        .unwrap_or(0);
    lines.push(format!(
        "  {:width$}  {:8}  {:>6}  about",
        "check", "result", "tried"
    ));
    for result in &report.results {
        let (verdict, about) = match &result.outcome {
            Outcome::Passed => ("passed", result.about.to_owned()),
            Outcome::Failed(_) => ("FAILED", result.about.to_owned()),
            Outcome::NotApplicable(reason) => ("-", format!("does not apply: {reason}")),
        };
        let tried = if result.tried > 0 {
            result.tried.to_string()
        } else {
            String::new()
        };
        lines.push(format!(
            "  {:width$}  {verdict:8}  {tried:>6}  {about}",
            result.name
        ));
        if let Some(what) = &result.left_out {
            lines.push(format!(
                "  {:width$}  {:8}  {:6}  left out: {what}",
                "", "", ""
            ));
        }
        let findings = result.findings().iter();
        lines.extend(findings.map(|finding| format!("    {}", shown(finding, verbose))));
    }
    lines.push(String::new());
}

/// A finding whole, or as long as a table has room: its beginning, and the hint at its end, which
/// says the most.
fn shown(finding: &str, whole: bool) -> String {
    const SHORT: usize = 110;
    if whole || finding.chars().count() <= SHORT {
        return finding.to_owned();
    }
    let hint = finding.rsplit_once(": ").map_or("", |(_, hint)| hint);
    let end: String = hint.chars().take(SHORT / 2).collect();
    let beginning: String = finding
        .chars()
        .take(SHORT - 2 - end.chars().count())
        .collect();
    format!("{}… {end}", beginning.trim_end())
}
