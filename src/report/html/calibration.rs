//! The page's part on how good earlier forecasts were.

use super::draft::Draft;
use super::table::Cell;
use crate::forecast::{Backtest, Method};
use crate::report::ReportError;
use crate::report::figures::calibration_figures;
use crate::report::words::{self, number};

pub(super) fn section(draft: &mut Draft, test: &Backtest) -> Result<(), ReportError> {
    draft.open("calibration", "Were the forecasts true?");
    draft.text(&format!(
        "Checks of this fleet were hidden and forecast from what was known before them: {} of row means at {}. If the \
         intervals are honest, a 95 % interval holds what was measured 95 times in 100.",
        words::count(test.scores().len(), "forecast", "forecasts"),
        words::count(test.checks(), "check", "checks")
    ));
    let [coverage, histogram] = calibration_figures(test)?;
    draft.panels(
        "Forecasts against what came",
        "Shaded: what chance alone would leave of true forecasts.",
        "calibration-figure",
        vec![coverage, histogram],
    );
    let pct = |share: f64| format!("{} %", number(100.0 * share, 0));
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
    draft.table("How often intervals held what was measured", &["Level", "Held", "By chance, 95 %, if true"], &rows);
    let crps = test.crps();
    let rows: Vec<Vec<Cell>> = Method::ALL
        .into_iter()
        .map(|method| {
            let more = if method == Method::Linedrift {
                "–".to_owned()
            } else {
                words::interval(&test.crps_excess_mm(method), 2)
            };
            let name = if method == Method::Linedrift { "this model" } else { method.name() };
            vec![Cell::words(name), Cell::figure(number(crps.of(method), 2)), Cell::figure(more)]
        })
        .collect();
    draft.table(
        "Score of the forecasts (mean CRPS), mm: the less the better",
        &["Method", "Score", "More than this model (95 %)"],
        &rows,
    );
    draft.close();
    Ok(())
}
