//! Days and hours as people write them.

use jiff::civil::Date;

use super::words::{MONTHS, folded};

/// What a text that should be a day says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WrittenDay {
    /// A day.
    Day(Date),
    /// Day and month may be exchanged: read day first, and read month first.
    Either {
        /// As day, month, year.
        day_first: Date,
        /// As month, day, year.
        month_first: Date,
    },
    /// No day.
    Not,
}

/// The day in a text: `2026-04-03`, `3.4.2026`, `3 April 2026`, `25/03/2026`. Of `03/04/2026` both readings are given.
///
/// ```
/// use linedrift::fleet::spreadsheet::{WrittenDay, written_day};
///
/// assert_eq!(written_day("03.04.2026"), WrittenDay::Day("2026-04-03".parse()?));
/// assert!(matches!(written_day("03/04/2026"), WrittenDay::Either { .. }));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn written_day(text: &str) -> WrittenDay {
    let text = text.trim();
    if let Ok(day) = text.parse::<Date>() {
        return WrittenDay::Day(day);
    }
    if let Some(day) = text.get(..10).and_then(|head| head.parse::<Date>().ok())
        && text.get(10..).is_some_and(|rest| rest.starts_with([' ', 'T']))
    {
        return WrittenDay::Day(day);
    }
    // a day of the week in front says nothing more
    let text = match text.split_once(' ') {
        Some((word, rest))
            if word.chars().all(|letter| letter.is_alphabetic() || letter == ',' || letter == '.')
                && rest.starts_with(|letter: char| letter.is_ascii_digit()) =>
        {
            // in `March 14, 2026` it is the month
            if by_name(text).is_some() { text } else { rest }
        }
        _ => text,
    };
    for mark in ['.', '/', '-'] {
        let parts: Vec<&str> = text.split(mark).map(str::trim).collect();
        let numbers: Option<Vec<i16>> = parts.iter().map(|part| part.parse().ok()).collect();
        let Some([first, second, third]) = numbers.as_deref() else { continue };
        if parts.first().is_some_and(|year| year.len() == 4) {
            return made(*first, *second, *third).map_or(WrittenDay::Not, WrittenDay::Day);
        }
        let year = full_year(parts[2], *third);
        let day_first = made(year, *second, *first);
        let month_first = made(year, *first, *second);
        return match (day_first, month_first, mark) {
            // dots are in dates that begin with the day
            (Some(day), _, '.') | (Some(day), None, _) | (None, Some(day), '/' | '-') => WrittenDay::Day(day),
            (Some(day), Some(other), _) if day == other => WrittenDay::Day(day),
            (Some(day_first), Some(month_first), _) => WrittenDay::Either { day_first, month_first },
            (None, ..) => WrittenDay::Not,
        };
    }
    by_name(text).map_or(WrittenDay::Not, WrittenDay::Day)
}

/// Days of the week that begin like a month.
const TUESDAYS: [&str; 3] = ["mardi", "martes", "martedi"];

/// `3 April 2026`, `April 3, 2026`, `3. März 2026`.
fn by_name(text: &str) -> Option<Date> {
    let words = folded(text);
    let mut month = None;
    let mut numbers = Vec::new();
    for word in words.split(' ') {
        if let Ok(number) = word
            .trim_end_matches("st")
            .trim_end_matches("nd")
            .trim_end_matches("rd")
            .trim_end_matches("th")
            .parse::<i16>()
        {
            numbers.push((word, number));
        } else if TUESDAYS.contains(&word) {
        } else if let Some(at) = MONTHS.iter().position(|names| names.iter().any(|name| word.starts_with(name))) {
            month = month.is_none().then_some(at);
        }
    }
    let month = i16::try_from(month? + 1).ok()?;
    match numbers.as_slice() {
        [(_, day), (word, year)] => made(full_year(word, *year), month, *day),
        _ => None,
    }
}

fn full_year(text: &str, year: i16) -> i16 {
    if text.len() <= 2 { 2000 + year } else { year }
}

fn made(year: i16, month: i16, day: i16) -> Option<Date> {
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok().filter(|day| day.year() > 1970)
}

/// Hours as people write them: `62.5`, `62,5 h`, `62:30`.
///
/// ```
/// use linedrift::fleet::spreadsheet::written_hours;
/// assert_eq!(written_hours("62,5 h"), Some(62.5));
/// assert_eq!(written_hours("62:30"), Some(62.5));
/// assert_eq!(written_hours("62h30"), Some(62.5));
/// assert_eq!(written_hours("many"), None);
/// ```
#[must_use]
pub fn written_hours(text: &str) -> Option<f64> {
    let text = text.trim().to_lowercase();
    let plain = ["hours", "hour", "stunden", "heures", "horas", "ore", "std.", "std", "hrs", "h"]
        .iter()
        .find_map(|unit| text.strip_suffix(unit))
        .unwrap_or(&text)
        .trim();
    if let Some((hours, minutes)) = plain.split_once([':', 'h']) {
        let (hours, minutes): (f64, f64) =
            (hours.trim().parse().ok()?, minutes.trim().trim_end_matches("min").trim().parse().ok()?);
        return (minutes < 60.0 && hours >= 0.0).then_some(hours + minutes / 60.0);
    }
    let hours: f64 = plain.replace(',', ".").parse().ok()?;
    (hours.is_finite() && hours >= 0.0).then_some(hours)
}

/// The day by this machine's clock, in UTC; with `SOURCE_DATE_EPOCH` (seconds since 1970) set, the day that it says, so that the same call
/// writes the same.
#[must_use]
pub fn today() -> Date {
    let set = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|seconds| seconds.trim().parse().ok());
    let set = set.and_then(|seconds| jiff::Timestamp::from_second(seconds).ok());
    set.unwrap_or_else(jiff::Timestamp::now).to_zoned(jiff::tz::TimeZone::UTC).date()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_as_people_write_them() {
        let day: Date = "2026-03-01".parse().unwrap();
        for text in [
            "2026-03-01",
            "01.03.2026",
            "1.3.26",
            "1. März 2026",
            "March 1, 2026",
            "1 mars 2026",
            "2026-03-01 00:00:00",
            "2026/3/1",
            "1st March 2026",
            "Sunday, 1 March 2026",
            "domenica 1.3.2026",
            "le 1 mars 2026",
            "20260301",
            "1-Mar-26",
        ] {
            assert_eq!(written_day(text), WrittenDay::Day(day), "{text}");
        }
        assert_eq!(written_day("25/03/2026"), written_day("2026-03-25"));
        assert_eq!(written_day("03/25/2026"), written_day("2026-03-25"));
        assert!(matches!(written_day("03/04/2026"), WrittenDay::Either { .. }));
        for text in ["31.02.2026", "yesterday", "", "2026", "13.13.2026", "March"] {
            assert_eq!(written_day(text), WrittenDay::Not, "{text}");
        }
    }
}
