/// How the registers of a part travel: what [`Link`](super::Link) puts on the bus for one.
///
/// In every case the pointer is one byte, in front of the value. A part with other transfers than
/// these makes them of bytes, with [`Link::transfer`](super::Link::transfer).
pub trait Wire {
    /// Each write ends, and each read is followed by, the SMBus packet error code.
    const CHECK_BYTE: bool;

    /// Values travel least significant byte first.
    const LOW_BYTE_FIRST: bool;

    /// So many bytes of a [`Link::transfer`](super::Link::transfer) are the pointer. Errors name
    /// the last of them.
    const POINTER_BYTES: usize = 1;
}

/// Registers high byte first, without check bytes: for the tests of this room.
#[cfg(test)]
pub(super) struct Plain;

#[cfg(test)]
impl Wire for Plain {
    const CHECK_BYTE: bool = false;
    const LOW_BYTE_FIRST: bool = false;
}
