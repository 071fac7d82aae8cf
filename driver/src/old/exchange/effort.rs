use super::Step;

/// What an operation may cost at the most, counted in transfers, bytes and waits.
///
/// Counts are of one pass in which no transfer fails on the bus: waits of the part's own (for a latch, a burst, a reset) and reads made again because of what they brought are in it,
/// repeats of failed transfers are not; [`longest_us`](Self::longest_us) adds them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Effort {
    /// Transfers from START to STOP.
    pub transfers: u32,
    /// Repeated STARTs.
    pub restarts: u32,
    /// Bytes on the wire, address bytes and check bytes included.
    pub bytes: u32,
    /// Microseconds that are waited between transfers.
    pub wait_us: u32,
}

impl Effort {
    /// Nothing.
    pub const NONE: Self = Self {
        transfers: 0,
        restarts: 0,
        bytes: 0,
        wait_us: 0,
    };

    /// A write of a register of `width` bytes; `checked`, with a check byte.
    #[must_use]
    pub const fn write(width: u32, checked: bool) -> Self {
        Self {
            transfers: 1,
            // Address and pointer.
            bytes: width.saturating_add(2).saturating_add(checked as u32),
            ..Self::NONE
        }
    }

    /// A read of `len` bytes; `checked`, with a check byte.
    #[must_use]
    pub const fn read(len: u32, checked: bool) -> Self {
        Self {
            transfers: 1,
            restarts: 1,
            // Address, pointer, and the address once more.
            bytes: len.saturating_add(3).saturating_add(checked as u32),
            ..Self::NONE
        }
    }

    /// A read of `len` bytes, before whose repeated START `written` bytes go out, the pointer not counted.
    #[must_use]
    pub const fn ask(written: u32, len: u32, checked: bool) -> Self {
        let read = Self::read(len, checked);
        Self {
            bytes: read.bytes.saturating_add(written),
            ..read
        }
    }

    /// A write and its read-back.
    #[must_use]
    pub const fn put(width: u32, checked: bool) -> Self {
        Self::write(width, checked).then(Self::read(width, checked))
    }

    /// A wait.
    #[must_use]
    pub const fn wait(us: u32) -> Self {
        Self {
            wait_us: us,
            ..Self::NONE
        }
    }

    /// One pass of a step; `checked`, where writes carry a check byte.
    #[must_use]
    pub fn of(step: &Step, checked: bool) -> Self {
        let width = |command: &super::Command| command.data().len() as u32; // at most nine
        match step {
            Step::Write(command) | Step::WriteStamped(command) | Step::WriteOnce(command) => {
                Self::write(width(command), checked)
            }
            Step::Put(command) => Self::put(width(command), checked),
            Step::Read(read) => Self::read(u32::from(read.len), read.check),
            Step::Ask(ask) => {
                let read = ask.read();
                let data = ask.bytes().len().saturating_sub(1) as u32; // at most three
                Self::ask(data, u32::from(read.len), read.check)
            }
            Step::Wait(us) => Self::wait(*us),
            Step::Done => Self::NONE,
        }
    }

    /// This, and `other` after it.
    #[must_use]
    pub const fn then(self, other: Self) -> Self {
        Self {
            transfers: self.transfers.saturating_add(other.transfers),
            restarts: self.restarts.saturating_add(other.restarts),
            bytes: self.bytes.saturating_add(other.bytes),
            wait_us: self.wait_us.saturating_add(other.wait_us),
        }
    }

    /// This so many times.
    #[must_use]
    pub const fn times(self, count: u32) -> Self {
        Self {
            transfers: self.transfers.saturating_mul(count),
            restarts: self.restarts.saturating_mul(count),
            bytes: self.bytes.saturating_mul(count),
            wait_us: self.wait_us.saturating_mul(count),
        }
    }

    /// Microseconds from the first START until the operation is over, at the most, rounded up; `u64::MAX` for a bus that does not run.
    ///
    /// Each transfer may have to be made again `repeats` times. A byte takes nine clocks; START, STOP and the free time behind it together two, a repeated START two more.
    /// What a controller pauses between bytes, what targets stretch, what others keep the bus busy, and what the host's delays last longer than asked comes on top.
    ///
    /// # Source
    /// NXP UM10204, table of timing characteristics: tHD;STA + tLOW + tSU;STO + tBUF come to 17.4 µs of 10 µs clocks in standard mode, 3.8 of 2.5 in fast mode, 1.52 of 1 in fast mode plus;
    /// tLOW + tSU;STA + tHD;STA to 13.4, 2.5 and 1.02.
    #[must_use]
    pub const fn longest_us(&self, repeats: u8, bus_hz: u32) -> u64 {
        let framing = (self.transfers as u64).saturating_add(self.restarts as u64);
        let clocks = (self.bytes as u64)
            .saturating_mul(9)
            .saturating_add(framing.saturating_mul(2))
            .saturating_mul((repeats as u64).saturating_add(1));
        let Some(whole) = clocks.saturating_mul(1_000_000).checked_div(bus_hz as u64) else {
            return u64::MAX;
        };
        whole.saturating_add(1).saturating_add(self.wait_us as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_put_of_two_bytes_by_hand() {
        // 64 06 60 41 45, and 64 06 Sr 65 60 41 check: 11 bytes, two transfers, one repeated START.
        let put = Effort::put(2, true);
        assert_eq!((put.bytes, put.transfers, put.restarts), (11, 2, 1));
        // (11 × 9 + 3 × 2) clocks of 10 µs, and the rounding up.
        assert_eq!(put.longest_us(0, 100_000), 1_051);
        assert_eq!(put.then(Effort::wait(7)).longest_us(2, 100_000), 3_158);
        assert_eq!(put.longest_us(0, 0), u64::MAX);
        assert_eq!(put.times(u32::MAX).bytes, u32::MAX);
    }
}
