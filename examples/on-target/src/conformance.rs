//! The conformance kit where the driver will run: integer widths, alignment and the compiler's own
//! arithmetic are another there.

use core::fmt::Write;

use crake_sim::conformance::{Corncrake, Moorhen, Outcome, Report, check};

use crate::Wrong;

/// Every check on two parts, one line each. (Gallinule's four pages take minutes on an emulated
/// core.)
///
/// # Errors
/// The lines could not be written, or a check failed.
pub fn run(lines: &mut impl Write, _seed: u64) -> Result<(), Wrong> {
    tell(lines, &check(&Corncrake))?;
    tell(lines, &check(&Moorhen))
}

fn tell(lines: &mut impl Write, report: &Report) -> Result<(), Wrong> {
    let mut failed = false;
    for result in &report.results {
        write!(lines, "{} {}: ", report.part, result.name)?;
        match &result.outcome {
            Outcome::Passed => writeln!(lines, "passed, {} tried", result.tried)?,
            Outcome::NotApplicable(why) => writeln!(lines, "not applicable: {why}")?,
            Outcome::Failed(findings) => {
                failed = true;
                writeln!(lines, "failed")?;
                for finding in findings {
                    writeln!(lines, "  {finding}")?;
                }
            }
        }
    }
    if failed {
        return Err(Wrong::Conformance);
    }
    Ok(())
}
