//! The report as one self-contained HTML page.

use std::fmt;

use jiff::civil::Date;
use maud::{Markup, html};
use serde::{Deserialize, Serialize};

use super::document::{Document, cautions};
use super::draft::{Draft, PageFigure, note, section};
use super::{calibration, fleet, wear, wing};
use crate::report::ReportError;
use crate::report::build::{Entry, ReportData};
use crate::report::words;

/// How the page is made: one self-contained HTML document for screen, phone and A4. It reads the same without its few lines of
/// script, which sort tables and show a line's place.
///
/// A fleet's page says who is urgent and why, when checks fall due, how the lines wear and how good earlier forecasts were, then
/// goes through the wings. The page of one wing says its state, what to do and when to check next; then it lists all lines; then
/// come trim, incidence, plan and forecast.
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

/// In a fleet of at most so many wings each gets a part of its own.
const PARTS: usize = 300;
/// In a larger one so many do, the most urgent first; those after them have their row in the table of wings.
const PARTS_OF_MANY: usize = 100;
/// And so many of these get figures at most.
const PICTURED_OF_MANY: usize = 24;

impl PageSpec {
    setters! {
        /// The day the report is read: what was due before it is due now.
        today: Date => Some;
    }

    /// Where the tables came from, shown under the title.
    #[must_use]
    pub fn source(mut self, source: &str) -> Self {
        source.clone_into(&mut self.source);
        self
    }

    setters! {
        /// Most wings that get figures and a table of all lines, the most urgent first.
        pictured_wings: usize;
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
        let mut draft = Draft::default();
        let document = match entries.as_slice() {
            [only] => self.one_wing(&mut draft, data, only, today)?,
            _ => self.fleet(&mut draft, data, &entries, today)?,
        };
        Ok(Page::of(&document, draft))
    }

    /// The wings of a fleet that get a part of their own, the most urgent first: of these the page shows the plan whole, of the others
    /// only whether there is work. It hangs on trims and due rows alone.
    #[must_use]
    pub fn wings_shown<'a>(data: &ReportData<'a>) -> Vec<&'a str> {
        let entries = data.entries();
        entries.iter().take(own_parts(entries.len())).map(|entry| entry.wing).collect()
    }

    fn one_wing(
        &self,
        draft: &mut Draft,
        data: &ReportData<'_>,
        entry: &Entry<'_>,
        today: Date,
    ) -> Result<Document<'static>, ReportError> {
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
        let state = html! { (wing::state(entry)) (remarks(data.remarks)) };
        let parts = wing::parts(draft, entry, 0, today, true)?;
        Ok(Document {
            title: format!("Wing {}", entry.wing),
            under: format!("Model {} \u{b7} {checked} \u{b7} read on {today}{}", entry.model, self.from()),
            demo: data.fleet.is_demo(),
            first: ("state", "the state of the wing"),
            body: html! { (section("state", "State", &state)) (cautions()) (parts) (reading()) },
        })
    }

    fn fleet(
        &self,
        draft: &mut Draft,
        data: &ReportData<'_>,
        entries: &[Entry<'_>],
        today: Date,
    ) -> Result<Document<'static>, ReportError> {
        let checks: usize = data.fleet.histories().iter().map(|history| history.checks.len()).sum();
        let many = entries.len() > PARTS;
        let own = own_parts(entries.len());
        let pictured = self.pictured_wings.min(if many { PICTURED_OF_MANY } else { PARTS });
        let mut models: Vec<&str> = data.drifts.iter().map(|drift| drift.model.as_str()).collect();
        models.dedup();
        let calendar = match data.due {
            Some(due) => fleet::calendar(draft, due, entries, today)?,
            None => Markup::default(),
        };
        let wear = wear::part(draft, data, &models)?;
        let calibration = match data.backtest {
            Some(test) => calibration::part(draft, test)?,
            None => Markup::default(),
        };
        let mut wings = Vec::with_capacity(own);
        for (place, entry) in entries.iter().take(own).enumerate() {
            wings.push(wing::folded(draft, entry, place, today, place < pictured)?);
        }
        Ok(Document {
            title: "Line report".to_owned(),
            under: format!(
                "As of {today} \u{b7} {}, {}{}",
                words::count(entries.len(), "wing", "wings"),
                words::count(checks, "check", "checks"),
                self.from()
            ),
            demo: data.fleet.is_demo(),
            first: ("fleet", "the table of wings"),
            body: html! {
                p .lead { (words::fleet(entries, today)) }
                (fleet::glance(entries, today))
                (remarks(data.remarks))
                (contents(data))
                (cautions())
                (fleet::urgent(entries, today, own))
                (calendar)
                (wear)
                (calibration)
                section .wings aria-labelledby="wings" {
                    h2 #wings { "Wing by wing" }
                    p .note {
                        "The most urgent first. Open a wing to see everything about it. Only what is open is printed. "
                        code { "report --wing" } " makes a page of one wing."
                        @if own < entries.len() {
                            " The first " (own) " of " (entries.len()) " are here; the others have their row in the table above and in \
                             the result tables beside this page."
                        }
                    }
                    @for wing in &wings { (wing) }
                }
                (reading())
            },
        })
    }

    fn from(&self) -> String {
        if self.source.is_empty() { String::new() } else { format!(" \u{b7} from {}", self.source) }
    }
}

/// How many of so many wings get a part of their own.
fn own_parts(wings: usize) -> usize {
    if wings > PARTS { PARTS_OF_MANY } else { wings }
}

/// A finished page.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Page {
    html: String,
    figures: Vec<PageFigure>,
}

impl Page {
    /// What was drafted, as a document.
    pub(super) fn of(document: &Document<'_>, draft: Draft) -> Self {
        Self { html: document.html(), figures: draft.figures }
    }

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

fn remarks(remarks: &[String]) -> Markup {
    html! { @for remark in remarks { (note(remark)) } }
}

/// Links to the parts of a fleet's page.
fn contents(data: &ReportData<'_>) -> Markup {
    let parts = [
        (true, "fleet", "Who is urgent"),
        (data.due.is_some(), "calendar", "When checks fall due"),
        (data.wear.is_some() || !data.drifts.is_empty(), "wear", "Wear"),
        (data.backtest.is_some(), "calibration", "How good the forecasts were"),
        (true, "wings", "Wing by wing"),
        (true, "reading", "How to read this page"),
    ];
    html! {
        nav aria-label="Parts of this page" {
            ul .contents {
                @for (_, id, name) in parts.iter().filter(|(here, ..)| *here) { li { a href={ "#" (id) } { (name) } } }
            }
        }
    }
}

const TERMS: [(&str, &str); 8] = [
    ("Deviation", "Measured length minus the maker\u{2019}s length, in mm. Plus: the line is longer."),
    (
        "Common offset",
        "The median deviation of rows A to D. Either the whole set is longer or shorter by that much, or the instrument reads \
         that much off. It does not change the trim.",
    ),
    ("Relative deviation", "Deviation minus the common offset. Tolerances are judged on it."),
    (
        "Uncertainty",
        "How far a measured length may be off: the true value lies within it 95 times in 100. Near its tolerance a line may be \
         on the other side of it.",
    ),
    (
        "Incidence change",
        "How far the rows together have turned the wing against the maker\u{2019}s table, in degrees. Plus: nose up.",
    ),
    ("95 % interval", "A range made so that 95 of 100 such ranges hold the true value."),
    ("Band", "A range over what is not known about the wing. No value inside it is more likely than another."),
    (
        "Next check",
        "The earlier of two: the end of the interval, and the hours at which the chance that a limit is crossed reaches the \
         accepted risk.",
    ),
];

fn reading() -> Markup {
    html! {
        details .reading {
            summary { h2 #reading { "How to read this page" } }
            dl { @for (term, meaning) in TERMS { dt { (term) } dd { (meaning) } } }
        }
        "\n"
    }
}
