/// A place in the order of conversion (datasheet, 3.1): sense and bus of channel 0, sense and bus
/// of channel 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Slot(u8);

impl Slot {
    pub(super) const FIRST: Self = Self(0);

    pub(super) const fn sense(channel: u8) -> Self {
        Self(2 * channel)
    }

    pub(super) const fn bus(channel: u8) -> Self {
        Self(2 * channel + 1)
    }

    pub(super) fn next(self) -> Option<Self> {
        (usize::from(self.0) + 1 < SLOTS).then_some(Self(self.0 + 1))
    }

    pub(super) fn index(self) -> usize {
        self.0.into()
    }

    pub(super) fn channel(self) -> usize {
        usize::from(self.0 / 2)
    }

    pub(super) fn is_sense(self) -> bool {
        self.0.is_multiple_of(2)
    }

    /// The input's bit in RANGES, MASK, CAUSES and PROGRESS.
    pub(super) fn bit(self) -> u16 {
        1 << (FIRST_BIT + self.0)
    }

    /// The bits of all inputs.
    pub(super) const BITS: u16 = ((1 << SLOTS) - 1) << FIRST_BIT;
}

/// Conversions of a single-shot.
pub(super) const SLOTS: usize = 4;
const FIRST_BIT: u8 = 6;
