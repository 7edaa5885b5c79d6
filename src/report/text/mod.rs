//! Reports for the terminal: plain tables within 80 columns.

use std::fmt::Write as _;

use jiff::civil::Date;

use super::build::{ReportData, WearSummary};
use super::words::{self, CAUTION_LINE, CAUTIONS};
use crate::check::DEMO_NOTE;
use crate::check::doubt::Doubts;
use crate::forecast::{DueRow, DueTable, WingDue};
use crate::trim::{Interval, LineChange, LineCounts, Trim, TrimChange, Verdict};
use crate::wing::{Side, shown};

/// Widest line of any text here.
const WIDTH: usize = 80;

/// The text cut to a width in characters, its end marked by `…` when something is left out. Characters that are
/// not seen, or could move the cursor, are shown as `?`.
pub(super) fn cut(text: &str, width: usize) -> String {
    let clean = shown(text);
    if clean.chars().count() <= width {
        return clean;
    }
    clean.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}

fn wrap(text: &str, indent: &str) -> String {
    let mut out = String::new();
    let mut line = String::from(indent);
    for word in text.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH && line.trim() != "" {
            out.push_str(line.trim_end());
            out.push('\n');
            line = " ".repeat(indent.chars().count());
        }
        line.push_str(word);
        line.push(' ');
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

fn plain(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "-".to_owned(), |value| words::signed(value, decimals).replace('\u{2212}', "-"))
}

fn range(interval: &Interval, decimals: usize) -> String {
    words::interval(interval, decimals).replace(['\u{2212}', '–'], "-")
}

/// The cautions in one line, with where to read them whole.
#[must_use]
pub fn cautions() -> String {
    format!("{CAUTION_LINE}\n")
}

/// The cautions whole, wrapped.
#[must_use]
pub fn all_cautions() -> String {
    CAUTIONS.iter().fold(String::new(), |out, caution| out + &wrap(caution, "- "))
}

/// One line that says that the data is the invented demo.
#[must_use]
pub fn demo_note() -> String {
    wrap(DEMO_NOTE, "")
}

/// Judged checks: state, diagnosis, rows, and the lines that are outside, doubtful or undecided.
#[must_use]
pub fn trims(trims: &[Trim]) -> String {
    let mut out = String::new();
    for trim in trims {
        let _ = writeln!(
            out,
            "Wing {}  check {}  {:.0} h  {}",
            cut(&trim.wing, 24),
            cut(&trim.check, 24),
            trim.hours,
            trim.stage
        );
        out.push_str(&wrap(&trim.summary, "  "));
        for one in &trim.diagnosis {
            out.push_str(&wrap(&one.text.replace('\u{2212}', "-"), "  - "));
        }
        out.push_str(&wrap(&words::counts(trim), "  "));
        out.push_str(&wrap(
            &format!(
                "common offset {} mm; incidence change {} deg (95 %); change of angle of attack {} deg, of trim speed {} %; left \
                 minus right {} deg",
                plain(trim.common_mm, 1),
                range(&trim.incidence_change_deg, 2),
                short_range(&trim.aoa_change_deg),
                short_range(&trim.speed_change_pct),
                plain(trim.asymmetry_deg.value, 2)
            ),
            "  ",
        ));
        let _ = writeln!(
            out,
            "  {:<9}{:<7}{:>9}{:>11}{:>7}{:>7}",
            "row", "side", "mean mm", "effect. mm", "se mm", "lines"
        );
        for row in &trim.rows {
            let _ = writeln!(
                out,
                "  {:<9}{:<7}{:>9}{:>11}{:>7.1}{:>7}",
                row.row,
                row.side,
                plain(Some(row.mean_mm), 1),
                plain(row.effective_mm, 1),
                row.se_mm,
                row.lines
            );
        }
        let differences = words::row_differences(trim);
        if !differences.is_empty() {
            let line = format!("row differences, mm (95 %): {}", differences.join(", "));
            out.push_str(&wrap(&line.replace('\u{2212}', "-"), "  "));
        }
        let sides = words::side_differences(trim);
        if !sides.is_empty() {
            let line = format!("left less right, mm (95 %): {}", sides.join(", "));
            out.push_str(&wrap(&line.replace('\u{2212}', "-"), "  "));
        }
        let listed =
            [(Some(Verdict::Outside), "outside"), (None, "doubtful"), (Some(Verdict::Undecided), "undecided")];
        for (verdict, name) in listed {
            let lines: Vec<String> = trim
                .lines
                .iter()
                .filter(|line| line.verdict == verdict)
                .map(|line| {
                    let side = if line.side == Side::Left { "L" } else { "R" };
                    format!("{} {side} {}", cut(&line.line, 12), plain(Some(line.relative_mm), 1))
                })
                .collect();
            if !lines.is_empty() {
                out.push_str(&wrap(&format!("{name} (mm): {}", lines.join(", ")), "  "));
            }
        }
        for note in &trim.notes {
            out.push_str(&wrap(&note.message, "  note: "));
        }
        out.push('\n');
    }
    out
}

/// A main that changed by less is not named, mm.
const MAIN_CHANGED_MM: f64 = 5.0;
/// Most lines listed of one change.
const CHANGED: usize = 16;

/// What changed from one check of a wing to the next, such as as found and as left: rows, incidence, and the lines that
/// were not within before or are not now.
#[must_use]
pub fn changes(changes: &[TrimChange]) -> String {
    let mut out = String::new();
    for change in changes {
        let _ = writeln!(
            out,
            "Wing {}  what changed from check {} to check {}",
            cut(&change.wing, 18),
            cut(&change.before, 16),
            cut(&change.after, 16)
        );
        let _ = writeln!(
            out,
            "  {:<9}{:<7}{:>10}{:>10}{:>11}{:>7}",
            "row", "side", "before mm", "after mm", "change mm", "se mm"
        );
        for row in &change.rows {
            let _ = writeln!(
                out,
                "  {:<9}{:<7}{:>10}{:>10}{:>11}{:>7.1}",
                row.row,
                row.side,
                plain(Some(row.before_mm), 1),
                plain(Some(row.after_mm), 1),
                plain(Some(row.change_mm), 1),
                row.se_mm
            );
        }
        let mains: Vec<String> = change
            .mains
            .iter()
            .filter(|main| main.change_mm.abs() > MAIN_CHANGED_MM.max(1.96 * main.se_mm))
            .map(|main| format!("{} {} {}", main.main, main.side, plain(Some(main.change_mm), 1)))
            .collect();
        if !mains.is_empty() {
            out.push_str(&wrap(&format!("mains changed, mm: {}", mains.join(", ")), "  "));
        }
        let line = format!(
            "common offset {} mm; incidence {} deg; left less right {} deg",
            plain(change.common_mm, 1),
            range(&change.incidence_deg, 2),
            range(&change.asymmetry_deg, 2)
        );
        out.push_str(&wrap(&line, "  "));
        let mut lines: Vec<&LineChange> = change
            .lines
            .iter()
            .filter(|line| line.before != Some(Verdict::Within) || line.after != Some(Verdict::Within))
            .collect();
        lines.sort_by(|a, b| b.change_mm.abs().total_cmp(&a.change_mm.abs()));
        let of = |verdict: fn(&LineChange) -> Option<Verdict>| {
            change.lines.iter().filter(|line| verdict(line) != Some(Verdict::Within)).count()
        };
        out.push_str(&wrap(
            &format!(
                "lines not within: {} before, {} after, of {}",
                of(|line| line.before),
                of(|line| line.after),
                change.lines.len()
            ),
            "  ",
        ));
        for line in lines.iter().take(CHANGED) {
            let side = if line.side == Side::Left { "L" } else { "R" };
            let _ = writeln!(
                out,
                "  {:<13}{:>7} -> {:>6} mm   {} -> {}",
                format!("{} {side}", cut(&line.line, 10)),
                plain(Some(line.before_mm), 1),
                plain(Some(line.after_mm), 1),
                line.before.map_or("doubtful", Verdict::name),
                line.after.map_or("doubtful", Verdict::name)
            );
        }
        if lines.len() > CHANGED {
            let _ = writeln!(out, "  and {} more", lines.len() - CHANGED);
        }
        if !change.unmatched.is_empty() {
            let _ = writeln!(
                out,
                "  read at one of the two checks only: {}",
                words::count(change.unmatched.len(), "line", "lines")
            );
        }
        out.push('\n');
    }
    out
}

/// Doubtful readings, a table over all checks, and what is doubtful about whole checks.
#[must_use]
pub fn doubts(doubts: &[Doubts]) -> String {
    let readings: usize = doubts.iter().map(Doubts::readings).sum();
    let found: usize = doubts.iter().map(|one| one.findings().len()).sum();
    let mut out = format!(
        "{} of {} in {} doubtful\n",
        found,
        words::count(readings, "reading", "readings"),
        words::count(doubts.len(), "check", "checks")
    );
    if found > 0 {
        out.push_str("Measure these again; nothing was changed. Lengths in mm.\n");
        let _ = writeln!(
            out,
            "{:<13}{:<6}{:<10}{:>9}{:>10}{:>6}  {:<15}{:>9}",
            "check", "side", "line", "read", "expected", "score", "probably", "right"
        );
    }
    for finding in doubts.iter().flat_map(Doubts::findings) {
        let right = finding.suggested_mm().map_or_else(|| "-".to_owned(), |mm| format!("{mm:.1}"));
        let _ = writeln!(
            out,
            "{:<13}{:<6}{:<10}{:>9.1}{:>10.1}{:>6.0}  {:<15}{:>9}",
            cut(&finding.check, 12),
            finding.side,
            cut(&finding.line, 9),
            finding.reading_mm,
            finding.expected_mm,
            finding.score,
            finding.kind(),
            right
        );
    }
    for one in doubts {
        for note in one.notes() {
            out.push_str(&wrap(&format!("check {}: {}", cut(one.check(), 24), note.message), "note: "));
        }
    }
    out
}

fn short_range(interval: &Interval) -> String {
    match (interval.lower, interval.upper) {
        (Some(_), Some(_)) => range(&Interval { value: None, ..*interval }, 2),
        _ => "-".to_owned(),
    }
}

/// The next checks, the most urgent first.
#[must_use]
pub fn due(table: &DueTable, today: Date) -> String {
    let mut sorted: Vec<&DueRow> = table.rows().iter().collect();
    sorted.sort_by(|a, b| a.urgency(0, b, 0));
    let mut out = format!("{:<14}{:>7}{:>7}  {:<11}{:>10}  because\n", "wing", "hours", "due h", "due", "risk now");
    for row in sorted {
        let date = match row.due_date {
            _ if row.is_due(today) => "now".to_owned(),
            Some(date) => date.to_string(),
            None => "-".to_owned(),
        };
        let _ = writeln!(
            out,
            "{:<14}{:>7.0}{:>7.0}  {:<11}{:>10}  {}",
            cut(&row.wing, 13),
            row.hours_now,
            row.due_hours,
            date,
            row.risk_now.map_or_else(|| "-".to_owned(), words::chance),
            words::reason(row.reason)
        );
    }
    out
}

/// When a wing must be checked next once a plan is done.
#[must_use]
pub fn due_after(due: &WingDue) -> String {
    format!("\nOnce this plan is done\n{}", wrap(&shown(&due.detail.explanation), "  "))
}

/// Checks due per calendar month, four months a line; those due before `today` count for its month.
#[must_use]
pub fn workload(table: &DueTable, today: Date) -> String {
    let months = table.workload(today);
    if months.is_empty() {
        return String::new();
    }
    let mut out = "\nChecks due per month\n".to_owned();
    for four in months.chunks(4) {
        let cells: Vec<String> =
            four.iter().map(|load| format!("{:04}-{:02} {:>6}", load.year, load.month, load.wings)).collect();
        let _ = writeln!(out, "  {}", cells.join("     "));
    }
    let undated = table.rows().iter().filter(|row| row.due_date.is_none()).count();
    if undated > 0 {
        let _ = writeln!(out, "  {} without a date", words::count(undated, "wing", "wings"));
    }
    out
}

/// The wear fit: rates with intervals, spreads, remarks.
#[must_use]
pub fn wear(fit: &WearSummary) -> String {
    let mut out = format!(
        "{} readings, {} wings, {} checks, {} lines ({} restarted)\nshape {}{}{}\n\n",
        fit.readings,
        fit.wings,
        fit.checks,
        fit.lines,
        fit.restarted_lines,
        fit.shape.name(),
        fit.shape.scale_h().map_or_else(String::new, |scale| format!(", scale {scale:.0} h")),
        if fit.converged { "" } else { "  NOT CONVERGED: do not use the figures below" }
    );
    let _ = writeln!(out, "{:<34}{:>9}{:>8}{:>19}", "term", "estimate", "se", "95 %");
    for term in &fit.terms {
        let interval = format!("{} to {}", plain(Some(term.lower), 3), plain(Some(term.upper), 3));
        let _ = writeln!(
            out,
            "{:<34}{:>9}{:>8.3}{:>19}",
            cut(&term.term, 33),
            plain(Some(term.estimate), 3),
            term.se,
            interval
        );
    }
    let _ = writeln!(out, "\n{:<12}{:<14}{:>9}{:>13}", "group", "effect", "sd", "correlation");
    for row in &fit.spread {
        let bare = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.3}"));
        let _ = writeln!(out, "{:<12}{:<14}{:>9}{:>13}", row.group, row.effect, bare(row.sd), bare(row.correlation));
    }
    out.push_str("\nrates: mm per metre of line in the first 100 h, negative is shrinking\n");
    if !fit.dropped_terms.is_empty() {
        out.push_str(&wrap(
            &format!("left out, because the data cannot tell them apart: {}", fit.dropped_terms.join(", ")),
            "",
        ));
    }
    for diagnostic in &fit.diagnostics {
        out.push_str(&wrap(&diagnostic.message, "note: "));
    }
    out
}

/// The fleet on one screen: how many wings need what, and the most urgent ten.
#[must_use]
pub fn fleet(data: &ReportData<'_>, today: Date) -> String {
    let entries = data.entries();
    let with = |of: fn(LineCounts) -> usize| {
        entries.iter().filter(|entry| entry.trim.is_some_and(|trim| of(trim.counts()) > 0)).count()
    };
    let now = entries.iter().filter(|entry| entry.due.is_some_and(|row| row.is_due(today)));
    let mut out = wrap(
        &format!(
            "{}: {} with lines outside tolerance, {} with doubtful readings, {} due for a check by {today}",
            words::count(entries.len(), "wing", "wings"),
            with(|counts| counts.outside),
            with(|counts| counts.doubted),
            now.count()
        ),
        "",
    );
    out.push('\n');
    let _ = writeln!(
        out,
        "{:<12}{:<14}{:>8}{:>8}  {:<10}  incidence change deg",
        "wing", "state", "outside", "doubt.", "next check"
    );
    for entry in entries.iter().take(10) {
        let of = |of: fn(LineCounts) -> usize| {
            entry.trim.map_or_else(|| "-".to_owned(), |trim| of(trim.counts()).to_string())
        };
        let next = match entry.due {
            Some(row) if row.is_due(today) => "now".to_owned(),
            Some(row) => row.due_date.map_or_else(|| format!("{:.0} h", row.due_hours), |date| date.to_string()),
            None => "-".to_owned(),
        };
        let _ = writeln!(
            out,
            "{:<12}{:<14}{:>8}{:>8}  {:<10}  {}",
            cut(entry.wing, 11),
            entry.trim.map_or("-", |trim| words::state(trim.state)),
            of(|counts| counts.outside),
            of(|counts| counts.doubted),
            next,
            entry.trim.map_or_else(|| "-".to_owned(), |trim| range(&trim.incidence_change_deg, 2))
        );
    }
    if entries.len() > 10 {
        let _ = writeln!(out, "… and {} more, less urgent", entries.len() - 10);
    }
    out
}
