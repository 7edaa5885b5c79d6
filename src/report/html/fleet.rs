//! The page's parts on a whole fleet: who is urgent, and the calendar.

use jiff::civil::Date;
use maud::{Markup, html};

use super::draft::{Draft, Layout, section};
use super::table::{Cell, table};
use super::wing;
use crate::forecast::DueTable;
use crate::report::build::Entry;
use crate::report::figures::{calendar_figure, workload_figure};
use crate::report::month::Month;
use crate::report::{ReportError, words};
use crate::trim::{Trim, TrimState, Verdict};

/// How many wings are in which state, and how many are due.
pub(super) fn glance(entries: &[Entry<'_>], today: Date) -> Markup {
    let in_state = |state| entries.iter().filter(|entry| entry.trim.is_some_and(|trim| trim.state == state)).count();
    let without = entries.iter().filter(|entry| entry.trim.is_none()).count() + in_state(TrimState::NotJudged);
    let facts = [
        (in_state(TrimState::Adjust), "to adjust"),
        (in_state(TrimState::MeasureAgain), "to measure again"),
        (in_state(TrimState::InTrim), "in trim"),
        (without, "without a usable check"),
        (
            entries.iter().filter(|entry| entry.due.is_some_and(|row| row.is_due(today))).count(),
            "due for a check now",
        ),
    ];
    html! {
        ul .glance aria-label="At a glance" {
            @for (n, what) in facts { li { b { (n) } " " (if n == 1 { "wing" } else { "wings" }) " " (what) } }
        }
    }
}

/// All wings in order of urgency; the first `own` have a part of their own to go to.
pub(super) fn urgent(entries: &[Entry<'_>], today: Date, own: usize) -> Markup {
    let rows: Vec<Vec<Cell>> =
        entries.iter().enumerate().map(|(place, entry)| urgent_row(entry, place, today, own)).collect();
    section(
        "fleet",
        "Who is urgent",
        &table(
            "State and next check of each wing, the most urgent first",
            &[
                "Wing",
                "State",
                "Next check",
                "Because of",
                "Lines outside",
                "Worst line, mm",
                "Incidence change, \u{b0} (95 %)",
                "Chance over a limit",
                "Last check",
                "Model",
            ],
            &rows,
        ),
    )
}

fn urgent_row(entry: &Entry<'_>, place: usize, today: Date, own: usize) -> Vec<Cell> {
    let dash = || "\u{2013}".to_owned();
    let trim = entry.trim;
    let outside = trim.map_or(0, |trim| words::verdicts(trim, Verdict::Outside));
    let next = entry.due.map_or_else(dash, |row| words::due(row, today));
    let risk = entry.due.and_then(|row| row.risk_now).map_or_else(dash, words::chance);
    let check = |check: &crate::check::Check| format!("{}, {} h", check.date, words::number(check.hours_h, 0));
    vec![
        Cell::words(entry.wing).linked((place < own).then(|| wing::anchor(place))),
        Cell::short(trim.map_or("\u{2013}", |trim| words::state(trim.state))),
        Cell::short(next).marked_when(|| entry.due.is_some_and(|row| row.is_due(today))),
        Cell::short(entry.due.map_or("\u{2013}", |row| words::reason(row.reason))),
        Cell::figure(trim.map_or_else(dash, |_| outside.to_string())).marked_when(|| outside > 0),
        Cell::short(trim.map_or_else(dash, worst_line)),
        Cell::figure(trim.map_or_else(dash, |trim| words::interval(&trim.incidence_change_deg, 2))),
        Cell::figure(risk),
        Cell::short(entry.check.map_or_else(dash, check)),
        Cell::short(entry.model),
    ]
}

/// The line that uses most of its tolerance.
fn worst_line(trim: &Trim) -> String {
    let share = |deviation: f64, tolerance: f64| deviation.abs() / tolerance.max(f64::MIN_POSITIVE);
    trim.lines
        .iter()
        .filter(|line| !line.doubted)
        .max_by(|a, b| share(a.relative_mm, a.tolerance_mm).total_cmp(&share(b.relative_mm, b.tolerance_mm)))
        .map_or_else(
            || "\u{2013}".to_owned(),
            |line| format!("{} {} {}", line.line, line.side, words::signed(line.relative_mm, 1)),
        )
}

/// When checks fall due.
pub(super) fn calendar(
    draft: &mut Draft,
    due: &DueTable,
    entries: &[Entry<'_>],
    today: Date,
) -> Result<Markup, ReportError> {
    let workload = draft.figures(
        Layout::Whole,
        "Checks due per month",
        "Overdue checks count in the first month.",
        "workload",
        workload_figure(due, today)?.into_iter().collect(),
    );
    let wings = draft.figures(
        Layout::Whole,
        "Wing by wing",
        "Dot: the expected day. Bar: from the day by which one wing in ten is due to the day by which nine in ten are, because how much \
         it will fly is not known. Arrowhead: the bar continues outside the picture. Ring at the edge: a day outside the picture, \
         given at the right. Cross: already over its accepted risk.",
        "calendar-wings",
        calendar_figure(due, today)?.into_iter().collect(),
    );
    let rows: Vec<Vec<Cell>> = by_month(entries, today)
        .into_iter()
        .map(|(month, wings)| {
            vec![Cell::words(month), Cell::figure(wings.len().to_string()), Cell::long(wings.join(", "))]
        })
        .collect();
    Ok(section(
        "calendar",
        "When checks fall due",
        &html! {
            (workload)
            details .more {
                summary { "Month by month, and wing by wing on a calendar" }
                (table("Wings by month (day of the month)", &["Month", "Checks", "Wings"], &rows))
                (wings)
            }
        },
    ))
}

fn by_month(entries: &[Entry<'_>], today: Date) -> Vec<(String, Vec<String>)> {
    let mut months: Vec<(String, Vec<String>)> = Vec::new();
    let mut dated: Vec<(Date, &Entry<'_>)> =
        entries.iter().filter_map(|entry| Some((entry.due?.due_date?.max(today), entry))).collect();
    dated.sort_by_key(|(date, _)| *date);
    for (date, entry) in dated {
        let month = Month::of(date).to_string();
        let day = if date == today { "now".to_owned() } else { format!("{:02}", date.day()) };
        let says = format!("{} ({day})", entry.wing);
        match months.last_mut() {
            Some((last, wings)) if *last == month => wings.push(says),
            _ => months.push((month, vec![says])),
        }
    }
    let undated: Vec<String> = entries
        .iter()
        .filter(|entry| entry.due.is_some_and(|row| row.due_date.is_none()))
        .map(|entry| entry.wing.to_owned())
        .collect();
    if !undated.is_empty() {
        months.push(("no date".to_owned(), undated));
    }
    months
}
