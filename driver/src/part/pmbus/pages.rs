//! Pages, process calls, and what is asked of a device before it is used.

use core::future::Future;

use super::command::{CAPABILITY, COEFFICIENTS, QUERY, REVISION, Side, VOUT_MODE, Writable};
use super::declaration::{Device, Page};
use super::{Format, Pmbus};
use crate::bus::{Fault, Link, Port, Wire};
use crate::crc::Pec;

/// CAPABILITY: check bytes, and an alert output.
const PEC: u8 = 0x80;
const SMBALERT: u8 = 0x10;
/// Part II, revision 1.2: the first in which a one clears a status bit.
const REVISION_1_2: u32 = 2;
/// What the driver keeps in the device, count byte lowest.
pub(super) const MARK: u64 = u64::from_le_bytes([4, b'c', b'r', b'a', b'k', 0, 0, 0]);

impl<D: Device, const N: usize> Pmbus<D, N> {
    /// Whether the device has an alert output.
    pub(super) const ALERTS: bool = !D::INFO.alerts.outputs.is_empty();

    /// Selects a page and reads back that it is.
    pub(super) fn select<B: Port>(
        link: &mut Link<B>,
        page: &'static Page,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            if D::DECLARATION.paged {
                let register = Writable::PAGE.register();
                link.put(register, page.number.into()).await?;
            }
            Self::same_page(link, page).await
        })
    }

    /// Whether this page is still the one selected. With a mark to tell a reset by, page 0 may be
    /// another host's.
    pub(super) fn same_page<B: Port>(
        link: &mut Link<B>,
        page: &'static Page,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            if !D::DECLARATION.paged {
                return Ok(());
            }
            let got = link.get(Writable::PAGE.register()).await? as u32;
            let fault = match (D::DECLARATION.mark, got) {
                (None, 0) => Fault::Reset,
                _ => Fault::Page,
            };
            link.expect(fault, page.number.into(), got)
        })
    }

    /// A reset took the mark.
    pub(super) fn find_reset<B: Port>(
        link: &mut Link<B>,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            let Some(number) = D::DECLARATION.mark else {
                return Ok(());
            };
            let got = link.get(Writable::user_data(number).register()).await? >> 8;
            let fault = match got {
                0 => Fault::Reset,
                _ => Fault::Changed,
            };
            link.expect(fault, (MARK >> 8) as u32, got as u32)
        })
    }

    /// A block write-block read: gives so many bytes, low byte first, which have to come behind a
    /// count of them. Further bytes of the number mean nothing.
    pub(super) fn ask<B: Port>(
        link: &mut Link<B>,
        sent: &[u8],
        count: u8,
    ) -> impl Future<Output = Result<u64, Fault>> {
        B::shared(move || async move {
            let checked = B::Wire::CHECK_BYTE;
            let mut answer = [0; 8];
            let around = if checked { 2 } else { 1 };
            let len = usize::from(count).wrapping_add(around);
            let room = answer.get_mut(..len).unwrap_or_default();
            let mut tries = link.attempts();
            loop {
                let mut result = link.transfer_once(sent, room).await;
                if let (true, Ok(()), [covered @ .., check]) = (checked, result, &*room) {
                    let write = link.address() << 1;
                    let pec = Pec::new().over(&[write]).over(sent);
                    let pec = pec.over(&[write | 1]).over(covered);
                    result = link.expect(Fault::CheckByte, pec.value().into(), (*check).into());
                }
                tries = tries.wrapping_sub(1);
                if Link::<B>::ends(result.is_ok(), tries) {
                    result?;
                    break;
                }
            }
            let [got, ..] = answer;
            link.expect(Fault::Format, count.into(), got.into())?;
            Ok(u64::from_le_bytes(answer) >> 8)
        })
    }

    /// Writes the mask of a status register, in which a one keeps a bit from the output, and reads
    /// it back.
    pub(super) fn put_mask<B: Port>(
        link: &mut Link<B>,
        status: u8,
        mask: u8,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            let value = u16::from_le_bytes([status, mask]);
            let command = Writable::ALERT_MASK;
            link.put(command.register(), value.into()).await?;
            let got = Self::ask(link, &[command.code(), 1, status], 1).await? as u8;
            link.expect(Fault::ReadBack, mask.into(), got.into())
        })
    }

    /// Whether the device speaks as it was declared.
    pub(super) fn verify<B: Port>(link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            // Whether there is a check byte is what it tells.
            let mut capability = [0];
            link.transfer(&[CAPABILITY], &mut capability).await?;
            let [got] = capability;
            let mut needed = if D::DECLARATION.check_byte { PEC } else { 0 };
            if Self::ALERTS {
                needed |= SMBALERT;
            }
            link.expect(Fault::Identity, needed.into(), (got & needed).into())?;
            let revision = link.get(REVISION).await? as u32 & 0x0F;
            link.expect(Fault::Identity, REVISION_1_2, revision.min(REVISION_1_2))?;
            for map in Self::PAGES {
                let page = map.page;
                Self::select(link, page).await?;
                let [voltage, ..] = &map.scales;
                if page.side == Side::Output {
                    let got = link.get(VOUT_MODE).await? as u8;
                    // Bit 7 is relative limits; bits 6 and 5 the mode, of which one is VID.
                    let fault = vid_or_other(got & 0x60 == 0x20);
                    link.expect(fault, voltage.format.vout_mode().into(), got.into())?;
                }
                for (command, scale) in page.side.readings().iter().zip(&map.scales) {
                    if scale.is_there() {
                        Self::verify_command(link, *command, scale.format, false).await?;
                    }
                }
                for (kind, comparator) in map.limits() {
                    let (command, scale) = (comparator.limit.code(), map.scale(kind));
                    Self::verify_command(link, command, scale.format, true).await?;
                }
                Self::same_page(link, page).await?;
            }
            Ok(())
        })
    }

    /// Whether the selected page has a command, in this format.
    fn verify_command<B: Port>(
        link: &mut Link<B>,
        command: u8,
        format: Format,
        limit: bool,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            if !D::DECLARATION.query {
                return Ok(());
            }
            let (expected, relevant) = format.query(limit);
            let got = Self::ask(link, &[QUERY, 1, command], 1).await? as u8;
            link.name(command);
            let fault = vid_or_other(got & 0x1C == 0x14);
            link.expect(fault, expected.into(), (got & relevant).into())?;
            if let Format::Direct { m, b, r } = format {
                // How it is read, and written.
                let direction = u8::from(!limit);
                let got = Self::ask(link, &[COEFFICIENTS, 2, command, direction], 5).await?;
                link.name(command);
                let [m0, m1] = m.to_le_bytes();
                let [b0, b1] = b.to_le_bytes();
                let line = u32::from_le_bytes([m0, m1, b0, b1]);
                link.expect(Fault::Format, line, got as u32)?;
                link.expect(Fault::Format, (r as u8).into(), (got >> 32) as u8 as u32)?;
            }
            Ok(())
        })
    }
}

/// A format that the device was not declared with.
const fn vid_or_other(vid: bool) -> Fault {
    if vid { Fault::Vid } else { Fault::Format }
}

impl Format {
    /// The byte of VOUT_MODE for it.
    const fn vout_mode(self) -> u8 {
        match self {
            Self::Linear16(exponent) => exponent as u8 & 0x1F,
            Self::Direct { .. } => 0x40,
            Self::Half => 0x60,
            Self::Linear11 => 0,
        }
    }

    /// What QUERY says of a command in this format, and which bits of it count: supported, can be
    /// written, can be read, and three bits for the format. No source of ours has these for half
    /// precision.
    const fn query(self, limit: bool) -> (u8, u8) {
        let access = if limit { 0b1110_0000 } else { 0b1010_0000 };
        match self {
            Self::Direct { .. } => (access | 3 << 2, access | 7 << 2),
            Self::Linear11 | Self::Linear16(_) => (access, access | 7 << 2),
            Self::Half => (access, access),
        }
    }
}
