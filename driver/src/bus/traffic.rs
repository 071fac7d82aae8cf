/// What a call puts on the bus, and how long it waits in between.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Traffic {
    /// Periods of the bus's clock from the first START to the last STOP, waits left out: nine a
    /// byte, and two for each START, repeated or not, with the end of what it begins. These two are
    /// the most that UM10204's table of timing characteristics asks for in any mode.
    pub clocks: u64,
    /// Waits, in microseconds, during which the bus is free.
    pub waits_us: u64,
}

impl Traffic {
    /// How long it keeps a bus of this clock frequency in Hz, in microseconds, rounded up.
    #[must_use]
    pub const fn bus_us(&self, bus_hz: u32) -> u64 {
        let bus_hz = if bus_hz == 0 { 1 } else { bus_hz as u64 };
        self.clocks.saturating_mul(1_000_000).div_ceil(bus_hz)
    }

    /// The same, waits included.
    #[must_use]
    pub const fn us(&self, bus_hz: u32) -> u64 {
        self.bus_us(bus_hz).saturating_add(self.waits_us)
    }
}
