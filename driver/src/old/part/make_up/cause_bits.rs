use crate::old::alert::{Cause, Causes};

/// Which bit of a part's words stands for which cause.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CauseBits(pub &'static [(u8, Cause)]);

impl CauseBits {
    /// The causes that a word has set.
    #[must_use]
    pub fn causes(self, word: u16) -> Causes {
        self.0
            .iter()
            .filter(|(bit, _)| mask(*bit) & word != 0)
            .fold(Causes::empty(), |causes, (_, cause)| {
                causes | Causes::of(*cause)
            })
    }

    /// The word of these causes; those that the part does not have are left out.
    #[must_use]
    pub fn word(self, causes: Causes) -> u16 {
        self.0
            .iter()
            .filter(|(_, cause)| causes.contains(Causes::of(*cause)))
            .fold(0, |word, (bit, _)| word | mask(*bit))
    }
}

fn mask(bit: u8) -> u16 {
    1_u16.checked_shl(u32::from(bit)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::old::Channel;
    use crate::old::alert::Kind;

    #[test]
    fn each_bit_stands_for_its_cause_alone() {
        const OVER: Cause = Cause::Limit(Channel::C0, Kind::OverCurrent);
        const UNDER: Cause = Cause::Limit(Channel::C3, Kind::UnderVoltage);
        let bits = CauseBits(&[(15, OVER), (2, UNDER), (16, Cause::ResetSeen)]);
        assert_eq!(bits.causes(0x8000), Causes::of(OVER));
        assert_eq!(bits.causes(0x7FFF), Causes::of(UNDER));
        assert_eq!(bits.word(Causes::of(UNDER) | Causes::ROUND_DONE), 0x0004);
        assert_eq!(bits.word(Causes::all()), 0x8004);
    }
}
