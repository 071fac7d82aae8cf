use alloc::{string::String, vec::Vec};
use core::fmt;

/// What the kit found out about one subject, check by check.
#[derive(Clone, Debug)]
pub struct Report {
    /// Name of the part.
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
    pub about: &'static str,
    /// How many things were tried.
    pub tried: u32,
    /// What came of it.
    pub outcome: Outcome,
    /// What of it was left out, and why.
    pub left_out: Option<String>,
}

/// What came of a check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// All as it has to be.
    Passed,
    /// Not as it has to be: what was done, what came, what was expected. At most a handful; the
    /// first is the plainest.
    Failed(Vec<String>),
    /// There is nothing to check on this part or this fixture, and why.
    NotApplicable(String),
}

impl Report {
    /// Whether no check failed.
    #[must_use]
    pub fn passed(&self) -> bool {
        !self.results.iter().any(CheckResult::failed)
    }

    /// How many checks failed.
    #[must_use]
    pub fn failed(&self) -> usize {
        self.results.iter().filter(|result| result.failed()).count()
    }

    /// The checks that had nothing to check, each with its reason.
    pub fn not_applicable(&self) -> impl Iterator<Item = (&'static str, &str)> {
        let each = self.results.iter();
        each.filter_map(|result| match &result.outcome {
            Outcome::NotApplicable(reason) => Some((result.name, reason.as_str())),
            Outcome::Passed | Outcome::Failed(_) => None,
        })
    }

    /// For a test: prints the summary, and returns if all passed.
    ///
    /// # Panics
    /// With every finding, if a check failed.
    #[track_caller]
    pub fn assert(&self) {
        assert!(self.passed(), "{self}");
        #[cfg(feature = "std")]
        std::println!("{self}");
    }
}

impl CheckResult {
    /// Whether it failed.
    #[must_use]
    pub fn failed(&self) -> bool {
        matches!(self.outcome, Outcome::Failed(_))
    }

    /// What was found, where it failed.
    #[must_use]
    pub fn findings(&self) -> &[String] {
        match &self.outcome {
            Outcome::Failed(findings) => findings,
            Outcome::Passed | Outcome::NotApplicable(_) => &[],
        }
    }
}

/// The findings, each after the name of its check; how many checks passed; and which did not apply
/// and why.
impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let idle = self.not_applicable().count();
        let passed = self.results.len() - self.failed() - idle;
        write!(f, "{}: {passed} checks passed, ", self.part)?;
        write!(f, "{} failed, {idle} do not apply", self.failed())?;
        for result in &self.results {
            for finding in result.findings() {
                write!(f, "\n  {}: {finding}", result.name)?;
            }
        }
        for (name, reason) in self.not_applicable() {
            write!(f, "\n  {name} does not apply: {reason}")?;
        }
        let parts = self.results.iter();
        for (name, what) in
            parts.filter_map(|result| Some((result.name, result.left_out.as_ref()?)))
        {
            write!(f, "\n  {name}, left out: {what}")?;
        }
        Ok(())
    }
}

/// What one check has tried and found so far.
#[derive(Debug, Default)]
pub(super) struct Notes {
    tried: u32,
    findings: Vec<String>,
    left_out: Option<String>,
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

pub(super) type Checked = Result<(), Stop>;

/// There is nothing to check, and why.
pub(super) fn not_applicable(reason: &str) -> Checked {
    Err(Stop::NotApplicable(reason.into()))
}

/// Findings after which a check has seen enough.
const ENOUGH: usize = 4;

impl Notes {
    /// One more thing is tried.
    pub(super) fn tried(&mut self) {
        self.tried += 1;
    }

    /// Something is not as it has to be. Ends the check when there is no point in more.
    pub(super) fn find(&mut self, finding: String) -> Checked {
        self.findings.push(finding);
        if self.findings.len() >= ENOUGH {
            return Err(Stop::Enough);
        }
        Ok(())
    }

    /// The first finding.
    pub(super) fn first(&self) -> Option<&str> {
        self.findings.first().map(String::as_str)
    }

    /// Something of the check is left out on this part.
    pub(super) fn leave_out(&mut self, what: &str) {
        self.left_out = Some(what.into());
    }

    pub(super) fn conclude(
        mut self,
        ended: Checked,
        name: &'static str,
        about: &'static str,
    ) -> CheckResult {
        let reason = match ended {
            Err(Stop::NotApplicable(reason)) => Some(reason),
            Err(Stop::Finding(finding)) => {
                self.findings.push(finding);
                None
            }
            // A check that tried nothing has shown nothing.
            Ok(()) if self.tried == 0 => Some("the part has nothing of it".into()),
            Ok(()) | Err(Stop::Enough) => None,
        };
        let outcome = match reason {
            _ if !self.findings.is_empty() => Outcome::Failed(self.findings),
            Some(reason) => Outcome::NotApplicable(reason),
            None => Outcome::Passed,
        };
        CheckResult {
            name,
            about,
            tried: self.tried,
            outcome,
            left_out: self.left_out,
        }
    }
}
