/// Why an operation did not come through, in one byte: what was asked and what came stays in the
/// [`Link`](super::Link) until the monitor makes an [`Error`](crate::Error) of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Fault {
    // From 1 on: success is 0 then, which is tested in fewer bytes.
    /// The bus failed, as often as it was tried.
    Bus = 1,
    /// A check byte of a read was wrong, as often as it was tried.
    CheckByte,
    /// The check value of a block was wrong, as often as it was tried.
    BlockCheck,
    /// No new block in time: the tag is another.
    Stale,
    /// The host's clock fell while a sample was latched, or 72 minutes passed: it cannot be dated.
    Clock,
    /// Something that was begun did not end in time.
    Busy,
    /// Another part answers at this address.
    Identity,
    /// A register reads back otherwise than it was written.
    ReadBack,
    /// The part was reset since it was configured.
    Reset,
    /// Somebody else wrote to the part since it was configured, or since the token was made.
    Changed,
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
