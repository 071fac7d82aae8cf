/// An input, by its place in the order of conversion (section 3.1 of the datasheet).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Input(usize);

impl Input {
    pub(super) const fn sense(channel: usize) -> Self {
        Self(2 * channel)
    }

    pub(super) const fn rail(channel: usize) -> Self {
        Self(2 * channel + 1)
    }

    /// All of them, in the order of conversion.
    pub(super) fn all() -> impl Iterator<Item = Self> {
        (0..INPUTS).map(Self)
    }

    pub(super) fn index(self) -> usize {
        self.0
    }

    pub(super) fn channel(self) -> usize {
        self.0 / 2
    }

    pub(super) fn is_sense(self) -> bool {
        self.0.is_multiple_of(2)
    }

    /// The input's bit in CONFIGURATION, STATUS, ALERT_FLAGS and MASK.
    pub(super) fn bit(self) -> u16 {
        let first = if self.is_sense() { 4 } else { 12 };
        1 << (first + self.channel())
    }

    /// The bit in CONFIGURATION that enables the input's channel (section 3.2).
    pub(super) fn enable_bit(self) -> u16 {
        1 << (8 + self.channel())
    }

    /// The bits of these inputs.
    pub(super) fn bits(inputs: impl Iterator<Item = Self>) -> u16 {
        inputs.map(Self::bit).sum()
    }
}

/// Inputs of the part.
pub(super) const INPUTS: usize = 4;
