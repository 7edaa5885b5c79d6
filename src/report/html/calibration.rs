//! The page's part on how good earlier forecasts were.

use maud::{Markup, html};

use super::draft::{Draft, Layout};
use super::table::{Cell, table};
use crate::forecast::{Backtest, Method};
use crate::report::ReportError;
use crate::report::figures::calibration_figures;
use crate::report::words::{self, number};

pub(super) fn part(draft: &mut Draft, test: &Backtest) -> Result<Markup, ReportError> {
    let figures = draft.figures(
        Layout::Panels,
        "Forecasts against what was measured",
        "Shaded: what chance alone leaves of honest forecasts.",
        "calibration-figure",
        calibration_figures(test)?.into(),
    );
    let held = coverage(test);
    Ok(html! {
        details .more {
            summary { h2 #calibration { "How good the forecasts were" } p { (held) } }
            p {
                "Checks of this fleet were hidden and forecast from what was known before them: "
                (words::count(test.scores().len(), "forecast", "forecasts")) " of row means at "
                (words::count(test.checks(), "check", "checks")) ". An honest 95 % interval holds what was measured 95 times in 100."
            }
            (figures)
            (levels(test))
            (scores(test))
        }
        "\n"
    })
}

fn pct(share: f64) -> String {
    format!("{} %", number(100.0 * share, 0))
}

/// The widest level in a sentence.
fn coverage(test: &Backtest) -> String {
    test.coverage().last().map_or_else(String::new, |row| {
        format!(
            "{} intervals held what was measured in {} of cases; chance leaves {} to {}.",
            pct(row.level),
            pct(row.observed),
            pct(row.band.lower),
            pct(row.band.upper)
        )
    })
}

fn levels(test: &Backtest) -> Markup {
    let rows: Vec<Vec<Cell>> = test
        .coverage()
        .iter()
        .map(|row| {
            vec![
                Cell::words(pct(row.level)),
                Cell::figure(pct(row.observed)),
                Cell::figure(format!("{} to {}", pct(row.band.lower), pct(row.band.upper))),
            ]
        })
        .collect();
    table("How often intervals held what was measured", &["Level", "Held", "By chance, 95 %, if honest"], &rows)
}

fn scores(test: &Backtest) -> Markup {
    let crps = test.crps();
    let rows: Vec<Vec<Cell>> = Method::ALL
        .into_iter()
        .map(|method| {
            let own = method == Method::Linedrift;
            let more = if own { "\u{2013}".to_owned() } else { words::interval(&test.crps_excess_mm(method), 2) };
            let name = if own { "this model" } else { method.name() };
            vec![Cell::words(name), Cell::figure(number(crps.of(method), 2)), Cell::figure(more)]
        })
        .collect();
    table(
        "Score of the forecasts (mean CRPS), mm: lower is better",
        &["Method", "Score", "More than this model (95 %)"],
        &rows,
    )
}
