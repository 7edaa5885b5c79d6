//! One cell of a table, and what a value must be.

use std::borrow::Cow;
use std::fmt;

use jiff::Span;
use jiff::civil::{Date, date};

/// No length, load, time or temperature of a wing is larger, whatever its unit; sums of such numbers stay finite.
const LARGEST: f64 = 1e9;

/// What is in a cell that is not empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell<'a> {
    Text(&'a str),
    Number(f64),
    Count(i64),
    /// Days since 1970-01-01.
    Day(i64),
    Truth(bool),
}

/// The range a number must lie in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Limit {
    Any,
    NotNegative,
    Positive,
    /// 0 … 1.
    Fraction,
    /// Newtons that a line can be measured under.
    Load,
    /// Degrees Celsius that a loft can have.
    Celsius,
    /// Millimetres that a line can be long.
    LineLength,
}

/// Why a cell is not what its column asks for: the words after "expected".
pub(crate) type Expected = &'static str;

impl<'a> Cell<'a> {
    /// The cell as text; whole numbers without a decimal point.
    pub(crate) fn text(self) -> Cow<'a, str> {
        match self {
            Cell::Text(text) => Cow::Borrowed(text),
            other => Cow::Owned(other.to_string()),
        }
    }

    /// The cell as a finite number in its range.
    pub(crate) fn number(self, limit: Limit) -> Result<f64, Expected> {
        let number = match self {
            Cell::Number(number) => number,
            Cell::Count(count) => count as f64,
            Cell::Text(text) => text.parse().map_err(|_| why_not_a_number(text))?,
            Cell::Day(_) | Cell::Truth(_) => return Err("a number"),
        };
        if !number.is_finite() {
            return Err("a finite number");
        }
        if number.abs() > LARGEST {
            return Err("a number of a size that can be (at most 1e9)");
        }
        match limit {
            Limit::NotNegative if number < 0.0 => Err("a number that is not negative"),
            Limit::Positive if number <= 0.0 => Err("a number above 0"),
            Limit::Load if !(10.0..=500.0).contains(&number) => Err(if number < 0.0 {
                "a number that is not negative"
            } else if (1.0..10.0).contains(&number) {
                "newtons, 10 to 500 (kilograms hung up times 10: 5 kg are 50 N)"
            } else {
                "newtons, 10 to 500 (5 kg hung up are 50 N)"
            }),
            Limit::Celsius if !(-40.0..=60.0).contains(&number) => Err(if number > 200.0 {
                "degrees Celsius, -40 to 60 (kelvin less 273)"
            } else {
                "degrees Celsius, -40 to 60 (68 Fahrenheit are 20 Celsius)"
            }),
            Limit::LineLength if !(1000.0..=15_000.0).contains(&number) => Err(if number <= 0.0 {
                "a number above 0"
            } else if (10.0..1000.0).contains(&number) {
                "millimetres of a whole line, 1000 to 15000 (this one may be in centimetres)"
            } else if (1.0..10.0).contains(&number) {
                "millimetres of a whole line, 1000 to 15000 (this one may be in metres)"
            } else {
                "millimetres of a whole line, 1000 to 15000"
            }),
            Limit::Fraction if !(0.0..=1.0).contains(&number) => Err("a number from 0 to 1"),
            _ => Ok(number),
        }
    }

    /// The cell as a whole number from 1.
    pub(crate) fn count(self) -> Result<u32, Expected> {
        if let Cell::Text(text) = self
            && let Ok(count @ 1..) = text.parse()
        {
            return Ok(count);
        }
        let number = self.number(Limit::Any)?;
        // the cast is exact: the value is whole and in range
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        if number.fract() == 0.0 && (1.0..=f64::from(u32::MAX)).contains(&number) {
            Ok(number as u32)
        } else {
            Err("a whole number from 1")
        }
    }

    /// The cell as a calendar day.
    pub(crate) fn day(self) -> Result<Date, Expected> {
        match self {
            Cell::Day(days) => Span::new()
                .try_days(days)
                .and_then(|span| date(1970, 1, 1).checked_add(span))
                .map_err(|_| "a date as YYYY-MM-DD"),
            // the length keeps out times of day, which the parser would drop
            Cell::Text(text) if text.len() == 10 => text.parse().map_err(|_| "a date as YYYY-MM-DD"),
            _ => Err("a date as YYYY-MM-DD"),
        }
    }

    /// The cell as `true` or `false`.
    pub(crate) fn truth(self) -> Result<bool, Expected> {
        match self {
            Cell::Truth(truth) => Ok(truth),
            Cell::Text(text) if text.eq_ignore_ascii_case("true") => Ok(true),
            Cell::Text(text) if text.eq_ignore_ascii_case("false") => Ok(false),
            _ => Err("true or false"),
        }
    }
}

impl fmt::Display for Cell<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Cell::Text(text) => f.write_str(text),
            Cell::Number(number) => write!(f, "{number}"),
            Cell::Count(count) => write!(f, "{count}"),
            Cell::Truth(truth) => write!(f, "{truth}"),
            Cell::Day(days) => match self.day() {
                Ok(day) => write!(f, "{day}"),
                Err(_) => write!(f, "{days} days since 1970"),
            },
        }
    }
}

fn why_not_a_number(text: &str) -> Expected {
    if text.contains(',') && text.replace(',', ".").trim().parse::<f64>().is_ok() {
        "a number with a decimal point (this one has a decimal comma)"
    } else if text.trim().parse::<f64>().is_ok() {
        "a number without blanks around it"
    } else {
        "a number"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_say_what_they_should_have_been() {
        assert_eq!(Cell::Text("1234.5").number(Limit::Any), Ok(1234.5));
        assert!(Cell::Text("1234,5").number(Limit::Any).unwrap_err().contains("decimal comma"));
        assert!(Cell::Text(" 7").number(Limit::Any).unwrap_err().contains("blanks"));
        assert!(Cell::Text("1e308").number(Limit::Any).unwrap_err().contains("size"));
        assert!(Cell::Text("NaN").number(Limit::Any).unwrap_err().contains("finite"));
        assert!(Cell::Number(f64::INFINITY).number(Limit::Any).unwrap_err().contains("finite"));
        assert!(Cell::Count(-1).number(Limit::NotNegative).is_err());
        assert!(Cell::Text("0").number(Limit::Positive).is_err());
        assert!(Cell::Text("1.01").number(Limit::Fraction).is_err());
        for (value, limit, hint) in [
            ("5", Limit::Load, "kilograms"),
            ("5000", Limit::Load, "50 N"),
            ("68", Limit::Celsius, "Fahrenheit"),
            ("293", Limit::Celsius, "kelvin"),
            ("712.4", Limit::LineLength, "centimetres"),
            ("7.124", Limit::LineLength, "metres"),
            ("71240", Limit::LineLength, "15000"),
        ] {
            assert!(Cell::Text(value).number(limit).unwrap_err().contains(hint), "{value}");
        }
        assert_eq!(Cell::Text("50").number(Limit::Load), Ok(50.0));
        assert_eq!(Cell::Text("2.0").count(), Ok(2));
        for wrong in ["0", "-1", "1.5", "4294967296"] {
            assert!(Cell::Text(wrong).count().is_err(), "{wrong}");
        }
        assert_eq!(Cell::Day(19_207).day(), Ok(date(2022, 8, 3)));
        assert!(Cell::Day(i64::MAX).day().is_err());
        assert!(Cell::Day(i64::from(i32::MAX)).day().is_err());
        for wrong in ["2022-02-30", "03.08.2022", "2022-08-03T10:00", "20220803", "2022-8-3"] {
            assert!(Cell::Text(wrong).day().is_err(), "{wrong}");
        }
        assert_eq!(Cell::Text("TRUE").truth(), Ok(true));
        assert!(Cell::Text("yes").truth().is_err());
    }
}
