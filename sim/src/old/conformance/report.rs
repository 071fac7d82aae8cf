use alloc::{string::String, vec::Vec};
use core::fmt;

/// What the kit found out about one subject, check by check.
#[derive(Clone, Debug)]
pub struct Report {
    /// Name of the part, from its `Spec`.
    pub part: &'static str,
    /// Every check that was made, in order.
    pub results: Vec<CheckResult>,
}

/// One check and what came of it.
#[derive(Clone, Debug)]
pub struct CheckResult {
    /// Its name.
    pub name: &'static str,
    /// What it is about, in one line.
    pub what: &'static str,
    /// How many things were tried, and what they are.
    pub tried: (u32, &'static str),
    /// What came of it.
    pub outcome: Outcome,
    /// What of it was left out, and why.
    pub remark: Option<String>,
}

/// What came of a check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// All as it has to be.
    Passed,
    /// Not as it has to be: what was done, what came, what was expected. At most a handful; the first is the plainest.
    Failed(Vec<String>),
    /// There is nothing to check on this part or this fixture, and why.
    NotApplicable(String),
}

impl Report {
    /// Whether no check failed.
    #[must_use]
    pub fn passed(&self) -> bool {
        self.failed().next().is_none()
    }

    /// The checks that failed, each with its findings, in order.
    pub fn failed(&self) -> impl Iterator<Item = (&'static str, &[String])> {
        self.results
            .iter()
            .filter_map(|result| match &result.outcome {
                Outcome::Failed(findings) => Some((result.name, findings.as_slice())),
                Outcome::Passed | Outcome::NotApplicable(_) => None,
            })
    }

    /// How many checks applied.
    #[must_use]
    pub fn applied(&self) -> usize {
        let applies = |result: &&CheckResult| !matches!(result.outcome, Outcome::NotApplicable(_));
        self.results.iter().filter(applies).count()
    }

    /// For a test: returns if all passed.
    ///
    /// # Panics
    /// With every finding, if a check failed.
    #[track_caller]
    pub fn assert(&self) {
        assert!(self.passed(), "{self}");
    }
}

impl CheckResult {
    /// Whether it failed.
    #[must_use]
    pub fn failed(&self) -> bool {
        matches!(self.outcome, Outcome::Failed(_))
    }
}

/// The findings, one a line, each after the name of its check; or that there are none.
impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.passed() {
            return write!(f, "{}: {} checks passed", self.part, self.applied());
        }
        write!(f, "{} does not conform:", self.part)?;
        for (name, findings) in self.failed() {
            for finding in findings {
                write!(f, "\n{name}: {finding}")?;
            }
        }
        Ok(())
    }
}

/// What one check has tried and found so far.
#[derive(Debug, Default)]
pub(super) struct Notes {
    tried: u32,
    findings: Vec<String>,
    remark: Option<String>,
}

/// Findings after which a check has seen enough.
const ENOUGH: usize = 4;

impl Notes {
    /// One more thing is tried.
    pub(super) fn tried(&mut self) {
        self.tried += 1;
    }

    /// Something is not as it has to be. Ends the check when there is no point in more.
    pub(super) fn find(&mut self, finding: String) -> Result<(), Stop> {
        self.findings.push(finding);
        if self.findings.len() >= ENOUGH {
            Err(Stop::Enough)
        } else {
            Ok(())
        }
    }

    /// Whether anything was found.
    pub(super) fn has_found(&self) -> bool {
        !self.findings.is_empty()
    }

    /// The first finding.
    pub(super) fn first(&self) -> Option<&str> {
        self.findings.first().map(String::as_str)
    }

    /// Something of the check is left out on this part.
    pub(super) fn remark(&mut self, remark: String) {
        self.remark = Some(remark);
    }

    pub(super) fn conclude(
        mut self,
        ended: Result<(), Stop>,
        (name, what, unit): (&'static str, &'static str, &'static str),
    ) -> CheckResult {
        let reason = match ended {
            Err(Stop::NotApplicable(reason)) => Some(reason),
            Err(Stop::Finding(finding)) => {
                self.findings.push(finding);
                None
            }
            // A check that tried nothing has shown nothing.
            Ok(()) if self.tried == 0 => Some("nothing of it is on this part".into()),
            Ok(()) | Err(Stop::Enough) => None,
        };
        let outcome = match reason {
            _ if !self.findings.is_empty() => Outcome::Failed(self.findings),
            Some(reason) => Outcome::NotApplicable(reason),
            None => Outcome::Passed,
        };
        CheckResult {
            name,
            what,
            tried: (self.tried, unit),
            outcome,
            remark: self.remark,
        }
    }
}

/// Why a check ends before its end.
#[derive(Debug)]
pub(super) enum Stop {
    /// There is nothing to check.
    NotApplicable(String),
    /// Something went wrong that leaves no point in going on.
    Finding(String),
    /// Enough was found.
    Enough,
}
