//! A calendar month, counted.

use std::fmt;

use jiff::civil::Date;

use crate::forecast::MonthLoad;

/// A calendar month: months since that before the first of year 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Month(i32);

impl Month {
    fn new(year: i16, month: i8) -> Self {
        Self(i32::from(year) * 12 + i32::from(month) - 1)
    }

    /// The month of a day.
    pub(super) fn of(date: Date) -> Self {
        Self::new(date.year(), date.month())
    }

    /// So many months later.
    pub(super) fn plus(self, months: i32) -> Self {
        Self(self.0 + months)
    }

    /// Months from another one to this one.
    pub(super) fn since(self, other: Self) -> i32 {
        self.0 - other.0
    }

    /// Its first day; `None` where the calendar ends.
    pub(super) fn first_day(self) -> Option<Date> {
        let (year, month) = (self.0.div_euclid(12), self.0.rem_euclid(12) + 1);
        Date::new(i16::try_from(year).ok()?, i8::try_from(month).ok()?, 1).ok()
    }
}

impl From<&MonthLoad> for Month {
    fn from(load: &MonthLoad) -> Self {
        Self::new(load.year, load.month)
    }
}

/// Year and month, such as `2026-03`.
impl fmt::Display for Month {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.0.div_euclid(12), self.0.rem_euclid(12) + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_go_over_the_turn_of_the_year() {
        let november = Month::of(Date::constant(2026, 11, 30));
        assert_eq!(november.plus(2).to_string(), "2027-01");
        assert_eq!(november.plus(2).first_day(), Some(Date::constant(2027, 1, 1)));
        assert_eq!(november.plus(-11).to_string(), "2025-12");
        assert_eq!(november.plus(14).since(november), 14);
        assert_eq!(Month::of(Date::MAX).plus(1).first_day(), None);
    }
}
