//! Drift of whole rows, in millimetres at a model's own lines.

use serde::{Deserialize, Serialize};

use crate::wear::WearFit;
use crate::wear::fit::wear_fit::EffectWeights;
use crate::wear::model::layout::LineRow;
use crate::wing::{LineSet, Row};

/// What a row's mean length drifts by over the first 100 h at the lines of one model, with a 95 % interval: an average wing
/// of the fleet, covariates at their mean.
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
            let named = |row: &str, material: Option<&str>, weights: EffectWeights| {
                let found = self.combination(|_| weights.clone());
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
                out.push(named(row.name(), None, self.row_weights(set, *row, None, |_| 1.0)));
                let materials: Vec<&str> = self
                    .layout
                    .materials()
                    .filter(|material| {
                        self.row_weights(set, *row, Some(material), |_| 1.0).fixed.iter().any(|w| *w != 0.0)
                    })
                    .collect();
                if materials.len() > 1 {
                    for material in materials {
                        let weights = self.row_weights(set, *row, Some(material), |_| 1.0);
                        out.push(named(row.name(), Some(material), weights));
                    }
                }
            }
            let chordwise: Vec<&Row> = rows.iter().filter(|row| row.is_trim()).collect();
            if let [front, .., rear] = chordwise[..] {
                let mut weights = self.row_weights(set, *front, None, |_| 1.0);
                weights.add(&self.row_weights(set, *rear, None, |_| 1.0), -1.0);
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
    pub(crate) fn knows_row(&self, set: &LineSet, row: Row) -> bool {
        set.lines().iter().enumerate().filter(|(_, line)| line.row == row).all(|(index, _)| {
            let exposures = set.exposure_m(index);
            exposures.iter().all(|exposure| exposure.length_m <= 0.0 || self.has_rate(exposure.material, row))
        })
    }

    /// Mean contribution of a row's lines to each shared and fixed column, the time shape's value given by material; of one material
    /// only, without the span term. Where models have rates of their own, those of the set's model are in it.
    pub(crate) fn row_weights(
        &self,
        set: &LineSet,
        row: Row,
        material: Option<&str>,
        g: impl Fn(&str) -> f64,
    ) -> EffectWeights {
        let lines: Vec<usize> =
            set.lines().iter().enumerate().filter(|(_, line)| line.row == row).map(|(line, _)| line).collect();
        let mut weights = EffectWeights::zeros(&self.layout);
        let mut line_row = LineRow::default();
        let share = 1.0 / lines.len().max(1) as f64;
        for &line in &lines {
            let of = |_: usize, of: &str| if material.is_none_or(|only| only == of) { g(of) } else { 0.0 };
            self.layout.line_row_by(set, line, &[], of, &mut line_row);
            for (column, value) in &line_row.shared {
                weights.shared[*column] += value * share;
            }
            for (column, value) in &line_row.fixed {
                // a material alone has no part in the span term
                if material.is_none() || self.layout.is_rate(*column) {
                    weights.fixed[*column] += value * share;
                }
            }
        }
        weights
    }
}
