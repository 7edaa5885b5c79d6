//! Row means against hours: what was measured, and the wear model's path beside it.

use serde::{Deserialize, Serialize};

use crate::check::{Check, Fleet, History, Stage, common_offset_mm, deviations};
use crate::wing::Row;

/// Mean of one row at one check, measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DriftPoint {
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// Mean of the row's relative deviations, mm.
    pub mean_mm: f64,
}

/// One row of one model: what was measured and what the wear model says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DriftSeries {
    /// Model name.
    pub model: String,
    /// Row.
    pub row: Row,
    /// Means measured at the checks.
    pub points: Vec<DriftPoint>,
    /// The wear model's path, by hours (empty when no model was fitted).
    pub path: Vec<DriftStation>,
}

/// The wear model at one time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DriftStation {
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// Mean of the row less the common offset, as expected of a wing, mm.
    pub mean_mm: f64,
    /// Lower end of the range that holds 95 of 100 wings, mm.
    pub lower_mm: f64,
    /// Upper end of that range, mm.
    pub upper_mm: f64,
}

/// Row means less the common offset (mm) at every `as_found` check before a wing's first adjustment, by model and row, with
/// no path. Rows A–D only: they are the ones that carry the trim.
#[must_use]
pub fn measured_drift(fleet: &Fleet) -> Vec<DriftSeries> {
    let mut drifts: Vec<DriftSeries> = Vec::new();
    for history in fleet.histories() {
        let set = fleet.line_set(history);
        for check in untouched(history) {
            let read = deviations(set, check);
            let Some(common_mm) = common_offset_mm(set, &read) else { continue };
            for row in Row::ALL.into_iter().filter(|row| row.is_trim()) {
                let values: Vec<f64> = read
                    .iter()
                    .filter(|line| set.lines().get(line.line).is_some_and(|line| line.row == row))
                    .map(|line| line.deviation_mm - common_mm)
                    .collect();
                if values.is_empty() {
                    continue;
                }
                let mean_mm = values.iter().sum::<f64>() / values.len() as f64;
                let point = DriftPoint { hours_h: check.hours_h, mean_mm };
                match drifts.iter_mut().find(|known| known.model == set.model() && known.row == row) {
                    Some(known) => known.points.push(point),
                    None => drifts.push(DriftSeries {
                        model: set.model().to_owned(),
                        row,
                        points: vec![point],
                        path: Vec::new(),
                    }),
                }
            }
        }
    }
    drifts.sort_by(|a, b| a.model.cmp(&b.model).then(a.row.cmp(&b.row)));
    drifts
}

/// Checks of a wing before anything was adjusted: what came later is wear from another start.
fn untouched(history: &History) -> impl Iterator<Item = &Check> {
    let acted = history.actions.first().map(|action| action.hours_h);
    let left = history.checks.iter().find(|check| check.stage == Stage::AsLeft).map(|check| check.hours_h);
    let until_h = [acted, left].into_iter().flatten().fold(f64::INFINITY, f64::min);
    history.checks.iter().filter(move |check| check.stage == Stage::AsFound && check.hours_h <= until_h)
}
