/// Why an operation did not come through, in one byte: what was asked and what came stays in the
/// [`Link`](super::Link) until the monitor makes an [`Error`](crate::Error) of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Fault {
    // From 1 on: success is 0 then, which is tested in fewer bytes. Those about two values follow
    // each other, and so do the two after which nothing is known of the part: a range tells them.
    /// The bus failed, as often as it was tried.
    Bus = 1,
    /// A check byte of a read was wrong, as often as it was tried.
    CheckByte,
    /// The check value of a block was wrong, as often as it was tried.
    BlockCheck,
    /// No new block in time: the tag is another.
    Stale,
    /// Something that was begun did not end in time.
    Busy,
    /// Another part answers at this address.
    Identity,
    /// A register reads back otherwise than it was written.
    ReadBack,
    /// Another page is selected than the part was told: by another host, or by a reset.
    Page,
    /// The part speaks in another number format than it was declared with.
    Format,
    /// The part tells voltages as VID, codes of a processor's own table: nothing here reads them.
    Vid,
    /// Somebody else wrote to the part since it was configured, or since the token was made.
    Changed,
    /// The part was reset since it was configured.
    Reset,
    /// The host's clock fell while a sample was latched, or 72 minutes passed: it cannot be dated.
    Clock,
    /// Results changed while they were read, as often as it was tried.
    Torn,
    /// The part is not configured, or its configuration was given up: initialise it.
    NotConfigured,
    /// Limits are not known to stand in the part: set them.
    NotArmed,
    /// The part's supply is declared off.
    Unpowered,
    /// The part, or the operation asked of it, has no such thing.
    NotSupported,
    /// The configuration, board or limits cannot be; nothing was sent.
    Refused,
    /// A future over a blocking bus waited, which none does.
    Waits,
}

impl Fault {
    pub(super) const fn number(self) -> u32 {
        self as u32
    }

    /// The one of a number that [`number`](Self::number) gave.
    pub(super) const fn of(number: u32) -> Self {
        // No table is linked for it: each is its own number.
        match number {
            1 => Self::Bus,
            2 => Self::CheckByte,
            3 => Self::BlockCheck,
            4 => Self::Stale,
            5 => Self::Busy,
            6 => Self::Identity,
            8 => Self::Page,
            9 => Self::Format,
            10 => Self::Vid,
            11 => Self::Changed,
            12 => Self::Reset,
            13 => Self::Clock,
            14 => Self::Torn,
            15 => Self::NotConfigured,
            16 => Self::NotArmed,
            17 => Self::Unpowered,
            18 => Self::NotSupported,
            19 => Self::Refused,
            20 => Self::Waits,
            _ => Self::ReadBack,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Fault;

    #[test]
    fn every_fault_comes_back_by_its_number() {
        for number in 1..=Fault::Waits.number() {
            assert_eq!(Fault::of(number).number(), number);
        }
    }
}
