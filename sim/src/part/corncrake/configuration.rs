//! CHANNELS, RANGES and AVERAGING (datasheet, section 3.4): written while the part is idle, in
//! force at once.

use super::CHANNELS;

#[derive(Debug)]
pub(super) struct Configuration {
    pub(super) ranges: u16,
    pub(super) averaging: u8,
    channels: u8,
    /// Enabled channels in the order of conversion; the first `enabled` of them.
    order: [usize; CHANNELS],
    enabled: usize,
}

impl Configuration {
    pub(super) fn after_reset() -> Self {
        let mut configuration = Self {
            ranges: 0x2222,
            averaging: 0,
            channels: 0,
            order: [0; CHANNELS],
            enabled: 0,
        };
        configuration.enable(0x0F);
        configuration
    }

    /// CHANNELS.
    pub(super) fn channels(&self) -> u8 {
        self.channels
    }

    /// Sets CHANNELS.
    pub(super) fn enable(&mut self, channels: u8) {
        self.channels = channels;
        self.enabled = 0;
        for channel in (0..self.order.len()).filter(|channel| channels >> channel & 1 == 1) {
            self.order[self.enabled] = channel;
            self.enabled += 1;
        }
    }

    /// The enabled channels in the order of conversion.
    pub(super) fn order(&self) -> &[usize] {
        &self.order[..self.enabled]
    }

    pub(super) fn sense_range(&self, channel: usize) -> usize {
        usize::from(self.ranges >> (4 * channel + 2) & 1)
    }

    pub(super) fn rail_range(&self, channel: usize) -> usize {
        usize::from(self.ranges >> (4 * channel) & 3)
    }
}
