//! The page's parts on a whole fleet: who is urgent, and the calendar.

use std::fmt::Write as _;

use jiff::civil::Date;

use super::draft::Draft;
use super::table::Cell;
use super::wing;
use crate::forecast::DueTable;
use crate::report::build::Entry;
use crate::report::figures::{calendar_figure, workload_figure};
use crate::report::month::Month;
use crate::report::{ReportError, words};
use crate::trim::{Trim, Verdict};

/// What the fleet needs, in a few figures.
pub(super) fn glance(draft: &mut Draft, entries: &[Entry<'_>], today: Date) {
    let with = |verdict| {
        entries.iter().filter(|entry| entry.trim.is_some_and(|trim| words::verdicts(trim, verdict) > 0)).count()
    };
    let due = |entry: &&Entry<'_>| entry.due.is_some_and(|row| row.is_due(today));
    let to_adjust = entries.iter().filter(|entry| entry.plan.is_some_and(|plan| !plan.plan.actions.is_empty()));
    let mut facts = vec![
        (entries.iter().filter(due).count(), "due for a check now"),
        (with(Verdict::Outside), "with lines outside tolerance"),
        (with(Verdict::Undecided), "with lines to measure again"),
        (entries.iter().filter(|entry| entry.trim.is_none()).count(), "without a usable check"),
    ];
    if entries.iter().any(|entry| entry.plan.is_some()) {
        facts.insert(2, (to_adjust.count(), "that an adjustment would help"));
    }
    draft.raw("<ul class=\"glance\" aria-label=\"At a glance\">\n");
    for (n, what) in facts {
        let noun = if n == 1 { "wing" } else { "wings" };
        let _ = writeln!(draft.html, "<li><b>{n}</b> {noun} {what}</li>");
    }
    draft.raw("</ul>\n");
}

/// All wings in order of urgency.
pub(super) fn urgent(draft: &mut Draft, entries: &[Entry<'_>], today: Date) {
    let rows: Vec<Vec<Cell>> = entries
        .iter()
        .enumerate()
        .map(|(place, entry)| {
            let trim = entry.trim;
            let outside = trim.map_or(0, |trim| words::verdicts(trim, Verdict::Outside));
            let lines = trim.map_or_else(
                || "–".to_owned(),
                |trim| format!("{outside} / {}", words::verdicts(trim, Verdict::Undecided)),
            );
            let next = entry.due.map_or_else(|| "–".to_owned(), |row| words::due(row, today));
            let now = entry.due.is_some_and(|row| row.is_due(today));
            let next = if now { Cell::short(next).marked() } else { Cell::short(next) };
            let lines = if outside > 0 { Cell::figure(lines).marked() } else { Cell::figure(lines) };
            let risk = entry.due.and_then(|row| row.risk_now).map_or_else(|| "–".to_owned(), words::chance);
            vec![
                Cell::words(entry.wing).linked(&wing::anchor(place)),
                Cell::words(entry.model),
                next,
                Cell::short(entry.due.map_or("–", |row| words::reason(row.reason))),
                Cell::figure(risk),
                lines,
                Cell::short(trim.map_or_else(|| "–".to_owned(), worst_line)),
                Cell::figure(
                    trim.map_or_else(|| "–".to_owned(), |trim| words::interval(&trim.incidence_change_deg, 2)),
                ),
                Cell::short(entry.check.map_or_else(
                    || "–".to_owned(),
                    |check| format!("{}, {} h", check.date, words::number(check.hours_h, 0)),
                )),
            ]
        })
        .collect();
    draft.open("fleet", "Who is urgent");
    draft.table(
        "State and next check of each wing, the most urgent first",
        &[
            "Wing",
            "Model",
            "Next check",
            "Because",
            "Chance over a limit",
            "Lines outside / undecided",
            "Worst line, mm",
            "Incidence change, \u{b0} (95 %)",
            "Last check",
        ],
        &rows,
    );
    draft.close();
}

/// The line that uses most of its tolerance.
fn worst_line(trim: &Trim) -> String {
    let share = |deviation: f64, tolerance: f64| deviation.abs() / tolerance.max(f64::MIN_POSITIVE);
    trim.lines
        .iter()
        .max_by(|a, b| share(a.relative_mm, a.tolerance_mm).total_cmp(&share(b.relative_mm, b.tolerance_mm)))
        .map_or_else(
            || "–".to_owned(),
            |line| format!("{} {} {}", line.line, line.side, words::signed(line.relative_mm, 1)),
        )
}

/// When checks fall due.
pub(super) fn calendar(
    draft: &mut Draft,
    due: &DueTable,
    entries: &[Entry<'_>],
    today: Date,
) -> Result<(), ReportError> {
    draft.open("calendar", "Calendar of checks due");
    if let Some(figure) = workload_figure(due, today)? {
        draft.whole("Checks due per month", "Overdue ones stand in the first month.", "workload", figure);
    }
    if let Some(figure) = calendar_figure(due, today)? {
        let key = "Dot: the expected day. Bar: from the day by which one wing in ten is due to that by which nine in ten are, \
                   as its usage is uncertain; an arrowhead where it goes on outside the picture. Ring at the edge: a day outside the \
                   picture, given at the right. Cross: over its accepted risk already.";
        draft.whole("Wing by wing", key, "calendar-wings", figure);
    }
    let mut months: Vec<(String, Vec<String>)> = Vec::new();
    let mut dated: Vec<(Date, &Entry<'_>)> =
        entries.iter().filter_map(|entry| Some((entry.due?.due_date?.max(today), entry))).collect();
    dated.sort_by_key(|(date, _)| *date);
    for (date, entry) in dated {
        let month = Month::of(date).to_string();
        let day = if date == today { "now".to_owned() } else { format!("{:02}", date.day()) };
        let told = format!("{} ({day})", entry.wing);
        match months.last_mut() {
            Some((last, wings)) if *last == month => wings.push(told),
            _ => months.push((month, vec![told])),
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
    let rows: Vec<Vec<Cell>> = months
        .into_iter()
        .map(|(month, wings)| {
            vec![Cell::words(month), Cell::figure(wings.len().to_string()), Cell::long(wings.join(", "))]
        })
        .collect();
    draft.table("Wings by month (day of the month)", &["Month", "Checks", "Wings"], &rows);
    draft.close();
    Ok(())
}
