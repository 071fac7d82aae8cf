use super::registers::WRITES;
use super::registers::{CAPTURE, CAPTURE_COUNT, CAPTURE_FROM, FAST_CAPTURE, IDLE, RESET_SEEN, RUN};
use super::{Block, Corncrake, INFO};
use crate::Channel;
use crate::bus::{Fault, Link, Port};
use crate::part::Part;

/// Most codes of one read (section 3.7).
const CODES_MAX: u8 = 16;
/// Longest time of one conversion of a capture in microseconds, slowest oscillator: 62.5 ÷ 0.985.
const CONVERSION_US_MAX: u32 = 64;
/// How often the count is read before a capture that does not end is told.
const COUNT_READS: u8 = 3;

impl Corncrake {
    /// Nobody wrote since the last sample, so ranges are ours; then stop and start.
    pub(super) async fn begin_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        channel: Channel,
    ) -> Result<(), Fault> {
        self.compare_writes(link).await?;
        link.put(RUN, u64::from(IDLE), 1).await?;
        link.put(RUN, u64::from(FAST_CAPTURE | channel.number()), 1)
            .await?;
        self.take_writes(link).await
    }

    /// Waits for the end, reads codes and finds out whether all the while nobody wrote to the part, and
    /// no reset took them away.
    pub(super) async fn take_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        block: &mut Block,
        first: u16,
        codes: &mut [i32],
    ) -> Result<(), Fault> {
        let end = self.capture_ended(link).await;
        if end.is_ok() {
            read_codes(link, block, first, codes).await?;
        }
        if link.get(RESET_SEEN, 1).await? != 0 {
            return Err(Fault::Reset);
        }
        self.compare_writes(link).await?;
        end
    }

    async fn capture_ended<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        let mut left = COUNT_READS;
        loop {
            let count = link.get(CAPTURE_COUNT, 2).await? as u32;
            let missing = u32::from(INFO.capture_max).saturating_sub(count);
            if missing == 0 {
                return Ok(());
            }
            left = left.saturating_sub(1);
            if left == 0 {
                return Err(Fault::Busy);
            }
            let us = missing.wrapping_mul(CONVERSION_US_MAX); // 2^10 by 2^6
            link.delay_us(us.wrapping_add(INFO.wake_us)).await;
        }
    }

    /// Whether the part's count of accepted writes is ours, where we know it.
    async fn compare_writes<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        if !self.writes_known {
            return self.take_writes(link).await;
        }
        let writes = link.get(WRITES, 2).await? as u32;
        link.expect(Fault::Changed, self.token().writes, writes)
    }
}

/// Reads codes in as many pieces as the bus needs; `block` has room for the bytes of one.
async fn read_codes<B: Port>(
    link: &mut Link<B>,
    block: &mut Block,
    first: u16,
    codes: &mut [i32],
) -> Result<(), Fault> {
    // Three bytes a code, and the check byte: a third, for numbers of 8 bits.
    let fit = u16::from(link.read_max())
        .saturating_sub(1)
        .wrapping_mul(171)
        >> 9;
    let most = usize::from(CODES_MAX).min(usize::from(fit)).max(1);
    let (mut rest, mut index) = (codes, u64::from(first));
    while !rest.is_empty() {
        let number = most.min(rest.len());
        let (piece, others) = rest
            .split_at_mut_checked(number)
            .ok_or(Fault::NotSupported)?;
        link.put_verified(CAPTURE_FROM, index << 8 | number as u64, 3)
            .await?;
        let bytes = block.bytes_mut();
        let bytes = bytes
            .get_mut(..=number.wrapping_mul(3))
            .ok_or(Fault::NotSupported)?;
        link.read(CAPTURE, bytes).await?;
        for (code, bytes) in piece.iter_mut().zip(bytes.chunks_exact(3)) {
            if let &[high, middle, low] = bytes {
                *code = i32::from_be_bytes([high, middle, low, 0]) >> 8;
            }
        }
        index = index.wrapping_add(number as u64);
        rest = others;
    }
    Ok(())
}
