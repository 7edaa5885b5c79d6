//! The next checks as a calendar, and how many fall in each month.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::check::DEMO_NOTE;
use crate::forecast::DueTable;
use crate::wing::{harmless_csv_cell, is_hidden};

/// Longest content line of an iCalendar file, octets (RFC 5545, section 3.1, from memory).
const LINE_OCTETS: usize = 75;

/// What every event says besides its explanation.
const CAUTION: &str = "This is a forecast from the fleet's past, not a promise that the wing is fit to fly until then: sand, \
                       salt, heat, water, a strong load or a repair is a reason to measure earlier.";

/// How many wings are due in one calendar month.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct MonthLoad {
    /// Calendar year.
    pub year: i16,
    /// Month, 1 to 12.
    pub month: i8,
    /// Wings due.
    pub wings: usize,
}

impl DueTable {
    /// How many wings are due in each calendar month that has any, in order. Wings due before `today` count for its month;
    /// wings without a date do not count.
    #[must_use]
    pub fn workload(&self, today: Date) -> Vec<MonthLoad> {
        let mut months: BTreeMap<(i16, i8), usize> = BTreeMap::new();
        for date in self.rows().iter().filter_map(|row| row.due_date) {
            let date = date.max(today);
            *months.entry((date.year(), date.month())).or_insert(0) += 1;
        }
        months.into_iter().map(|((year, month), wings)| MonthLoad { year, month, wings }).collect()
    }

    /// The checks as a CSV table, by date: `date, earliest, latest, wing, model, due_hours, reason, explanation,
    /// invented, caution`; `invented` is `true` for the bundled demo and `false` for any other fleet.
    /// Wings without a date come last. A text that a spreadsheet would run as a formula gets an apostrophe in front.
    #[must_use]
    pub fn calendar_csv(&self) -> String {
        let mut dated: Vec<(Date, usize)> =
            self.rows().iter().enumerate().map(|(at, row)| (row.due_date.unwrap_or(Date::MAX), at)).collect();
        dated.sort_by_key(|(date, at)| (*date, *at));
        let mut out = String::from("date,earliest,latest,wing,model,due_hours,reason,explanation,invented,caution\n");
        let day = |date: Option<Date>| date.map_or_else(String::new, |date| date.to_string());
        for (_, at) in dated {
            let (row, detail) = (&self.rows()[at], &self.details()[at]);
            let cells = [
                day(row.due_date),
                day(detail.earliest_date),
                day(detail.latest_date),
                harmless_csv_cell(&row.wing),
                harmless_csv_cell(&row.model),
                format!("{:.1}", row.due_hours),
                row.reason.name().to_owned(),
                harmless_csv_cell(&detail.explanation),
                self.is_demo().to_string(),
                harmless_csv_cell(CAUTION),
            ];
            out.push_str(&cells.join(","));
            out.push('\n');
        }
        out
    }

    /// The checks as an iCalendar file (RFC 5545): one all-day event for every wing, in the order of the table, with its
    /// explanation and a caution; those of the bundled demo say that they are invented. `stamp` is the day the file says it was
    /// made on: a check that is overdue, or has no date, stands on it.
    #[must_use]
    pub fn icalendar(&self, stamp: Date) -> String {
        let mut out = String::new();
        content(&mut out, "BEGIN:VCALENDAR");
        content(&mut out, "VERSION:2.0");
        content(&mut out, "PRODID:-//linedrift//due//EN");
        let (suffix, note) =
            if self.is_demo() { (" (invented)", format!(" {DEMO_NOTE}")) } else { ("", String::new()) };
        for (row, detail) in self.rows().iter().zip(self.details()) {
            let date = row.due_date.unwrap_or(stamp);
            let since = if date < stamp { format!(", overdue since {date}") } else { String::new() };
            content(&mut out, "BEGIN:VEVENT");
            content(&mut out, &format!("UID:{}-line-check@linedrift", escaped(&row.wing)));
            content(&mut out, &format!("DTSTAMP:{}T000000Z", compact(stamp)));
            content(&mut out, &format!("DTSTART;VALUE=DATE:{}", compact(date.max(stamp))));
            content(
                &mut out,
                &format!(
                    "SUMMARY:Line check of wing {} ({}){}{suffix}",
                    escaped(&row.wing),
                    escaped(&row.model),
                    escaped(&since)
                ),
            );
            let description = format!("{} {CAUTION}{note}", detail.explanation);
            content(&mut out, &format!("DESCRIPTION:{}", escaped(&description)));
            content(&mut out, "TRANSP:TRANSPARENT");
            content(&mut out, "END:VEVENT");
        }
        content(&mut out, "END:VCALENDAR");
        out
    }
}

fn compact(date: Date) -> String {
    format!("{:04}{:02}{:02}", date.year(), date.month(), date.day())
}

/// Text with its special letters escaped (RFC 5545, section 3.3.11, from memory).
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\\' | ';' | ',' => {
                out.push('\\');
                out.push(letter);
            }
            '\n' => out.push_str("\\n"),
            hidden if is_hidden(hidden) => {}
            plain => out.push(plain),
        }
    }
    out
}

/// One content line, folded between letters so that no line is longer than 75 octets.
fn content(out: &mut String, text: &str) {
    let mut used = 0;
    for letter in text.chars() {
        if used + letter.len_utf8() > LINE_OCTETS {
            out.push_str("\r\n ");
            used = 1;
        }
        used += letter.len_utf8();
        out.push(letter);
    }
    out.push_str("\r\n");
}
