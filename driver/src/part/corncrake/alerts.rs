//! Limits, masks and flags (section 3.6 of the datasheet).

use core::future::Future;

use super::Corncrake;
use super::registers::{DEBOUNCE, FLAGS, LATCHING, LIMITS, MASK_A, MASK_B, RESET_SEEN};
use crate::Channel;
use crate::board::LimitPlan;
use crate::bus::{Fault, Link, Port};
use crate::config::{AlertFlags, Kind};

/// Channels of the part.
const CHANNELS: u8 = 4;

impl Corncrake {
    pub(super) async fn flags<B: Port>(&mut self, link: &mut Link<B>) -> Result<AlertFlags, Fault> {
        Ok(from_bits(link.get(FLAGS).await?))
    }

    pub(super) fn clear<B: Port>(
        &mut self,
        link: &mut Link<B>,
        flags: AlertFlags,
    ) -> impl Future<Output = Result<(), Fault>> {
        link.put(FLAGS.once(), to_bits(flags))
    }

    /// A write to DEBOUNCE sets the limits of its channel to what is never passed.
    pub(super) async fn write_debounce<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        self.write_masks(link, &[AlertFlags::empty(); 2]).await?;
        for channel in Channel::first(CHANNELS) {
            let register = DEBOUNCE.plus(channel.number());
            let counts = u64::from(counts(plan, channel));
            link.put_verified(register, counts).await?;
        }
        Ok(())
    }

    pub(super) async fn write_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        let limits = plan.limits();
        let latching = limits.latching().union(AlertFlags::OWN);
        link.put_verified(LATCHING, to_bits(latching)).await?;
        for limit in limits.list() {
            let (channel, kind) = (limit.channel().number(), limit.kind().index());
            let code = plan.code_of(limit).ok_or(Fault::Refused)?;
            let register = LIMITS.get(kind).ok_or(Fault::Refused)?;
            let register = register.plus(channel.wrapping_mul(8));
            link.put_verified(register, register.low_bytes(code))
                .await?;
        }
        self.write_masks(link, limits.masks()).await?;
        self.take_writes(link).await?;
        link.require(RESET_SEEN, 0, Fault::Reset).await
    }

    pub(super) fn write_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        masks: &[AlertFlags; 2],
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            self.writes_known = false;
            for (register, mask) in [MASK_A, MASK_B].into_iter().zip(masks) {
                link.put_verified(register, to_bits(*mask)).await?;
            }
            Ok(())
        })
    }
}

/// The value for DEBOUNCE of a channel.
#[inline(never)]
fn counts<const N: usize>(plan: &LimitPlan<'_, N>, channel: Channel) -> u32 {
    let kinds = Kind::ALL.iter().rev();
    kinds.fold(0, |counts, kind| {
        counts << 4 | u32::from(plan.debounce(channel, *kind))
    })
}

/// Limits are at the same places in both; the part's own are its bits 20 to 22.
const fn from_bits(bits: u64) -> AlertFlags {
    AlertFlags::from_bits_retain(bits & 0xF_FFFF | (bits & 0x70_0000) << 41)
}

const fn to_bits(flags: AlertFlags) -> u64 {
    flags.bits() & 0xF_FFFF | (flags.bits() >> 41) & 0x70_0000
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Section 3.6: rollover ahead, scan done, reset seen at bits 20, 21, 22.
    #[test]
    fn flags_are_where_the_datasheet_has_them() {
        let flags = AlertFlags::ROLLOVER_AHEAD | AlertFlags::LIMITS & from_bits(0x8_0001);
        assert_eq!(to_bits(flags), 0x18_0001);
        assert_eq!(
            from_bits(0x60_0000),
            AlertFlags::SCAN_DONE | AlertFlags::RESET_SEEN
        );
        assert_eq!(from_bits(0x80_0000), AlertFlags::empty());
    }
}
