//! What is put into a cell of a table that is changed.

use jiff::civil::{Date, date};

/// What is put into a cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Value {
    Text(String),
    Number(f64),
    Count(i64),
    Day(Date),
}

impl Value {
    pub(crate) fn text(&self) -> String {
        match self {
            Value::Text(text) => text.clone(),
            Value::Number(number) => number.to_string(),
            Value::Count(count) => count.to_string(),
            Value::Day(day) => day.to_string(),
        }
    }

    pub(crate) fn number(&self) -> Option<f64> {
        if let Value::Number(number) = self { Some(*number) } else { None }
    }

    pub(crate) fn count(&self) -> Option<i64> {
        if let Value::Count(count) = self { Some(*count) } else { None }
    }

    /// Days since 1970-01-01.
    pub(crate) fn days(&self) -> Option<i64> {
        let day = match self {
            Value::Day(day) => *day,
            Value::Text(text) => text.parse().ok()?,
            Value::Number(_) | Value::Count(_) => return None,
        };
        Some(i64::from(day.since(date(1970, 1, 1)).ok()?.get_days()))
    }
}
