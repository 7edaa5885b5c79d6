//! The page's part on wear: how the fleet's lines drift.

use std::fmt::Write as _;

use super::data::{ReportData, WearSummary};
use super::drift_figure::drift_figures;
use super::html::{Cell, escape, table};
use super::page::panels;
use super::rate_figure::rate_figure;
use super::{ReportError, words};
use crate::wear::TermRow;

pub(super) fn section(out: &mut String, data: &ReportData<'_>) -> Result<(), ReportError> {
    if data.wear.is_none() && data.drifts.is_empty() {
        return Ok(());
    }
    out.push_str("<section aria-labelledby=\"wear\"><h2 id=\"wear\">How the lines drift</h2>\n");
    if let Some(fit) = data.wear {
        fitted(out, fit)?;
    }
    let mut models: Vec<&str> = data.drifts.iter().map(|drift| drift.model.as_str()).collect();
    models.dedup();
    for (place, model) in models.iter().enumerate() {
        let rows: Vec<_> = data.drifts.iter().filter(|drift| drift.model == *model).cloned().collect();
        let modelled = rows.iter().any(|row| !row.path.is_empty());
        panels(
            out,
            &format!("Model {model}: mean of each row, less the common offset, against hours flown"),
            if modelled {
                "Ring: one check of one wing, before any adjustment. \
                 Line: what the wear model expects of a wing. Band: its range for 95 of 100 wings."
            } else {
                "Ring: one check of one wing, before any adjustment."
            },
            &format!("drift-{place}"),
            &drift_figures(&rows)?,
        );
    }
    out.push_str("</section>\n");
    Ok(())
}

fn fitted(out: &mut String, fit: &WearSummary) -> Result<(), ReportError> {
    let _ = writeln!(
        out,
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
        out.push_str(
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
    out.push_str(&table(
        "Drift of the lines, mm per metre of line in the first 100 h (minus: shorter)",
        &["Where", "In words (95 %)", "Estimate", "95 % interval"],
        &rows,
    ));
    if let Some(figure) = rate_figure(&fit.terms)? {
        panels(out, "Drift by material and row", "Dot: estimate. Bar: 95 % interval.", "rate", &[figure]);
    }
    let spread = |group: &str| fit.spread.iter().find(|row| row.group == group && row.effect == "rate")?.sd;
    if let Some(sd) = spread("wing") {
        let by_row = spread("wing:row").map_or_else(String::new, |sd| {
            format!(", and its rows among themselves by {} mm per metre", words::number(sd, 2))
        });
        let _ = writeln!(
            out,
            "<p>Wings differ: the rates of one wing lie off the fleet\u{2019}s by {} mm per metre (standard deviation){by_row}.</p>",
            words::number(sd, 2)
        );
    }
    if !fit.dropped_terms.is_empty() {
        let _ = writeln!(
            out,
            "<p>Left out, as the data cannot tell them apart: {}.</p>",
            escape(&fit.dropped_terms.join(", "))
        );
    }
    for diagnostic in &fit.diagnostics {
        let _ = writeln!(out, "<p class=\"note\">{}</p>", escape(&diagnostic.message));
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
