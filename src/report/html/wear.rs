//! The page's part on wear: how the fleet's lines drift.

use maud::{Markup, html};

use super::draft::{Draft, Layout, note, section};
use super::table::{Cell, table};
use crate::report::build::{ReportData, WearSummary};
use crate::report::figures::{drift_figures, rate_figure};
use crate::report::{ReportError, words};
use crate::wear::TermRow;

/// How the lines of the fleet wear, with the drift of some models.
pub(super) fn part(draft: &mut Draft, data: &ReportData<'_>, models: &[&str]) -> Result<Markup, ReportError> {
    if data.wear.is_none() && data.drifts.is_empty() {
        return Ok(Markup::default());
    }
    let fit = match data.wear {
        Some(fit) => fitted(draft, fit)?,
        None => Markup::default(),
    };
    let mut drifts = Vec::with_capacity(models.len());
    for (place, model) in models.iter().enumerate() {
        let rows: Vec<_> = data.drifts.iter().filter(|drift| drift.model == *model).cloned().collect();
        let key = if rows.iter().any(|row| !row.path.is_empty()) {
            "Ring: one check of one wing, before any adjustment. Line: what the wear model expects of a wing. Band: its range for \
             95 of 100 wings."
        } else {
            "Ring: one check of one wing, before any adjustment."
        };
        drifts.push(draft.figures(
            Layout::Panels,
            &format!("Model {model}: mean of each row, less the common offset, against hours flown"),
            key,
            &format!("drift-{place}"),
            drift_figures(&rows)?,
        ));
    }
    Ok(section(
        "wear",
        "How the lines wear",
        &html! {
            (fit)
            @if !drifts.is_empty() {
                details .more {
                    summary { "Row by row against hours flown: " (words::count(drifts.len(), "model", "models")) }
                    @for drift in &drifts { (drift) }
                }
            }
        },
    ))
}

pub(super) fn fitted(draft: &mut Draft, fit: &WearSummary) -> Result<Markup, ReportError> {
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
    let figure = draft.figures(
        Layout::Panels,
        "Drift by material and row",
        "mm per metre of line in the first 100 h. Minus: shorter. Dot: estimate. Bar: 95 % interval.",
        "rate",
        rate_figure(&fit.terms)?.into_iter().collect(),
    );
    let shape = match fit.shape.scale_h() {
        Some(scale) => format!("time shape {} with a scale of {} h", fit.shape.name(), words::number(scale, 0)),
        None => format!("time shape {}", fit.shape.name()),
    };
    Ok(html! {
        @if !fit.converged {
            p .demo { strong { "The fit did not converge." } " Do not use these figures." }
        }
        div .beside {
            (figure)
            (table(
                "Drift of the lines, mm per metre of line in the first 100 h (minus: shorter)",
                &["Where", "In words", "Estimate", "95 % interval"],
                &rows,
            ))
        }
        p .note {
            "Fitted to " (words::count(fit.readings, "reading", "readings")) " of "
            (words::count(fit.wings, "wing", "wings")) " at " (words::count(fit.checks, "check", "checks")) ", " (shape) "."
            @if fit.restarted_lines > 0 {
                " " (words::count(fit.restarted_lines, "line", "lines")) " started again after an adjustment."
            }
            (apart(fit))
            @if !fit.dropped_terms.is_empty() {
                " Left out, because the data cannot tell them apart: " (fit.dropped_terms.join(", ")) "."
            }
        }
        @for diagnostic in &fit.diagnostics { (note(&diagnostic.message)) }
    })
}

/// How far wings are apart.
fn apart(fit: &WearSummary) -> String {
    let spread = |group: &str| fit.spread.iter().find(|row| row.group == group && row.effect == "rate")?.sd;
    let by_row = spread("wing:row").map_or_else(String::new, |sd| {
        format!(", and its rows differ among themselves by {} mm per metre", words::number(sd, 2))
    });
    spread("wing").map_or_else(String::new, |sd| {
        format!(
            " Wings differ: the rates of one wing lie off the fleet\u{2019}s by {} mm per metre (standard deviation){by_row}.",
            words::number(sd, 2)
        )
    })
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
