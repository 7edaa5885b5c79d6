//! The measuring sheet to print and write on.

use std::fmt::Write as _;

use crate::check::Check;
use crate::check::DEMO_NOTE;
use crate::check::sheet::{Sheet, SheetRow};
use crate::report::escape;
use crate::report::words::CAUTIONS;
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

    /// The datum that the sheet was made for, mm.
    #[must_use]
    pub fn datum_mm(mut self, datum_mm: f64) -> Self {
        self.datum_mm = datum_mm;
        self
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
        let wing = escape(&self.wing.id);
        let mut out = format!(
            "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n\
             <meta name=\"generator\" content=\"linedrift\">\n\
             <title>Measuring sheet: wing {wing}</title>\n<style>\n{SHEET_CSS}</style></head><body><main>\n\
             <h1>Measuring sheet: wing {wing}</h1>\n<p>Model {}. ",
            escape(&self.wing.model)
        );
        let _ = match &self.last {
            Some(last) => writeln!(out, "Last values from check {}.</p>", escape(last)),
            None => writeln!(out, "No earlier check.</p>"),
        };
        if self.demo {
            let _ = writeln!(out, "<p class=\"demo\">{}</p>", escape(DEMO_NOTE));
        }
        out.push_str("<div class=\"cautions\"><ul>");
        for caution in CAUTIONS {
            let _ = write!(out, "<li>{}</li>", escape(caution));
        }
        out.push_str("</ul></div>\n");
        self.conditions(&mut out);
        out.push_str(
            "<p class=\"how\">All lengths in mm. <b>expect</b>: the maker\u{2019}s length and the datum. <b>last</b>: what this \
             instrument would have shown of the line at the last check. Read the line first, then look at these. Write what \
             the instrument shows; where it is far from both, read the line again into the last column. A line not read \
             stays empty.</p>\n",
        );
        for side in Side::BOTH.into_iter().filter(|side| sheet.rows().iter().any(|row| row.side == *side)) {
            lines_of(side, sheet, &mut out);
        }
        out.push_str("</main></body></html>\n");
        out
    }

    fn conditions(&self, out: &mut String) {
        out.push_str("<div class=\"conditions\">");
        let datum = format!("for {} mm", self.datum_mm);
        for (what, hint) in [
            ("date", ""),
            ("hours flown", "h"),
            ("operator", ""),
            ("as found / as left", ""),
            ("load (usual 50 N)", "N"),
            ("temperature (usual 20)", "\u{b0}C"),
            ("datum", datum.as_str()),
            ("dry / damp / wet", ""),
            ("brake setting", "mm"),
        ] {
            let _ = write!(out, "<div>{}<i>{}</i></div>", escape(what), escape(hint));
        }
        out.push_str("</div>\n");
    }
}

/// One side: a table for each row, its lines in groups by main.
fn lines_of(side: Side, sheet: &Sheet, out: &mut String) {
    let rows: Vec<&SheetRow> = sheet.rows().iter().filter(|row| row.side == side).collect();
    let _ = write!(
        out,
        "<section class=\"side\"><h2>{} side</h2>\n<div class=\"lines\">",
        if side == Side::Left { "Left" } else { "Right" }
    );
    for row in rows.chunk_by(|a, b| a.row == b.row) {
        let Some(first) = row.first() else { continue };
        let _ = writeln!(
            out,
            "<table><caption>Row {}, {side}</caption><thead><tr><th scope=\"col\">no.</th>\
             <th scope=\"col\">main</th><th scope=\"col\">line</th><th scope=\"col\">expect</th><th scope=\"col\">last</th>\
             <th scope=\"col\">reading</th><th scope=\"col\">again</th></tr></thead>",
            first.row
        );
        for main in row.chunk_by(|a, b| a.main == b.main) {
            out.push_str("<tbody>");
            for line in main {
                let last = line.last_mm.map_or_else(String::new, |last| format!("{last:.0}"));
                let _ = writeln!(
                    out,
                    "<tr><td class=\"no\">{}</td><td class=\"main\">{}</td><th scope=\"row\">{}</th><td>{:.0}</td><td>{last}</td>\
                     <td class=\"room\"></td><td class=\"again\"></td></tr>",
                    line.order,
                    escape(line.main.as_deref().unwrap_or_default()),
                    escape(&line.line),
                    line.expected_mm
                );
            }
            out.push_str("</tbody>");
        }
        out.push_str("</table>\n");
    }
    out.push_str("</div></section>\n");
}
