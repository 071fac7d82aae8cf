//! Pages, process calls, and what is asked of a device before it is used.

use core::future::Future;

use super::command::{
    ALERT_MASK, CAPABILITY, COEFFICIENTS, PAGE, QUERY, REVISION, VOUT_MODE, Writable,
};
use super::declaration::{Device, Page};
use super::{Format, Pmbus};
use crate::Channel;
use crate::bus::{Fault, Link, Port, Wire};
use crate::config::Kind;
use crate::crc::Pec;
use crate::info::Source;

/// CAPABILITY: check bytes, and an alert output.
const PEC: u8 = 0x80;
const SMBALERT: u8 = 0x10;
/// Part II, revision 1.2: the first in which a one clears a status bit.
const REVISION_1_2: u32 = 2;
/// What QUERY says: supported, can be written, can be read.
const SUPPORTED: u8 = 0x80;
const WRITTEN: u8 = 0x40;
const READ: u8 = 0x20;
/// What the driver keeps in the device, count byte lowest.
const MARK: u64 = u64::from_le_bytes([4, b'c', b'r', b'a', b'k', 0, 0, 0]);

impl<D: Device, const N: usize> Pmbus<D, N> {
    /// Whether the device has an alert output.
    pub(super) const ALERTS: bool = !D::INFO.alerts.outputs.is_empty();

    /// All pages, with their channels.
    pub(super) fn pages() -> impl Iterator<Item = (Channel, &'static Page)> {
        Channel::first(N as u8).zip(D::DECLARATION.pages)
    }

    /// Whether a limit of this kind is left to the device.
    pub(super) fn compares(channel: Channel, kind: Kind) -> bool {
        D::INFO.compared_by(channel.number(), kind, 1, true) == Source::Part
    }

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
            let got = link.get(PAGE).await? as u32;
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

    pub(super) async fn set_mark<B: Port>(link: &mut Link<B>) -> Result<(), Fault> {
        let Some(number) = D::DECLARATION.mark else {
            return Ok(());
        };
        link.put_verified(Writable::user_data(number).register(), MARK)
            .await
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
            let register = Writable::ALERT_MASK.register();
            link.put(register, value.into()).await?;
            let got = Self::ask(link, &[ALERT_MASK, 1, status], 1).await? as u8;
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
            for (channel, page) in Self::pages() {
                Self::select(link, page).await?;
                Self::verify_page(link, channel, page).await?;
                Self::same_page(link, page).await?;
            }
            Ok(())
        })
    }

    async fn verify_page<B: Port>(
        link: &mut Link<B>,
        channel: Channel,
        page: &'static Page,
    ) -> Result<(), Fault> {
        let readings = page.side.readings();
        if page.side == super::Side::Output {
            let got = link.get(VOUT_MODE).await? as u8;
            // Bit 7 is relative limits; bits 6 and 5 the mode, of which one is VID.
            let fault = match got & 0x60 {
                0x20 => Fault::Vid,
                _ => Fault::Format,
            };
            link.expect(fault, page.voltage.vout_mode().into(), got.into())?;
        }
        Self::verify_command(link, readings.voltage, page.voltage, false).await?;
        Self::verify_command(link, readings.current, page.current, false).await?;
        if let Some(format) = page.power {
            Self::verify_command(link, readings.power, format, false).await?;
        }
        if let Some(count) = page.energy {
            Self::verify_command(link, readings.energy, count.format(), false).await?;
        }
        for kind in Kind::ALL {
            let scale = Self::SCALES.get(channel.index());
            if let Some(format) = scale.and_then(|scales| scales.of(kind))
                && let Some(comparator) = page.side.comparator(kind)
                && Self::compares(channel, kind)
            {
                let code = comparator.limit.code();
                Self::verify_command(link, code, format.format, true).await?;
            }
        }
        Ok(())
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
            let mut expected = SUPPORTED | READ | format.query_code();
            if limit {
                expected |= WRITTEN;
            }
            let got = Self::ask(link, &[QUERY, 1, command], 1).await? as u8;
            link.name(command);
            let mut relevant = SUPPORTED | READ | format.query_mask();
            if limit {
                relevant |= WRITTEN;
            }
            let fault = match got & 0x1C {
                0x14 => Fault::Vid,
                _ => Fault::Format,
            };
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

    /// Bits 4 to 2 of QUERY for it, where they stand.
    const fn query_code(self) -> u8 {
        match self {
            Self::Direct { .. } => 3 << 2,
            Self::Linear11 | Self::Linear16(_) | Self::Half => 0,
        }
    }

    /// Bits 4 to 2, where QUERY has a code for it: for half precision no source of ours names one.
    const fn query_mask(self) -> u8 {
        match self {
            Self::Half => 0,
            _ => 7 << 2,
        }
    }
}
