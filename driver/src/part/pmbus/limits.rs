//! Warn limits, masks and status bits of each page.

use core::future::Future;

use super::Pmbus;
use super::command::{Comparator, Writable};
use super::declaration::{Device, PageMap};
use crate::bus::{Fault, Link, Port};
use crate::config::{AlertFlag, AlertFlags, Kind, Limit};

impl<D: Device, const N: usize> Pmbus<D, N> {
    /// Adds the flags of the limits that the device finds passed.
    pub(super) async fn look<B: Port>(
        link: &mut Link<B>,
        flags: &mut AlertFlags,
    ) -> Result<(), Fault> {
        for map in Self::PAGES {
            Self::select(link, map.page).await?;
            let mut found = AlertFlags::empty();
            for status in map.page.side.statuses() {
                let set = link.get(status.register()).await? as u8;
                found |= map.flags_of(*status, set);
            }
            // Only now they are known to be this page's.
            Self::same_page(link, map.page).await?;
            *flags |= found;
        }
        Self::find_reset(link).await
    }

    /// These flags, and no other status bit of a page, reach the output.
    pub(super) fn mask_all<B: Port>(
        link: &mut Link<B>,
        open: AlertFlags,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            if !Self::ALERTS {
                return Ok(());
            }
            for map in Self::PAGES {
                Self::select(link, map.page).await?;
                for status in map.page.side.statuses() {
                    let bits = map.bits_of(*status, open);
                    Self::put_mask(link, status.code(), !bits).await?;
                }
                Self::same_page(link, map.page).await?;
            }
            Ok(())
        })
    }

    /// No status bit reaches the output, and no limit is passed any more.
    pub(super) fn disarm<B: Port>(link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            Self::mask_all(link, AlertFlags::empty()).await?;
            for map in Self::PAGES {
                Self::select(link, map.page).await?;
                for (kind, comparator) in map.limits() {
                    let scale = map.scale(kind);
                    let (format, top) = (&scale.format, scale.down(kind.is_over()));
                    let word = format.end(top);
                    let read = exchange(link, comparator.limit, word).await?;
                    if !format.is_end(top, read) {
                        link.expect(Fault::ReadBack, word.into(), read.into())?;
                    }
                }
                Self::same_page(link, map.page).await?;
            }
            Ok(())
        })
    }

    /// Puts a limit that is left to the device, reads it back, and sees to it that what the device
    /// keeps of it lies on the safe side.
    pub(super) async fn put_limit<B: Port>(
        link: &mut Link<B>,
        limit: &Limit,
        code: i64,
    ) -> Result<(), Fault> {
        let (channel, kind) = (limit.channel(), limit.kind());
        let map = Self::PAGES.get(channel.index()).ok_or(Fault::Refused)?;
        let (page, scale) = (map.page, map.scale(kind));
        let Comparator { limit, .. } = page.side.comparator(kind).ok_or(Fault::Refused)?;
        let (format, down) = (&scale.format, scale.down(kind.is_over()));
        let word = scale.limit(code, down).ok_or(Fault::Refused)?;
        Self::select(link, page).await?;
        let read = exchange(link, limit, word).await?;
        let kept = format.kept(down, word, read);
        if kept.is_none() {
            link.expect(Fault::ReadBack, word.into(), read.into())?;
        }
        let safe = kept.unwrap_or(word);
        if B::DRY || safe != read {
            let read = exchange(link, limit, safe).await?;
            if format.position(read) != format.position(safe) {
                link.expect(Fault::ReadBack, safe.into(), read.into())?;
            }
        }
        Self::same_page(link, page).await
    }
}

impl PageMap {
    /// What is left to the device, and where it shows.
    pub(super) fn limits(&self) -> impl Iterator<Item = (Kind, Comparator)> {
        let side = self.page.side;
        let comparators = move |kind: &Kind| Some((*kind, side.comparator(*kind)?));
        self.kinds.iter().filter_map(comparators)
    }

    /// The bits of a status register that stand for flags.
    pub(super) fn bits_of(&self, status: Writable, flags: AlertFlags) -> u8 {
        self.limits()
            .filter(|(kind, of)| of.status == status && flags.contains(self.flag(*kind)))
            .fold(0, |bits, (_, of)| bits | of.bit)
    }

    /// The flags that set bits of a status register stand for.
    fn flags_of(&self, status: Writable, set: u8) -> AlertFlags {
        self.limits()
            .filter(|(_, of)| of.status == status && set & of.bit != 0)
            .fold(AlertFlags::empty(), |flags, (kind, _)| {
                flags | self.flag(kind)
            })
    }

    const fn flag(&self, kind: Kind) -> AlertFlags {
        AlertFlags::of(AlertFlag::Limit(self.channel, kind))
    }
}

/// Writes a limit; gives what is read back.
fn exchange<B: Port>(
    link: &mut Link<B>,
    limit: Writable,
    word: u16,
) -> impl Future<Output = Result<u16, Fault>> {
    B::shared(move || async move {
        link.put(limit.register(), word.into()).await?;
        Ok(link.get(limit.register()).await? as u16)
    })
}
