//! The report as one self-contained HTML page.

use std::fmt::{self, Write as _};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::data::{Entry, ReportData};
use super::figure::{FIGURE_CSS, Figure};
use super::html::{Cell, escape, table};
use super::words::{self, CAUTIONS, DEMO_NOTE};
use super::{ReportError, page_wear, page_wing};
use crate::trim::{Trim, Verdict};

const PAGE_CSS: &str = include_str!("page.css");

/// How the page is made.
///
/// | setter | default | why |
/// |---|---|---|
/// | [`today`](Self::today) | day of the fleet's last check | so that a report reproduces |
/// | [`source`](Self::source) | empty | where the tables came from, shown under the title |
/// | [`pictured_wings`](Self::pictured_wings) | 60 | keeps the page of a large fleet light; the most urgent come first |
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PageSpec {
    today: Option<Date>,
    source: String,
    pictured_wings: usize,
}

impl Default for PageSpec {
    fn default() -> Self {
        Self { today: None, source: String::new(), pictured_wings: 60 }
    }
}

impl PageSpec {
    /// The day the report is read: what was due before it is due now.
    #[must_use]
    pub fn today(mut self, today: Date) -> Self {
        self.today = Some(today);
        self
    }

    /// Where the tables came from, shown under the title.
    #[must_use]
    pub fn source(mut self, source: &str) -> Self {
        source.clone_into(&mut self.source);
        self
    }

    /// Most wings that get a figure and a table of all lines, the most urgent first.
    #[must_use]
    pub fn pictured_wings(mut self, wings: usize) -> Self {
        self.pictured_wings = wings;
        self
    }

    /// Makes the page.
    ///
    /// # Errors
    /// [`ReportError::NoWing`] when a result names a wing that the fleet does not have, [`ReportError::Drawing`] when a
    /// figure cannot be drawn.
    pub fn run(&self, data: &ReportData<'_>) -> Result<Page, ReportError> {
        data.validate()?;
        let today = self.today.or_else(|| data.fleet.last_date()).unwrap_or(Date::ZERO);
        let entries = data.entries();
        let mut out = String::new();
        head(&mut out, data, &self.source, today);
        glance(&mut out, &entries, data.remarks, today);
        fleet_table(&mut out, &entries, today);
        page_wear::section(&mut out, data)?;
        out.push_str("<section aria-labelledby=\"wings\"><h2 id=\"wings\">Wing by wing</h2>\n");
        for (place, entry) in entries.iter().enumerate() {
            let pictured = place < self.pictured_wings;
            page_wing::section(&mut out, entry, place, today, pictured, entries.len() == 1)?;
        }
        out.push_str("</section>\n");
        out.push_str(READING);
        let _ = writeln!(
            out,
            "<footer><p>Made by linedrift {} from the tables named above. The same tables give the same page.</p></footer>\n\
             </main>\n</body>\n</html>",
            env!("CARGO_PKG_VERSION")
        );
        Ok(Page { html: out })
    }
}

/// A finished page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Page {
    html: String,
}

impl Page {
    /// The HTML document.
    #[must_use]
    pub fn html(&self) -> &str {
        &self.html
    }
}

impl fmt::Display for Page {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.html)
    }
}

fn head(out: &mut String, data: &ReportData<'_>, source: &str, today: Date) {
    let demo = data.fleet.is_demo();
    let wings = words::count(data.fleet.histories().len(), "wing", "wings");
    let checks: usize = data.fleet.histories().iter().map(|history| history.checks.len()).sum();
    let from = if source.is_empty() { String::new() } else { format!(" \u{b7} from {}", escape(source)) };
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>Line report{}</title>\n\
         <style>\n{PAGE_CSS}{FIGURE_CSS}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#fleet\">To the table of wings</a>\n<main>\n<header>\n<h1>Line report</h1>\n\
         <p class=\"under\">As of {today} \u{b7} {wings}, {}{from}</p>\n</header>\n",
        if demo { " (invented demo)" } else { "" },
        words::count(checks, "check", "checks"),
    );
    if demo {
        let _ = writeln!(out, "<p class=\"demo\"><strong>Demo.</strong> {}</p>", escape(DEMO_NOTE));
    }
    out.push_str(
        "<aside class=\"cautions\" aria-labelledby=\"cautions\"><h2 id=\"cautions\">Before you read</h2><ul>\n",
    );
    for caution in CAUTIONS {
        let _ = writeln!(out, "<li>{}</li>", escape(caution));
    }
    out.push_str("</ul></aside>\n");
}

/// What the fleet needs, in a few figures.
fn glance(out: &mut String, entries: &[Entry<'_>], remarks: &[String], today: Date) {
    let with = |verdict| {
        entries.iter().filter(|entry| entry.trim.is_some_and(|trim| words::verdicts(trim, verdict) > 0)).count()
    };
    let due = |entry: &&Entry<'_>| entry.due.is_some_and(|row| words::due(row, today).starts_with("now"));
    let now = entries.iter().filter(due).count();
    let blank = entries.iter().filter(|entry| entry.trim.is_none()).count();
    out.push_str("<section aria-labelledby=\"glance\"><h2 id=\"glance\">At a glance</h2>\n<ul class=\"glance\">\n");
    for (n, what) in [
        (now, "due for a check now"),
        (with(Verdict::Outside), "with lines outside tolerance"),
        (with(Verdict::Undecided), "with lines to measure again"),
        (blank, "without a usable check"),
    ] {
        let noun = if n == 1 { "wing" } else { "wings" };
        let _ = writeln!(out, "<li><b>{n}</b> {noun} {what}</li>");
    }
    out.push_str("</ul>\n");
    for remark in remarks {
        let _ = writeln!(out, "<p class=\"note\">{}</p>", escape(remark));
    }
    out.push_str("</section>\n");
}

fn fleet_table(out: &mut String, entries: &[Entry<'_>], today: Date) {
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
            let next = if next.starts_with("now") { Cell::short(next).marked() } else { Cell::short(next) };
            let lines = if outside > 0 { Cell::figure(lines).marked() } else { Cell::figure(lines) };
            vec![
                Cell::words(entry.wing).linked(&page_wing::anchor(place)),
                Cell::words(entry.model),
                Cell::short(entry.check.map_or_else(|| "–".to_owned(), |check| check.date.to_string())),
                Cell::figure(trim.map_or_else(|| "–".to_owned(), |trim| words::number(trim.hours, 0))),
                Cell::figure(words::maybe(trim.and_then(|trim| trim.common_mm), 1)),
                Cell::short(trim.map_or_else(|| "–".to_owned(), worst_line)),
                lines,
                Cell::figure(
                    trim.map_or_else(|| "–".to_owned(), |trim| words::interval(&trim.incidence_change_deg, 2)),
                ),
                next,
                Cell::short(entry.due.map_or("–", |row| words::reason(row.reason))),
            ]
        })
        .collect();
    out.push_str("<section aria-labelledby=\"fleet\"><h2 id=\"fleet\">Wings, the most urgent first</h2>\n");
    out.push_str(&table(
        "State and next check of each wing",
        &[
            "Wing",
            "Model",
            "Last check",
            "Hours",
            "Common offset, mm",
            "Worst line, mm",
            "Lines outside / undecided",
            "Incidence change, \u{b0} (95 %)",
            "Next check",
            "Because",
        ],
        &rows,
    ));
    out.push_str("</section>\n");
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

/// Panels of one figure under one caption. `prefix` keeps the ids apart.
pub(super) fn panels(out: &mut String, caption: &str, key: &str, prefix: &str, figures: &[Figure]) {
    if figures.is_empty() {
        return;
    }
    let _ = write!(
        out,
        "<figure><figcaption>{}<span class=\"key\">{}</span></figcaption><div class=\"panels\">",
        escape(caption),
        escape(key)
    );
    for (place, figure) in figures.iter().enumerate() {
        out.push_str(&figure.inline_svg(&format!("{prefix}-{place}")));
    }
    out.push_str("</div></figure>\n");
}

const READING: &str = "<section aria-labelledby=\"reading\"><h2 id=\"reading\">How to read this page</h2>\n<dl>\n\
<dt>Deviation</dt><dd>Measured length less the maker\u{2019}s length, in mm. Plus: the line is longer.</dd>\n\
<dt>Common offset</dt><dd>The median deviation of the rows A to D. The whole set is longer or shorter by it, or the \
instrument is. It does not change the trim and is not spread over the lines.</dd>\n\
<dt>Relative deviation</dt><dd>Deviation less the common offset. Tolerances are judged on it.</dd>\n\
<dt>Within, outside, undecided</dt><dd>The measuring uncertainty counts. Within: the line is inside its tolerance even \
so. Outside: it is past it even so. Undecided: the uncertainty reaches across the tolerance; measure again.</dd>\n\
<dt>Incidence change</dt><dd>How far the rows together have turned the wing against the maker\u{2019}s table, in degrees. \
Plus: nose up.</dd>\n\
<dt>95 % interval</dt><dd>A range made so that 95 of 100 such ranges hold the true value.</dd>\n\
<dt>Next check</dt><dd>The earlier of two: the interval, and the hours at which the chance that a limit is crossed \
reaches the accepted risk.</dd>\n</dl></section>\n";
