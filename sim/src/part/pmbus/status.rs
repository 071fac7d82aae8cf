/// One STATUS register with what belongs to it (docs/pmbus-device.md, B3.3, B3.4).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Status {
    pub(super) bits: u8,
    pub(super) mask: u8,
    /// Bits whose cause stands at present.
    levels: u8,
    /// Bits that an alert response has told of.
    marks: u8,
}

impl Status {
    pub(super) fn masked(mask: u8) -> Self {
        Self {
            mask,
            ..Self::default()
        }
    }

    /// Something happened that leaves no level.
    pub(super) fn set(&mut self, bits: u8) {
        self.bits |= bits;
    }

    /// A comparison came out.
    pub(super) fn compared(&mut self, bit: u8, passed: bool) {
        if passed {
            self.levels |= bit;
            self.bits |= bit;
        } else {
            self.levels &= !bit;
        }
    }

    /// The limit behind a bit was written.
    pub(super) fn forget_level(&mut self, bit: u8) {
        self.levels &= !bit;
    }

    /// Ones were written; a bit whose level stands is set again at once.
    pub(super) fn clear(&mut self, bits: u8) {
        self.bits &= !bits | self.levels;
        self.marks &= !bits;
    }

    pub(super) fn pulls(&self) -> bool {
        self.pulling() != 0
    }

    /// An alert response was won.
    pub(super) fn mark(&mut self) {
        self.marks |= self.pulling();
    }

    fn pulling(&self) -> u8 {
        self.bits & !self.mask & !self.marks
    }
}

pub(super) const INVALID_COMMAND: u8 = 1 << 7;
pub(super) const INVALID_DATA: u8 = 1 << 6;
pub(super) const PEC_FAILED: u8 = 1 << 5;
pub(super) const OTHER_COMMUNICATION: u8 = 1 << 1;
