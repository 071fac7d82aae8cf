//! Limits, flags and masks: each operation once, for both faces.

use core::future::Future;

use super::core::Core;
use super::{ErrorKind, TimeSource};
use crate::board::LimitPlan;
use crate::bus::{Fault, Port};
use crate::config::{AlertFlags, Limits};
use crate::part::{Compare, Part};

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
        // Flags that follow go with their limits. If this fails, nothing was touched.
        self.note(seen).await?;
        self.armed = false;
        let plan = LimitPlan::new(P::INFO, self.last.board, &self.last.scan, limits);
        self.last.comparator.set_missing(&plan);
        self.part.remove_limits(&mut self.link, &plan).await?;
        // What stands now came of the limits before, and no further limit sets a flag.
        let flags = self.note(seen).await?;
        self.clear(flags).await?;
        let plan = LimitPlan::new(P::INFO, self.last.board, &self.last.scan, limits);
        self.part.set_limits(&mut self.link, &plan).await?;
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
        let flags = self.part.read_flags(&mut self.link).await? | self.compared();
        let found = flags & (wanted | AlertFlags::RESET_SEEN);
        *seen |= found;
        if found.contains(AlertFlags::RESET_SEEN) {
            return Err(Fault::Reset);
        }
        if B::DRY || !found.is_empty() {
            self.clear(found).await?;
        }
        Ok(found)
    }

    /// Adds to `seen` what the driver finds beyond limits in a fresh sample.
    pub(crate) fn compare(&mut self, seen: &mut AlertFlags) {
        if self.armed {
            let flags = self.compared();
            *seen |= flags;
            self.last.comparator.clear(flags);
        }
    }

    /// Flags of what the driver compares. A sample is compared once, with the limits that stood
    /// when it came: codes of another configuration mean something else.
    #[inline(always)]
    fn compared(&mut self) -> AlertFlags {
        let fresh = core::mem::take(&mut self.fresh);
        self.last.compare(fresh && self.armed)
    }

    /// Clears these flags, in the part and where the driver compares.
    #[inline(always)]
    fn clear(&mut self, flags: AlertFlags) -> impl Future<Output = Result<(), Fault>> {
        self.last.comparator.clear(flags);
        self.part.clear_flags(&mut self.link, flags)
    }

    /// Reads the flags and adds them to `seen`.
    ///
    /// # Errors
    /// `Reset`: the flag of it stands, and is added, too.
    fn note(&mut self, seen: &mut AlertFlags) -> impl Future<Output = Result<AlertFlags, Fault>> {
        B::shared(move || async move {
            let flags = self.part.read_flags(&mut self.link).await? | self.compared();
            *seen |= flags;
            if flags.contains(AlertFlags::RESET_SEEN) {
                return Err(Fault::Reset);
            }
            Ok(flags)
        })
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
