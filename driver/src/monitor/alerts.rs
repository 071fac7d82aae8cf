//! Limits, flags and masks: each operation once, for both faces.

use core::future::Future;

use super::core::Core;
use super::{ErrorKind, TimeSource};
use crate::board::LimitPlan;
use crate::bus::{Fault, Link, Port};
use crate::config::{AlertFlags, Limits};
use crate::part::Part;

impl<B: Port, P: Part, T: TimeSource, const N: usize> Core<'_, B, P, T, N> {
    /// Whether the limits can be, as things are; nothing is sent.
    pub(crate) fn check_limits(&self, limits: &Limits<'_>) -> Result<(), ErrorKind<B::Error>> {
        self.powered()
            .and_then(|()| self.known())
            .map_err(ErrorKind::State)?;
        self.plan(limits).check().map_err(ErrorKind::Limits)
    }

    /// Notes in `seen` what flags stand, and puts limits that were checked in place of those
    /// before.
    pub(crate) async fn set_limits(
        &mut self,
        limits: &Limits<'_>,
        seen: &mut AlertFlags,
    ) -> Result<(), Fault> {
        let (part, link, block) = (&mut self.part, &mut self.link, &mut self.last.block);
        let plan = LimitPlan::new(P::INFO, self.last.board, &self.last.scan, limits);
        // Flags that follow go with their limits. If this fails, nothing was touched.
        note(part, link, block, seen).await?;
        self.armed = false;
        part.remove_limits(link, block, &plan).await?;
        // What stands now came of the limits before, and no further limit sets a flag.
        let flags = note(part, link, block, seen).await?;
        part.clear_flags(link, block, flags).await?;
        part.set_limits(link, &plan).await?;
        self.armed = true;
        Ok(())
    }

    /// Reads the flags, adds those that are wanted to `seen`, and clears exactly these.
    pub(crate) async fn read_alerts(
        &mut self,
        wanted: AlertFlags,
        seen: &mut AlertFlags,
    ) -> Result<AlertFlags, Fault> {
        self.armed()?;
        let (part, link, block) = (&mut self.part, &mut self.link, &mut self.last.block);
        let flags = part.read_flags(link, block).await?;
        let found = flags & (wanted | AlertFlags::RESET_SEEN);
        *seen |= found;
        if found.contains(AlertFlags::RESET_SEEN) {
            return Err(Fault::Reset);
        }
        if B::DRY || !found.is_empty() {
            part.clear_flags(link, block, found).await?;
        }
        Ok(found)
    }

    /// Lets these flags, and no others, reach the outputs.
    pub(crate) async fn set_masks(&mut self, masks: &[AlertFlags; 2]) -> Result<(), Fault> {
        self.armed()?;
        self.part.set_masks(&mut self.link, masks).await
    }

    fn plan<'p>(&'p self, limits: &'p Limits<'p>) -> LimitPlan<'p, N> {
        LimitPlan::new(P::INFO, self.last.board, &self.last.scan, limits)
    }

    fn armed(&self) -> Result<(), Fault> {
        self.powered()?;
        self.known()?;
        if self.armed {
            Ok(())
        } else {
            Err(Fault::NotArmed)
        }
    }
}

/// Reads the flags and adds them to `seen`.
///
/// # Errors
/// `Reset`: the flag of it stands, and is added, too.
fn note<B: Port, P: Part>(
    part: &mut P,
    link: &mut Link<B>,
    block: &mut P::Block,
    seen: &mut AlertFlags,
) -> impl Future<Output = Result<AlertFlags, Fault>> {
    B::shared(move || async move {
        let flags = part.read_flags(link, block).await?;
        *seen |= flags;
        if flags.contains(AlertFlags::RESET_SEEN) {
            return Err(Fault::Reset);
        }
        Ok(flags)
    })
}
