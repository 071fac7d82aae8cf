use super::registers::{
    CAPTURE, CAPTURE_COUNT, CAPTURE_FROM, FAST_CAPTURE, IDLE, RANGES, RESET_SEEN, RUN, WRITES,
};
use super::{Block, Corncrake, INFO};
use crate::Channel;
use crate::bus::{Fault, Link, Port};

/// Most codes of one read (section 3.7).
const CODES_MAX: usize = 16;
/// Longest time of a capture in microseconds, at the slowest oscillator: 1024 × 62.5 ÷ 0.985, and
/// the wake-up.
const CAPTURE_US_MAX: u32 = INFO.capture_max as u32 * 64 + INFO.wake_us;

impl Corncrake {
    /// Stops, makes sure that the ranges are still ours, and starts.
    pub(super) async fn begin_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        channel: Channel,
    ) -> Result<(), Fault> {
        link.put(RUN, u64::from(IDLE)).await?;
        link.require(RANGES, u32::from(self.ranges), Fault::Changed)
            .await?;
        link.put(RUN, u64::from(FAST_CAPTURE | channel.number()))
            .await?;
        self.take_writes(link).await
    }

    /// Waits for the end, reads codes and finds out whether all the while nobody wrote to the part,
    /// and no reset took them away.
    pub(super) async fn take_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        block: &mut Block,
        first: u16,
        codes: &mut [i32],
    ) -> Result<(), Fault> {
        let count = u32::from(INFO.capture_max);
        let ended = link.require(CAPTURE_COUNT, count, Fault::Busy).await;
        if B::DRY || ended.is_err() {
            link.delay_us(CAPTURE_US_MAX).await;
        }
        let end = link.require(CAPTURE_COUNT, count, Fault::Busy).await;
        match end {
            Ok(()) => read_codes(link, block, first, codes).await?,
            // Why it does not end may be a reset.
            Err(Fault::Busy) => {}
            Err(fault) => return Err(fault),
        }
        link.require(RESET_SEEN, 0, Fault::Reset).await?;
        let writes = u32::from(self.writes);
        link.require(WRITES, writes, Fault::Changed).await?;
        end
    }
}

/// Reads codes in as many pieces as the bus needs; `block` has room for the bytes of one.
async fn read_codes<B: Port>(
    link: &mut Link<B>,
    block: &mut Block,
    first: u16,
    codes: &mut [i32],
) -> Result<(), Fault> {
    // Three bytes a code, and the check byte.
    let mut most = CODES_MAX;
    while most > 1 && most.wrapping_mul(3) >= usize::from(link.read_max()) {
        most >>= 1;
    }
    let (mut rest, mut index) = (codes, u32::from(first));
    while !rest.is_empty() {
        let number = most.min(rest.len());
        let (piece, others) = rest
            .split_at_mut_checked(number)
            .ok_or(Fault::NotSupported)?;
        let from = index << 8 | number as u32;
        link.put_verified(CAPTURE_FROM, u64::from(from)).await?;
        let bytes = block.bytes_mut().get_mut(..=number.wrapping_mul(3));
        let bytes = bytes.ok_or(Fault::NotSupported)?;
        link.read_checked(CAPTURE, bytes).await?;
        let mut bytes: &[u8] = bytes;
        for code in piece {
            if let Some((&[high, middle, low], behind)) = bytes.split_first_chunk() {
                *code = i32::from_be_bytes([high, middle, low, 0]) >> 8;
                bytes = behind;
            }
        }
        index = index.wrapping_add(number as u32);
        rest = others;
    }
    Ok(())
}
