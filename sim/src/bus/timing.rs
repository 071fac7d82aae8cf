/// The speed classes of the I2C bus that the parts know.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Speed {
    /// Standard mode, 100 kHz.
    Standard,
    /// Fast mode, 400 kHz.
    #[default]
    Fast,
    /// Fast mode plus, 1 MHz.
    FastPlus,
}

/// Lengths of the pieces of a transfer, in nanoseconds.
///
/// A transfer of B bytes with n repeated STARTs takes, from the edge of START to the edge of STOP,
///
/// `start_hold + 9 B clock + n (low + restart_setup + start_hold) + low + stop_setup`
///
/// and the next START comes no earlier than `bus_free` after it. Rise and fall times and stretching
/// count nothing.
///
/// # Source
/// NXP UM10204, table of timing characteristics: every piece has its minimum, except that `clock`
/// is held to the greatest clock frequency, for the minima of the low and the high phase alone
/// would make it faster than the mode allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timing {
    /// START edge to the first falling clock edge (tHD;STA).
    pub start_hold: u64,
    /// One clock period.
    pub clock: u64,
    /// Low phase before a repeated START or STOP (tLOW).
    pub low: u64,
    /// Rising clock edge to the repeated START (tSU;STA).
    pub restart_setup: u64,
    /// Rising clock edge to STOP (tSU;STO).
    pub stop_setup: u64,
    /// STOP to the next START (tBUF).
    pub bus_free: u64,
}

impl Timing {
    /// The shortest transfers that `speed` allows.
    pub const fn of(speed: Speed) -> Self {
        let minima = Self::sum_of_minima(speed);
        let clock = match speed {
            Speed::Standard => 10_000,
            Speed::Fast => 2_500,
            Speed::FastPlus => 1_000,
        };
        Self { clock, ..minima }
    }

    /// From the edge of START to the edge of STOP, for `bytes` bytes (address bytes included) and
    /// `restarts` repeated STARTs.
    pub const fn transfer_ns(&self, bytes: u64, restarts: u64) -> u64 {
        self.start_hold
            + CLOCKS_PER_BYTE * bytes * self.clock
            + restarts * (self.low + self.restart_setup + self.start_hold)
            + self.low
            + self.stop_setup
    }

    /// The minima of the table, with a clock of low and high phase that exceeds the mode's greatest
    /// frequency.
    const fn sum_of_minima(speed: Speed) -> Self {
        let (low, high, restart_setup, bus_free) = match speed {
            Speed::Standard => (4_700, 4_000, 4_700, 4_700),
            Speed::Fast => (1_300, 600, 600, 1_300),
            Speed::FastPlus => (500, 260, 260, 500),
        };
        // In every mode tHD;STA and tSU;STO equal tHIGH.
        Self {
            start_hold: high,
            clock: low + high,
            low,
            restart_setup,
            stop_setup: high,
            bus_free,
        }
    }
}

/// Eight bits and the acknowledge.
pub(super) const CLOCKS_PER_BYTE: u64 = 9;

#[cfg(test)]
mod tests {
    use super::*;

    // Sums of the minima of UM10204's timing table, worked out by hand: bytes, repeated STARTs, and
    // hundredths of a microsecond in standard, fast and fast-plus mode.
    const SUMS: [(u64, u64, [u64; 3]); 9] = [
        (1, 0, [9_100, 1_960, 786]),
        (2, 0, [16_930, 3_670, 1_470]),
        (3, 0, [24_760, 5_380, 2_154]),
        (4, 0, [32_590, 7_090, 2_838]),
        (4, 1, [33_930, 7_340, 2_940]),
        (5, 1, [41_760, 9_050, 3_624]),
        (7, 1, [57_420, 12_470, 4_992]),
        (9, 0, [71_740, 15_640, 6_258]),
        (10, 1, [80_910, 17_600, 7_044]),
    ];
    const SPEEDS: [(Speed, u64); 3] = [
        (Speed::Standard, 10_000),
        (Speed::Fast, 2_500),
        (Speed::FastPlus, 1_000),
    ];

    #[test]
    fn minima_add_up_to_the_table() {
        for (bytes, restarts, sums) in SUMS {
            for ((speed, _), sum) in SPEEDS.into_iter().zip(sums) {
                assert_eq!(
                    Timing::sum_of_minima(speed).transfer_ns(bytes, restarts),
                    10 * sum,
                    "{speed:?} {bytes} {restarts}"
                );
            }
        }
    }

    // Each of the 9B clocks is longer than low and high together by what the greatest frequency
    // asks: 1.3, 0.6, 0.24 µs.
    #[test]
    fn the_clock_is_held_to_the_greatest_frequency() {
        for (speed, period) in SPEEDS {
            let timing = Timing::of(speed);
            assert_eq!(timing.clock, period);
            assert_eq!(timing.bus_free, [4_700, 1_300, 500][speed as usize]);
            let stretched =
                timing.transfer_ns(10, 1) - Timing::sum_of_minima(speed).transfer_ns(10, 1);
            assert_eq!(
                stretched,
                90 * (period - [8_700, 1_900, 760][speed as usize])
            );
        }
    }
}
