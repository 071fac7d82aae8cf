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
