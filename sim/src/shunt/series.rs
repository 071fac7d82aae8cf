/// A series of preferred numbers: in which values resistors are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// Twelve values a decade.
    E12,
    /// Twenty-four.
    E24,
    /// Ninety-six.
    E96,
}

impl Series {
    /// Its values in one decade, ascending; the first is a power of ten.
    #[must_use]
    pub const fn decade(self) -> &'static [u16] {
        match self {
            Self::E12 => &E12,
            Self::E24 => &E24,
            Self::E96 => &E96,
        }
    }

    /// All its resistances within these, ascending, in nanoohms.
    pub fn between(self, least_nohm: u64, greatest_nohm: u64) -> impl Iterator<Item = u64> {
        // From 1 nΩ up: a decade's first value is 10 or 100 of whatever its last digit is worth.
        let first = u64::from(self.decade()[0]);
        let worth = (0..DECADES).map(|decade| 10_u64.pow(decade));
        worth
            .flat_map(move |one| {
                let values = self.decade().iter();
                values.map(move |value| u64::from(*value) * one / first)
            })
            .skip_while(move |nohm| *nohm < least_nohm)
            .take_while(move |nohm| *nohm <= greatest_nohm)
    }

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::E12 => "E12",
            Self::E24 => "E24",
            Self::E96 => "E96",
        }
    }
}

/// From 1 nΩ to 1 GΩ.
const DECADES: u32 = 18;

// IEC 60063:2015, table 1.
const E12: [u16; 12] = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82];
const E24: [u16; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];
// Table 2.
const E96: [u16; 96] = [
    100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143, 147, 150, 154,
    158, 162, 165, 169, 174, 178, 182, 187, 191, 196, 200, 205, 210, 215, 221, 226, 232, 237, 243,
    249, 255, 261, 267, 274, 280, 287, 294, 301, 309, 316, 324, 332, 340, 348, 357, 365, 374, 383,
    392, 402, 412, 422, 432, 442, 453, 464, 475, 487, 499, 511, 523, 536, 549, 562, 576, 590, 604,
    619, 634, 649, 665, 681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953,
    976,
];

#[cfg(test)]
mod tests {
    use super::*;

    /// E96 follows `round(100 × 10^(k/96))`, and E12 is every second value of E24 (IEC 60063).
    #[test]
    fn the_tables_follow_their_rules() {
        for (k, value) in (0_u16..).zip(E96) {
            let exact = 100.0 * 10_f64.powf(f64::from(k) / 96.0);
            assert_eq!(f64::from(value), exact.round(), "E96[{k}]");
        }
        assert!(E12.iter().eq(E24.iter().step_by(2)));
    }

    /// From 100 µΩ to 10 Ω are five decades and one value.
    #[test]
    fn values_of_all_decades() {
        for series in [Series::E12, Series::E24, Series::E96] {
            let all: Vec<u64> = series.between(100_000, 10_000_000_000).collect();
            assert_eq!(all.len(), 5 * series.decade().len() + 1);
            assert!(all.windows(2).all(|pair| pair[0] < pair[1]));
            assert_eq!((all[0], all[all.len() - 1]), (100_000, 10_000_000_000));
        }
        let e96: Vec<u64> = Series::E96.between(4_500_000, 4_700_000).collect();
        assert_eq!(e96, [4_530_000, 4_640_000]);
    }
}
