/// What the part itself draws (datasheet, section 8), by state: typical values at 3.3 V, in
/// nanoamperes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u32)]
pub(super) enum Draw {
    Unpowered = 0,
    Idle = 2_200,
    Resting = 9_000,
    Converting = 310_000,
}

/// Supply voltage of the figures above, in millivolts.
pub(super) const SUPPLY_MV: u32 = 3_300;
