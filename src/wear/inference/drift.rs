//! Drift of whole rows, in millimetres at a model's own lines.

use serde::{Deserialize, Serialize};

use crate::wear::fit::wear_fit::combination;
use crate::wear::model::layout::LineRow;
use crate::wear::{Shape, WearFit};
use crate::wing::{LineSet, Row};

/// What a row's mean length drifts by over the first 100 h at the lines of one model, with a 95 % interval: an average wing
/// of the fleet, covariates at zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DriftRow {
    /// Model.
    pub model: String,
    /// `A` … `brake`, or `A−C`: front less rear, the outermost of the rows A–D that the model has.
    pub row: String,
    /// The part of one material; `None` for the whole, span terms included.
    pub material: Option<String>,
    /// Mean drift over the first 100 h, mm; negative for shrinkage.
    pub mm: f64,
    /// Lower end, mm.
    pub lower_mm: f64,
    /// Upper end, mm.
    pub upper_mm: f64,
}

impl WearFit {
    /// Drift of each row of each line set over the first 100 h, whole and by material, and of the front row less the rear:
    /// what decides trim. Rows of which the fit knows nothing are left out. The materials' parts of a row are without the
    /// span term and so need not add up to the whole.
    #[must_use]
    pub fn drift(&self, sets: &[LineSet]) -> Vec<DriftRow> {
        let mut out = Vec::new();
        for set in sets {
            let rows: Vec<Row> = Row::ALL
                .into_iter()
                .filter(|row| set.lines().iter().any(|line| line.row == *row) && self.knows_row(set, *row))
                .collect();
            let named = |row: &str, material: Option<&str>, weights: Vec<f64>| {
                let found = combination(&self.components, |_| weights.clone());
                DriftRow {
                    model: set.model().to_owned(),
                    row: row.to_owned(),
                    material: material.map(str::to_owned),
                    mm: found.estimate,
                    lower_mm: found.estimate - found.half,
                    upper_mm: found.estimate + found.half,
                }
            };
            for row in &rows {
                out.push(named(row.name(), None, self.row_weights(set, *row, None)));
                let materials: Vec<&str> = self
                    .layout
                    .materials()
                    .filter(|material| self.row_weights(set, *row, Some(material)).iter().any(|w| *w != 0.0))
                    .collect();
                if materials.len() > 1 {
                    for material in materials {
                        let weights = self.row_weights(set, *row, Some(material));
                        out.push(named(row.name(), Some(material), weights));
                    }
                }
            }
            let chordwise: Vec<&Row> = rows.iter().filter(|row| row.is_trim()).collect();
            if let [front, .., rear] = chordwise[..] {
                let mut weights = self.row_weights(set, *front, None);
                for (weight, rear) in weights.iter_mut().zip(self.row_weights(set, *rear, None)) {
                    *weight -= rear;
                }
                out.push(named(&format!("{}\u{2212}{}", front.name(), rear.name()), None, weights));
            }
        }
        out
    }

    /// Whether the fit has a rate for a material in a row.
    pub(crate) fn has_rate(&self, material: &str, row: Row) -> bool {
        self.layout
            .rate(material, row)
            .is_some_and(|column| self.mixed().fixed().iter().any(|effect| effect.column == column))
    }

    /// Whether every material of a row's lines has a rate in that row.
    fn knows_row(&self, set: &LineSet, row: Row) -> bool {
        set.lines().iter().enumerate().filter(|(_, line)| line.row == row).all(|(index, _)| {
            let exposures = set.exposure_m(index);
            exposures.iter().all(|exposure| exposure.length_m <= 0.0 || self.has_rate(exposure.material, row))
        })
    }

    /// Mean contribution of a row's lines to each fixed column at `g = 1`; of one material only, without the span term.
    pub(crate) fn row_weights(&self, set: &LineSet, row: Row, material: Option<&str>) -> Vec<f64> {
        let lines: Vec<usize> =
            set.lines().iter().enumerate().filter(|(_, line)| line.row == row).map(|(line, _)| line).collect();
        let mut weights = vec![0.0; self.layout.structure.fixed.len()];
        let mut line_row = LineRow::default();
        let only = material.map(|material| format!("rate:{material}:{row}"));
        for &line in &lines {
            self.layout.line_row_by(set, line, &[], |_| Shape::LINEAR.at(100.0), &mut line_row);
            for (column, value) in &line_row.fixed {
                if only.as_ref().is_none_or(|only| self.layout.structure.fixed[*column] == *only) {
                    weights[*column] += value / lines.len() as f64;
                }
            }
        }
        weights
    }
}
