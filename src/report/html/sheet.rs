//! The measuring sheet to print and write on.

use maud::{Markup, html};

use super::document::document;
use crate::check::Check;
use crate::check::DEMO_NOTE;
use crate::check::sheet::{Sheet, SheetRow};
use crate::report::words::{self, CAUTIONS};
use crate::wing::{Side, Wing};

const SHEET_CSS: &str = include_str!("sheet.css");

/// How a sheet is made for printing: one self-contained HTML page for A4, black on white, without scripts.
///
/// | setter | default | why |
/// |---|---|---|
/// | [`last`](Self::last) | none | names the check that the last values are from |
/// | [`datum_mm`](Self::datum_mm) | 0 | printed among the conditions, since the expected values hold it |
/// | [`demo`](Self::demo) | not the demo | says that the data is invented |
///
/// ```
/// use linedrift::check::sheet::SheetSpec;
/// use linedrift::report::SheetPageSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let sheet = SheetSpec::default().run(fleet.line_set(history), Some(check));
/// let html = SheetPageSpec::new(&history.wing).last(check).html(&sheet);
/// assert!(html.contains("Measuring sheet: wing W05"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct SheetPageSpec {
    wing: Wing,
    last: Option<String>,
    datum_mm: f64,
    demo: bool,
}

impl SheetPageSpec {
    /// A sheet for a wing.
    #[must_use]
    pub fn new(wing: &Wing) -> Self {
        Self { wing: wing.clone(), last: None, datum_mm: 0.0, demo: false }
    }

    /// The check that the last values are from.
    #[must_use]
    pub fn last(mut self, check: &Check) -> Self {
        self.last = Some(format!("{}, {}, {} h, {}", check.id, check.date, check.hours_h, check.stage));
        self
    }

    setters! {
        /// The datum that the sheet was made for, mm.
        datum_mm: f64;
    }

    /// Marks the page as of the bundled invented demo.
    #[must_use]
    pub fn demo(mut self) -> Self {
        self.demo = true;
        self
    }

    /// The page.
    #[must_use]
    pub fn html(&self, sheet: &Sheet) -> String {
        let title = format!("Measuring sheet: wing {}", self.wing.id);
        let body = html! {
            main {
                h1 { (title) }
                p {
                    "Model " (self.wing.model) ". "
                    @match &self.last {
                        Some(last) => { "Last values from check " (last) "." }
                        None => { "No earlier check." }
                    }
                }
                @if self.demo { p .demo { (DEMO_NOTE) } }
                div .cautions { ul { @for caution in CAUTIONS { li { (caution) } } } }
                (self.conditions())
                p .how {
                    "All lengths in mm. " b { "expect" } ": the maker\u{2019}s length and the datum. " b { "last" } ": what this \
                     instrument would have shown for the line at the last check. Read the line first, then look at these. \
                     Write what the instrument shows. Where it is far from both, read the line again and write that into the \
                     last column. Leave a line empty if you did not read it."
                }
                @for side in Side::BOTH.into_iter().filter(|side| sheet.rows().iter().any(|row| row.side == *side)) {
                    (lines_of(side, sheet))
                }
            }
        };
        document(&title, &[SHEET_CSS], &body)
    }

    fn conditions(&self) -> Markup {
        let datum = format!("for {} mm", self.datum_mm);
        let asked = [
            ("date", ""),
            ("hours flown", "h"),
            ("operator", ""),
            ("as found / as left", ""),
            ("load (usual 50 N)", "N"),
            ("temperature (usual 20)", "\u{b0}C"),
            ("datum", datum.as_str()),
            ("dry / damp / wet", ""),
            ("brake setting", "mm"),
        ];
        html! { div .conditions { @for (what, hint) in asked { div { (what) i { (hint) } } } } "\n" }
    }
}

/// One side: a table for each row, its lines in groups by main.
fn lines_of(side: Side, sheet: &Sheet) -> Markup {
    let rows: Vec<&SheetRow> = sheet.rows().iter().filter(|row| row.side == side).collect();
    html! {
        section .side {
            h2 { (if side == Side::Left { "Left" } else { "Right" }) " side" }
            div .lines {
                @for row in rows.chunk_by(|a, b| a.row == b.row) {
                    table {
                        caption { (words::row(row[0].row)) ", " (side) }
                        thead { tr {
                            @for head in ["no.", "main", "line", "expect", "last", "reading", "again"] { th scope="col" { (head) } }
                        } }
                        @for main in row.chunk_by(|a, b| a.main == b.main) {
                            tbody { @for line in main {
                                tr {
                                    td .no { (line.order) }
                                    td .main { (line.main.as_deref().unwrap_or_default()) }
                                    th scope="row" { (line.line) }
                                    td { (format!("{:.0}", line.expected_mm)) }
                                    td { @if let Some(last) = line.last_mm { (format!("{last:.0}")) } }
                                    td .room {}
                                    td .again {}
                                }
                                "\n"
                            } }
                        }
                    }
                    "\n"
                }
            }
        }
    }
}
