//! The page's part on wear: how the fleet's lines drift.

use std::fmt::Write as _;

use super::draft::Draft;
use super::table::Cell;
use crate::report::build::{ReportData, WearSummary};
use crate::report::escape;
use crate::report::figures::drift_figures;
use crate::report::figures::rate_figure;
use crate::report::{ReportError, words};
use crate::wear::TermRow;

/// How the lines of the fleet wear, with the drift of some models.
pub(super) fn section(draft: &mut Draft, data: &ReportData<'_>, models: &[&str]) -> Result<(), ReportError> {
    if data.wear.is_none() && data.drifts.is_empty() {
        return Ok(());
    }
    draft.open("wear", "How the lines of the fleet wear");
    if let Some(fit) = data.wear {
        fitted(draft, fit)?;
    }
    for (place, model) in models.iter().enumerate() {
        let rows: Vec<_> = data.drifts.iter().filter(|drift| drift.model == *model).cloned().collect();
        let modelled = rows.iter().any(|row| !row.path.is_empty());
        draft.panels(
            &format!("Model {model}: mean of each row, less the common offset, against hours flown"),
            if modelled {
                "Ring: one check of one wing, before any adjustment. \
                 Line: what the wear model expects of a wing. Band: its range for 95 of 100 wings."
            } else {
                "Ring: one check of one wing, before any adjustment."
            },
            &format!("drift-{place}"),
            drift_figures(&rows)?,
        );
    }
    draft.close();
    Ok(())
}

fn fitted(draft: &mut Draft, fit: &WearSummary) -> Result<(), ReportError> {
    let _ = writeln!(
        draft.html,
        "<p>Fitted to {} of {} at {}, {}.{}</p>",
        words::count(fit.readings, "reading", "readings"),
        words::count(fit.wings, "wing", "wings"),
        words::count(fit.checks, "check", "checks"),
        match fit.shape.scale_h() {
            Some(scale) => format!("time shape {} with a scale of {} h", fit.shape.name(), words::number(scale, 0)),
            None => format!("time shape {}", fit.shape.name()),
        },
        match fit.restarted_lines {
            0 => String::new(),
            lines => {
                format!(" {} began anew after an adjustment.", words::count(lines, "line", "lines"))
            }
        }
    );
    if !fit.converged {
        draft.raw(
            "<p class=\"demo\"><strong>The fit did not converge.</strong> Read nothing from these figures.</p>\n",
        );
    }
    let rows: Vec<Vec<Cell>> = fit
        .terms
        .iter()
        .filter_map(|term| {
            Some(vec![
                Cell::words(name(term)?),
                Cell::words(words::rate(term)?),
                Cell::figure(words::signed(term.estimate, 2)),
                Cell::figure(format!("{} to {}", words::signed(term.lower, 2), words::signed(term.upper, 2))),
            ])
        })
        .collect();
    draft.raw("<div class=\"beside\">");
    if let Some(figure) = rate_figure(&fit.terms)? {
        let key = "mm per metre of line in the first 100 h; minus: shorter. Dot: estimate. Bar: 95 % interval.";
        draft.panels("Drift by material and row", key, "rate", vec![figure]);
    }
    draft.table(
        "Drift of the lines, mm per metre of line in the first 100 h (minus: shorter)",
        &["Where", "In words", "Estimate", "95 % interval"],
        &rows,
    );
    draft.raw("</div>\n");
    let spread = |group: &str| fit.spread.iter().find(|row| row.group == group && row.effect == "rate")?.sd;
    if let Some(sd) = spread("wing") {
        let by_row = spread("wing:row").map_or_else(String::new, |sd| {
            format!(", and its rows among themselves by {} mm per metre", words::number(sd, 2))
        });
        let _ = writeln!(
            draft.html,
            "<p>Wings differ: the rates of one wing lie off the fleet\u{2019}s by {} mm per metre (standard deviation){by_row}.</p>",
            words::number(sd, 2)
        );
    }
    if !fit.dropped_terms.is_empty() {
        let _ = writeln!(
            draft.html,
            "<p>Left out, as the data cannot tell them apart: {}.</p>",
            escape(&fit.dropped_terms.join(", "))
        );
    }
    for diagnostic in &fit.diagnostics {
        let _ = writeln!(draft.html, "<p class=\"note\">{}</p>", escape(&diagnostic.message));
    }
    Ok(())
}

/// `uhmwpe, row C` for `rate:uhmwpe:C`, `centre to tip, row C` for `span:C`.
fn name(term: &TermRow) -> Option<String> {
    if let Some(rest) = term.term.strip_prefix("rate:") {
        let (material, row) = rest.rsplit_once(':')?;
        return Some(format!("{material}, row {row}"));
    }
    let row = term.term.strip_prefix("span:")?;
    Some(format!("centre to tip, row {row}"))
}
