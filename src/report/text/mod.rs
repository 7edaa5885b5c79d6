//! Reports for the terminal: plain tables within 80 columns.

use std::fmt::Write as _;

use jiff::civil::Date;

use super::build::{ReportData, WearSummary};
use super::words::{self, CAUTION_LINE, CAUTIONS};
use crate::check::DEMO_NOTE;
use crate::check::doubt::Doubts;
use crate::forecast::{DueRow, DueTable, WingDue};
use crate::trim::{Interval, LineChange, LineCounts, Trim, TrimChange, Verdict};
use crate::wing::{Side, TextTable, cut, shown};

/// Widest line of any text here.
const WIDTH: usize = 80;

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
        let facts = [
            format!("common offset {} mm", plain(trim.common_mm, 1)),
            format!("incidence change {} deg (95 %)", range(&trim.incidence_change_deg, 2)),
            format!("left minus right {} deg", plain(trim.asymmetry_deg.value, 2)),
            format!("angle of attack changed by {} deg", short_range(&trim.aoa_change_deg)),
            format!("trim speed by {} %", short_range(&trim.speed_change_pct)),
        ];
        let known: Vec<&str> = facts.iter().map(String::as_str).filter(|fact| !fact.contains(" - ")).collect();
        out.push_str(&wrap(&known.join("; "), "  "));
        let mut rows = TextTable::default()
            .indent(2)
            .words("row", 8)
            .words("side", 6)
            .figures("mean mm")
            .figures("by lift mm")
            .figures("se mm")
            .figures("lines");
        for row in &trim.rows {
            rows.row([
                row.row.to_string(),
                row.side.clone(),
                plain(Some(row.mean_mm), 1),
                plain(row.effective_mm, 1),
                format!("{:.1}", row.se_mm),
                row.lines.to_string(),
            ]);
        }
        let _ = write!(out, "{rows}");
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
        let mut rows = TextTable::default()
            .indent(2)
            .words("row", 8)
            .words("side", 6)
            .figures("before mm")
            .figures("after mm")
            .figures("change mm")
            .figures("se mm");
        for row in &change.rows {
            rows.row([
                row.row.to_string(),
                row.side.clone(),
                plain(Some(row.before_mm), 1),
                plain(Some(row.after_mm), 1),
                plain(Some(row.change_mm), 1),
                format!("{:.1}", row.se_mm),
            ]);
        }
        let _ = write!(out, "{rows}");
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
        if !lines.is_empty() {
            let mut rows = TextTable::default()
                .indent(2)
                .words("line", 13)
                .figures("before mm")
                .figures("after mm")
                .words("before", 9)
                .words("after", 9);
            for line in lines.iter().take(CHANGED) {
                let side = if line.side == Side::Left { "L" } else { "R" };
                let verdict = |verdict: Option<Verdict>| verdict.map_or("doubtful", Verdict::name).to_owned();
                rows.row([
                    format!("{} {side}", cut(&line.line, 10)),
                    plain(Some(line.before_mm), 1),
                    plain(Some(line.after_mm), 1),
                    verdict(line.before),
                    verdict(line.after),
                ]);
            }
            let _ = write!(out, "{rows}");
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
        "{} of {} {} doubtful, in {}.\n",
        if found == 0 { "None".to_owned() } else { found.to_string() },
        words::count(readings, "reading", "readings"),
        if found == 1 || found == 0 { "is" } else { "are" },
        words::count(doubts.len(), "check", "checks")
    );
    if found > 0 {
        out.push_str("Measure these again; nothing was changed. Lengths in mm.\n");
        let mut rows = TextTable::default()
            .words("check", 12)
            .words("side", 5)
            .words("line", 9)
            .figures("read")
            .figures("expected")
            .figures("score")
            .words("probably", 15)
            .figures("right");
        for finding in doubts.iter().flat_map(Doubts::findings) {
            rows.row([
                finding.check.clone(),
                finding.side.to_string(),
                finding.line.clone(),
                format!("{:.1}", finding.reading_mm),
                format!("{:.1}", finding.expected_mm),
                format!("{:.0}", finding.score),
                finding.kind().to_string(),
                finding.suggested_mm().map_or_else(|| "-".to_owned(), |mm| format!("{mm:.1}")),
            ]);
        }
        let _ = write!(out, "{rows}");
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
    let mut out = wrap(&due_sentence(&sorted, today), "");
    let mut rows = TextTable::default()
        .words("wing", 13)
        .figures("hours")
        .figures("due h")
        .words("due", 10)
        .figures("risk now")
        .words("because", 22);
    for row in sorted {
        let date = match row.due_date {
            _ if row.is_due(today) => "now".to_owned(),
            Some(date) => date.to_string(),
            None => "-".to_owned(),
        };
        rows.row([
            row.wing.clone(),
            format!("{:.0}", row.hours_now),
            format!("{:.0}", row.due_hours),
            date,
            row.risk_now.map_or_else(|| "-".to_owned(), words::chance),
            words::reason(row.reason).to_owned(),
        ]);
    }
    let _ = write!(out, "{rows}");
    out
}

/// How many wings are due, or when the first is.
fn due_sentence(sorted: &[&DueRow], today: Date) -> String {
    let now = sorted.iter().filter(|row| row.is_due(today)).count();
    let when = |row: &DueRow| match row.due_date {
        Some(date) => format!("on {date}, or at {:.0} h", row.due_hours),
        None => format!("at {:.0} h", row.due_hours),
    };
    match (sorted, now) {
        ([], _) => "No wing has a next check.".to_owned(),
        ([only], 0) => format!("Wing {}: next check {}.", cut(&only.wing, 24), when(only)),
        ([only], _) => format!("Wing {} is due for a check now.", cut(&only.wing, 24)),
        ([first, ..], 0) => format!(
            "None of {} wings is due for a check. The first is {}, {}.",
            sorted.len(),
            cut(&first.wing, 24),
            when(first)
        ),
        (all, 1) => format!("1 of {} wings is due for a check now.", all.len()),
        (all, now) => format!("{now} of {} wings are due for a check now.", all.len()),
    }
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

/// Which rate is the fastest, or that none may be used.
fn wear_sentence(fit: &WearSummary) -> String {
    if !fit.converged {
        return "The fit did NOT CONVERGE: do not use the figures below.".to_owned();
    }
    let rates = fit.terms.iter().filter_map(|term| Some((term, term.term.strip_prefix("rate:")?.rsplit_once(':')?)));
    match rates.max_by(|(a, _), (b, _)| a.estimate.abs().total_cmp(&b.estimate.abs())) {
        Some((term, (material, row))) => format!(
            "The fastest drift is that of {material} in row {row}: {} mm per metre of line in the first 100 h ({} to {}), minus is \
             shrinking.",
            plain(Some(term.estimate), 2),
            plain(Some(term.lower), 2),
            plain(Some(term.upper), 2)
        ),
        None => "No rate could be estimated.".to_owned(),
    }
}

/// The wear fit: rates with intervals, spreads, remarks.
#[must_use]
pub fn wear(fit: &WearSummary) -> String {
    let mut out = wrap(&wear_sentence(fit), "");
    let _ = writeln!(
        out,
        "{} readings, {} wings, {} checks, {} lines ({} restarted)\nshape {}{}\n",
        fit.readings,
        fit.wings,
        fit.checks,
        fit.lines,
        fit.restarted_lines,
        fit.shape.name(),
        fit.shape.scale_h().map_or_else(String::new, |scale| format!(", scale {scale:.0} h")),
    );
    let mut rows = TextTable::default().words("term", 33).figures("estimate").figures("se").figures("95 %");
    for term in &fit.terms {
        rows.row([
            term.term.clone(),
            plain(Some(term.estimate), 3),
            format!("{:.3}", term.se),
            format!("{} to {}", plain(Some(term.lower), 3), plain(Some(term.upper), 3)),
        ]);
    }
    let _ = writeln!(out, "{rows}");
    let bare = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.3}"));
    let mut rows = TextTable::default().words("group", 12).words("effect", 14).figures("sd").figures("correlation");
    for row in &fit.spread {
        rows.row([row.group.clone(), row.effect.clone(), bare(row.sd), bare(row.correlation)]);
    }
    let _ = write!(out, "{rows}");
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
    let mut out = wrap(&shown(&words::fleet(&entries, today)), "");
    out.push('\n');
    let mut rows = TextTable::default()
        .words("wing", 11)
        .words("state", 13)
        .figures("outside")
        .figures("doubtful")
        .words("next check", 10)
        .words("incidence change deg", 24);
    for entry in entries.iter().take(10) {
        let of = |of: fn(LineCounts) -> usize| {
            entry.trim.map_or_else(|| "-".to_owned(), |trim| of(trim.counts()).to_string())
        };
        let next = match entry.due {
            Some(row) if row.is_due(today) => "now".to_owned(),
            Some(row) => row.due_date.map_or_else(|| format!("{:.0} h", row.due_hours), |date| date.to_string()),
            None => "-".to_owned(),
        };
        rows.row([
            entry.wing.to_owned(),
            entry.trim.map_or("-", |trim| words::state(trim.state)).to_owned(),
            of(|counts| counts.outside),
            of(|counts| counts.doubted),
            next,
            entry.trim.map_or_else(|| "-".to_owned(), |trim| range(&trim.incidence_change_deg, 2)),
        ]);
    }
    let _ = write!(out, "{rows}");
    if entries.len() > 10 {
        let _ = writeln!(out, "… and {} more, less urgent", entries.len() - 10);
    }
    out
}
