//! Warn limits, masks and status bits of each page.

use core::future::Future;

use super::Pmbus;
use super::command::Writable;
use super::declaration::{Device, Page};
use super::format::Kept;
use crate::Channel;
use crate::bus::{Fault, Link, Port};
use crate::config::{AlertFlag, AlertFlags, Kind, Limit};

impl<D: Device, const N: usize> Pmbus<D, N> {
    /// Adds the flags of the limits that the device finds passed.
    pub(super) fn look<B: Port>(
        link: &mut Link<B>,
        flags: &mut AlertFlags,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            for (channel, page) in Self::pages() {
                Self::select(link, page).await?;
                let mut found = AlertFlags::empty();
                for status in page.side.statuses() {
                    let set = link.get(status.register()).await? as u8;
                    found |= Self::flags_of(channel, page, *status, set);
                }
                // Only now they are known to be this page's.
                Self::same_page(link, page).await?;
                *flags |= found;
            }
            Self::find_reset(link).await
        })
    }

    /// Clears the bits of flags, register by register.
    pub(super) async fn clear<B: Port>(link: &mut Link<B>, flags: AlertFlags) -> Result<(), Fault> {
        for (channel, page) in Self::pages() {
            for status in page.side.statuses() {
                let bits = Self::bits_of(channel, page, *status, flags);
                if B::DRY || bits != 0 {
                    Self::select(link, page).await?;
                    link.put(status.register().once(), bits.into()).await?;
                }
            }
        }
        Ok(())
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
            for (channel, page) in Self::pages() {
                Self::select(link, page).await?;
                for status in page.side.statuses() {
                    let bits = Self::bits_of(channel, page, *status, open);
                    Self::put_mask(link, status.code(), !bits).await?;
                }
                Self::same_page(link, page).await?;
            }
            Ok(())
        })
    }

    /// No status bit reaches the output, and no limit is passed any more.
    pub(super) fn disarm<B: Port>(link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            Self::mask_all(link, AlertFlags::empty()).await?;
            for (channel, page) in Self::pages() {
                for kind in Kind::ALL {
                    Self::put_limit(link, channel, page, kind, None).await?;
                }
            }
            Ok(())
        })
    }

    pub(super) async fn put_limit_of<B: Port>(
        link: &mut Link<B>,
        limit: &Limit,
        code: Option<i64>,
    ) -> Result<(), Fault> {
        let (channel, kind) = (limit.channel(), limit.kind());
        let page = D::DECLARATION.pages.get(channel.index());
        let (Some(page), Some(_)) = (page, code) else {
            return Err(Fault::Refused);
        };
        Self::put_limit(link, channel, page, kind, code).await
    }

    /// Puts a limit that is left to the device, or, without a code, where nothing passes it; reads
    /// it back, and sees to it that what the device keeps of it lies on the safe side.
    fn put_limit<B: Port>(
        link: &mut Link<B>,
        channel: Channel,
        page: &'static Page,
        kind: Kind,
        code: Option<i64>,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            let scale = Self::SCALES.get(channel.index());
            let (Some(scale), Some(comparator), true) = (
                scale.and_then(|scales| scales.of(kind)),
                page.side.comparator(kind),
                Self::compares(channel, kind),
            ) else {
                return Ok(());
            };
            let (format, over) = (scale.format, kind.is_over());
            let word = match code {
                Some(code) => scale.limit(code, over).ok_or(Fault::Refused)?,
                None => format.end(over),
            };
            Self::select(link, page).await?;
            let read = exchange(link, comparator.limit, word).await?;
            let kept = format.kept(over, word, read);
            let closer = match kept {
                Kept::Beyond(closer) => closer,
                _ => word,
            };
            if B::DRY || kept == Kept::Not {
                link.expect(Fault::ReadBack, word.into(), read.into())?;
            }
            if B::DRY || kept != Kept::Well {
                let read = exchange(link, comparator.limit, closer).await?;
                if format.position(read) != format.position(closer) {
                    link.expect(Fault::ReadBack, closer.into(), read.into())?;
                }
            }
            Self::same_page(link, page).await
        })
    }

    /// The bits of a status register that stand for flags.
    fn bits_of(channel: Channel, page: &Page, status: Writable, flags: AlertFlags) -> u8 {
        let wanted = |kind| flags.contains(of(channel, kind));
        Self::shown_in(channel, page, status).fold(
            0,
            |bits, (kind, bit)| {
                if wanted(kind) { bits | bit } else { bits }
            },
        )
    }

    /// The flags that set bits of a status register stand for.
    fn flags_of(channel: Channel, page: &Page, status: Writable, set: u8) -> AlertFlags {
        let passed = Self::shown_in(channel, page, status).filter(|(_, bit)| set & bit != 0);
        passed.fold(AlertFlags::empty(), |flags, (kind, _)| {
            flags | of(channel, kind)
        })
    }

    /// What is left to the device and shows in a status register, by its bits.
    fn shown_in(
        channel: Channel,
        page: &Page,
        status: Writable,
    ) -> impl Iterator<Item = (Kind, u8)> {
        let kinds = Kind::ALL.into_iter();
        kinds.filter_map(move |kind| {
            let comparator = page.side.comparator(kind)?;
            let here = comparator.status == status && Self::compares(channel, kind);
            here.then_some((kind, comparator.bit))
        })
    }
}

/// Writes a limit; gives what is read back.
async fn exchange<B: Port>(link: &mut Link<B>, limit: Writable, word: u16) -> Result<u16, Fault> {
    link.put(limit.register(), word.into()).await?;
    Ok(link.get(limit.register()).await? as u16)
}

const fn of(channel: Channel, kind: Kind) -> AlertFlags {
    AlertFlags::of(AlertFlag::Limit(channel, kind))
}
