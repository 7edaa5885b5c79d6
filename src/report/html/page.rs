//! The report as one self-contained HTML page.

use std::fmt::{self, Write as _};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::draft::{Draft, PageFigure};
use super::{calibration, fleet, wear, wing};
use crate::check::DEMO_NOTE;
use crate::report::ReportError;
use crate::report::build::{Entry, ReportData};
use crate::report::escape;
use crate::report::figures::FIGURE_CSS;
use crate::report::words::{self, CAUTIONS};

const PAGE_CSS: &str = include_str!("page.css");

/// How the page is made: one self-contained HTML document without scripts, for screen, phone and A4.
///
/// A fleet's page says who is urgent, when checks fall due, how the lines wear and how good earlier forecasts were, then
/// goes through the wings. The page of one wing says its state, what to do, the trim with its intervals, the plan and
/// the next check.
///
/// | setter | default | why |
/// |---|---|---|
/// | [`today`](Self::today) | day of the fleet's last check | so that a report reproduces |
/// | [`source`](Self::source) | empty | where the tables came from, shown under the title |
/// | [`pictured_wings`](Self::pictured_wings) | 60 | keeps the page of a large fleet light; the most urgent come first |
///
/// ```
/// use linedrift::{TrimSpec, report::{PageSpec, ReportData}, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(3).seed(7).run()?.fleet;
/// let mut trims = Vec::new();
/// for history in fleet.histories() {
///     if let Some(check) = history.checks.last() {
///         trims.push(TrimSpec::default().run(fleet.line_set(history), &history.wing, check)?);
///     }
/// }
/// let page = PageSpec::default().source("a folder").run(&ReportData { trims: &trims, ..ReportData::of(&fleet) })?;
/// assert!(page.html().starts_with("<!DOCTYPE html>"));
/// for one in page.figures() {
///     println!("{}.svg: {}", one.name, one.figure.description());
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
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

    /// Most wings that get figures and a table of all lines, the most urgent first.
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
        let mut draft = Draft::new();
        match entries.as_slice() {
            [only] => self.one_wing(&mut draft, data, only, today)?,
            _ => self.fleet(&mut draft, data, &entries, today)?,
        }
        draft.raw(READING);
        let _ = writeln!(
            draft.html,
            "<footer><p>Made by linedrift {} from the tables named above. The same tables give the same page.</p></footer>\n\
             </main>\n</body>\n</html>",
            env!("CARGO_PKG_VERSION")
        );
        Ok(Page { html: draft.html, figures: draft.figures })
    }

    fn one_wing(
        &self,
        draft: &mut Draft,
        data: &ReportData<'_>,
        entry: &Entry<'_>,
        today: Date,
    ) -> Result<(), ReportError> {
        let title = format!("Wing {}", entry.wing);
        let checked = entry.check.map_or_else(
            || "no usable check".to_owned(),
            |check| {
                format!(
                    "check {} of {} at {} h, {}",
                    check.id,
                    check.date,
                    words::number(check.hours_h, 0),
                    words::stage(check.stage)
                )
            },
        );
        let under = format!("Model {} \u{b7} {checked} \u{b7} read on {today}", entry.model);
        self.head(draft, &title, &under, data.fleet.is_demo(), "state", "the state of the wing");
        draft.open("state", "State");
        wing::state(draft, entry);
        remarks(draft, data.remarks);
        draft.close();
        cautions(draft);
        wing::parts(draft, entry, 0, today, true)?;
        if data.wear.is_some() || !data.drifts.is_empty() {
            let models: Vec<&str> = vec![entry.model];
            wear::section(draft, data, &models)?;
        }
        Ok(())
    }

    fn fleet(
        &self,
        draft: &mut Draft,
        data: &ReportData<'_>,
        entries: &[Entry<'_>],
        today: Date,
    ) -> Result<(), ReportError> {
        let checks: usize = data.fleet.histories().iter().map(|history| history.checks.len()).sum();
        let under = format!(
            "As of {today} \u{b7} {}, {}",
            words::count(data.fleet.histories().len(), "wing", "wings"),
            words::count(checks, "check", "checks")
        );
        self.head(draft, "Line report", &under, data.fleet.is_demo(), "fleet", "the table of wings");
        fleet::glance(draft, entries, today);
        remarks(draft, data.remarks);
        contents(draft, data);
        cautions(draft);
        fleet::urgent(draft, entries, today);
        if let Some(due) = data.due {
            fleet::calendar(draft, due, entries, today)?;
        }
        let mut models: Vec<&str> = data.drifts.iter().map(|drift| drift.model.as_str()).collect();
        models.dedup();
        wear::section(draft, data, &models)?;
        if let Some(test) = data.backtest {
            calibration::section(draft, test)?;
        }
        draft.open("wings", "Wing by wing");
        draft.raw(
            "<p class=\"note\">The most urgent first; open a wing for all that is known of it. What is open here is printed in \
             full, what is closed as one line; <code>report --wing</code> makes a page of one wing.</p>\n",
        );
        for (place, entry) in entries.iter().enumerate() {
            wing::folded(draft, entry, place, today, place < self.pictured_wings)?;
        }
        draft.close();
        Ok(())
    }

    fn head(&self, draft: &mut Draft, title: &str, under: &str, demo: bool, skip: &str, skip_to: &str) {
        let from = if self.source.is_empty() { String::new() } else { format!(" \u{b7} from {}", self.source) };
        let _ = write!(
            draft.html,
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"generator\" content=\"linedrift\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n<title>{0}{1}</title>\n\
             <style>\n{PAGE_CSS}{FIGURE_CSS}</style>\n</head>\n<body>\n\
             <a class=\"skip\" href=\"#{skip}\">To {skip_to}</a>\n<main>\n<header>\n<h1>{0}</h1>\n\
             <p class=\"under\">{2}</p>\n</header>\n",
            escape(title),
            if demo { " (invented demo)" } else { "" },
            escape(&format!("{under}{from}")),
        );
        if demo {
            let _ = writeln!(draft.html, "<p class=\"demo\"><strong>Demo.</strong> {}</p>", escape(DEMO_NOTE));
        }
    }
}

/// A finished page.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Page {
    html: String,
    figures: Vec<PageFigure>,
}

impl Page {
    /// The HTML document.
    #[must_use]
    pub fn html(&self) -> &str {
        &self.html
    }

    /// Every figure of the page, in its order.
    #[must_use]
    pub fn figures(&self) -> &[PageFigure] {
        &self.figures
    }
}

impl fmt::Display for Page {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.html)
    }
}

fn remarks(draft: &mut Draft, remarks: &[String]) {
    for remark in remarks {
        draft.note(remark);
    }
}

fn cautions(draft: &mut Draft) {
    draft.raw("<aside class=\"cautions\" aria-labelledby=\"cautions\"><h2 id=\"cautions\">Before you act on this</h2><ul>\n");
    for caution in CAUTIONS {
        let _ = writeln!(draft.html, "<li>{}</li>", escape(caution));
    }
    draft.raw("</ul></aside>\n");
}

/// Links to the parts of a fleet's page.
fn contents(draft: &mut Draft, data: &ReportData<'_>) {
    let mut parts = vec![("fleet", "Who is urgent")];
    if data.due.is_some() {
        parts.push(("calendar", "Calendar"));
    }
    if data.wear.is_some() || !data.drifts.is_empty() {
        parts.push(("wear", "Wear"));
    }
    if data.backtest.is_some() {
        parts.push(("calibration", "Were the forecasts true?"));
    }
    parts.extend([("wings", "Wing by wing"), ("reading", "How to read this page")]);
    draft.raw("<nav aria-label=\"Parts of this page\"><ul class=\"contents\">\n");
    for (id, name) in parts {
        let _ = writeln!(draft.html, "<li><a href=\"#{id}\">{name}</a></li>");
    }
    draft.raw("</ul></nav>\n");
}

const READING: &str = "<section aria-labelledby=\"reading\" class=\"reading\"><h2 id=\"reading\">How to read this page</h2>\n<dl>\n\
<dt>Deviation</dt><dd>Measured length less the maker\u{2019}s length, in mm. Plus: the line is longer.</dd>\n\
<dt>Common offset</dt><dd>The median deviation of the rows A to D. The whole set is longer or shorter by it, or the \
instrument is. It does not change the trim and is not spread over the lines.</dd>\n\
<dt>Relative deviation</dt><dd>Deviation less the common offset. Tolerances are judged on it.</dd>\n\
<dt>Within, outside, undecided</dt><dd>The measuring uncertainty counts. Within: the line is inside its tolerance even \
so. Outside: it is past it even so. Undecided: the uncertainty reaches across the tolerance; measure again.</dd>\n\
<dt>Incidence change</dt><dd>How far the rows together have turned the wing against the maker\u{2019}s table, in degrees. \
Plus: nose up.</dd>\n\
<dt>95 % interval</dt><dd>A range made so that 95 of 100 such ranges hold the true value.</dd>\n\
<dt>Band</dt><dd>A range over what is not known of the wing. Nothing inside it is likelier than the rest.</dd>\n\
<dt>Next check</dt><dd>The earlier of two: the interval, and the hours at which the chance that a limit is crossed \
reaches the accepted risk.</dd>\n</dl></section>\n";
