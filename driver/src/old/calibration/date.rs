use core::fmt;

/// A day of the Gregorian calendar, from 2000-01-01 to 9999-12-31.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Date {
    /// A day by year, month from 1 and day from 1; `None` if there is no such day, or it lies outside the range.
    ///
    /// ```
    /// use crake::old::calibration::Date;
    ///
    /// assert!(Date::new(2028, 2, 29).is_some());
    /// assert!(Date::new(2100, 2, 29).is_none());
    /// ```
    #[must_use]
    pub const fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        if year < 2000 || year > 9999 || day == 0 || day > days(year, month) {
            return None;
        }
        Some(Self { year, month, day })
    }

    /// Year, 2000 to 9999.
    #[must_use]
    pub const fn year(self) -> u16 {
        self.year
    }

    /// Month, 1 to 12.
    #[must_use]
    pub const fn month(self) -> u8 {
        self.month
    }

    /// Day of the month, 1 to 31.
    #[must_use]
    pub const fn day(self) -> u8 {
        self.day
    }
}

/// Days in a month; none if there is no such month.
const fn days(year: u16, month: u8) -> u8 {
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 if year.is_multiple_of(400) || (year.is_multiple_of(4) && !year.is_multiple_of(100)) => {
            29
        }
        2 => 28,
        _ => 0,
    }
}

/// As ISO 8601 writes it: `2031-04-09`.
impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::Date;
    use std::format;

    /// 400 years of the Gregorian calendar have 146 097 days.
    #[test]
    fn four_centuries_have_their_days() {
        let mut count = 0;
        for year in 2000..2400 {
            for month in 0..=13 {
                for day in 0..=32 {
                    count += u32::from(Date::new(year, month, day).is_some());
                }
            }
        }
        assert_eq!(count, 146_097);
    }

    #[test]
    fn days_outside_the_range_are_refused() {
        assert_eq!(Date::new(1999, 12, 31), None);
        assert_eq!(Date::new(10_000, 1, 1), None);
        assert!(Date::new(9999, 12, 31) > Date::new(2000, 1, 1));
        let date = Date::new(2031, 4, 9).unwrap();
        assert_eq!(format!("{date}"), "2031-04-09");
        assert_eq!((date.year(), date.month(), date.day()), (2031, 4, 9));
    }
}
