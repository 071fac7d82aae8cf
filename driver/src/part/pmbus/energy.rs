//! Mean power by an energy count (PMBus Part II, READ_EIN and READ_EOUT).

use super::Shown;
use super::declaration::PageMap;
use super::operations::within;
use crate::info::TICK_LOG2;

impl PageMap {
    /// Mean power since the sample before by the energy count; `None` where there is none, or where
    /// it cannot be relied on: energy that flows backwards is not in it, and a count may have come
    /// round. The time since that sample is in ticks.
    pub(super) fn mean(&self, shown: &Shown, elapsed: u32, sample_us: u32) -> Option<i64> {
        let period = u32::from(self.page.energy?.period);
        if shown.before == 0 || shown.codes.sense < 0 {
            return None;
        }
        let (counts, samples) = between(shown.before, shown.count, period);
        let most = u64::from(samples).wrapping_mul(self.most.into());
        // The samples make up the time: their count goes round, too, and may be of another stretch.
        let time_us = u64::from(elapsed) << TICK_LOG2;
        let makes_up = u64::from(samples.wrapping_add(2)).wrapping_mul(sample_us.into()) >= time_us;
        let known = makes_up && samples != 0 && most < u64::from(period) << 8;
        // More than every sample can have added: these two do not belong together.
        if !known || u64::from(counts) > most {
            return None;
        }
        let [.., energy] = &self.scales;
        let mean = energy.mean(counts.into(), samples);
        Some(within(mean, self.power_max()))
    }
}

/// Counts and samples between two readings: a count byte lowest, then accumulator of two bytes,
/// rollovers, samples of three. Rollovers wrap at 2^8, samples at 2^24.
fn between(before: u64, now: u64, period: u32) -> (u32, u32) {
    let counts = |block: u64| {
        let rollovers = (block >> 24) as u32 & 0xFF;
        let accumulator = (block >> 8) as u32 & 0xFFFF;
        rollovers.wrapping_mul(period).wrapping_add(accumulator)
    };
    let samples = (now >> 32).wrapping_sub(before >> 32) as u32 & 0x00FF_FFFF;
    let (now, before) = (counts(now), counts(before));
    let mut counts = now.wrapping_sub(before);
    if now < before {
        counts = counts.wrapping_add(period << 8);
    }
    (counts, samples)
}

#[cfg(test)]
mod tests {
    use super::super::gallinule::{DECLARATION, INFO};
    use super::{PageMap, Shown, between};

    /// Page 0 of Gallinule: 140 counts of 0.1 W over ten samples of 5 ms; power is in codes of 250
    /// nW. A count of samples that came round makes up no time, and neither does half of one.
    #[test]
    fn a_mean_is_believed_as_long_as_nothing_can_have_come_round() {
        let maps = PageMap::all::<4>(&INFO, DECLARATION.pages).unwrap();
        let block = |counts: u64, samples: u64| samples << 32 | counts << 8 | 6;
        let mut shown = Shown {
            before: block(1_000, 1_000),
            count: block(1_140, 1_010),
            ..Shown::NOTHING
        };
        let mean = |shown: &Shown, elapsed_us: u64| {
            maps[0].mean(shown, (elapsed_us >> 6) as u32, DECLARATION.sample_us)
        };
        assert_eq!(mean(&shown, 50_000), Some(1_400_000_000 / 250));
        assert_eq!(mean(&shown, (1 << 24) * 5_000 + 50_000), None);
        assert_eq!(mean(&shown, 100_000), None);
        // Backwards at either end.
        shown.codes.sense = -1;
        assert_eq!(mean(&shown, 50_000), None);
        shown.codes.sense = 0;
        shown.before = 0;
        assert_eq!(mean(&shown, 50_000), None);
    }

    /// docs/pmbus-device.md, A2.5: two published pairs and two computed ones.
    #[test]
    fn pairs_of_the_document() {
        let block = |[a, b, c, d, e, f]: [u8; 6]| u64::from_le_bytes([6, a, b, c, d, e, f, 0]);
        for (before, now, short, long, samples) in [
            (
                [0x88, 0x70, 0x01, 0x45, 0x01, 0x00],
                [0x1A, 0x7E, 0x01, 0x57, 0x01, 0x00],
                Some(3_474),
                3_474,
                18,
            ),
            (
                [0x53, 0x65, 0x0B, 0x4E, 0x0C, 0x00],
                [0x1F, 0x39, 0x0C, 0xFB, 0x0C, 0x00],
                Some(21_451),
                21_452,
                173,
            ),
            (
                [0x34, 0x12, 0x05, 0x10, 0x27, 0x00],
                [0x78, 0x56, 0x07, 0x10, 0x2B, 0x00],
                Some(83_010),
                83_012,
                1_024,
            ),
            (
                [0xF0, 0x7F, 0xFF, 0xF0, 0xFF, 0xFF],
                [0x10, 0x00, 0x01, 0x10, 0x00, 0x00],
                None,
                32_800,
                32,
            ),
        ] {
            let (before, now) = (block(before), block(now));
            assert_eq!(between(before, now, 32_768), (long, samples));
            if let Some(short) = short {
                assert_eq!(between(before, now, 32_767), (short, samples));
            }
        }
        // B5: the last accumulator of the shorter period is 7FFE; one count to 0, one more to 1.
        let (before, now) = (
            block([0xFE, 0x7F, 0xFF, 0, 0, 0]),
            block([1, 0, 0, 2, 0, 0]),
        );
        assert_eq!(between(before, now, 32_767), (2, 2));
    }
}
