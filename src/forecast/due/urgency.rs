//! Which wing comes first.

use std::cmp::Ordering;

use jiff::civil::Date;

use crate::forecast::{DueRow, Reason};

impl DueRow {
    /// Whether the check is due as seen on a day: a limit is over its accepted risk already, or the date has come. A wing
    /// without a date is not due before its hours are known.
    #[must_use]
    pub fn is_due(&self, today: Date) -> bool {
        self.reason == Reason::AlreadyOver || self.due_date.is_some_and(|date| date <= today)
    }

    /// Order of urgency of two wings, each with how many of its lines were outside tolerance at its last check (0 where that
    /// is not known): limits already crossed first, then the nearest date, then the highest chance in whole per cent that a
    /// limit is crossed already, then the most lines outside, then the fewest hours left, then the name.
    #[must_use]
    pub fn urgency(&self, lines_outside: usize, other: &Self, other_lines_outside: usize) -> Ordering {
        let over = |row: &Self| row.reason != Reason::AlreadyOver;
        let date = |row: &Self| row.due_date.unwrap_or(Date::MAX);
        // draws know a chance to about a point
        let points = |row: &Self| (100.0 * row.risk_now.unwrap_or(0.0)).round();
        let left = |row: &Self| row.due_hours - row.hours_now;
        over(self)
            .cmp(&over(other))
            .then(date(self).cmp(&date(other)))
            .then(points(other).total_cmp(&points(self)))
            .then(other_lines_outside.cmp(&lines_outside))
            .then(left(self).total_cmp(&left(other)))
            .then_with(|| self.wing.cmp(&other.wing))
    }
}
