//! Two-way analysis of variance of a balanced crossed design.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::GaugeError;

/// One reading of a study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GaugeReading {
    /// What was measured: a line, with its side.
    pub part: String,
    /// Who measured.
    pub operator: String,
    /// The value, mm.
    pub value_mm: f64,
}

/// One row of an analysis of variance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AnovaRow {
    /// Source of variation: `operator`, `part`, `interaction`, `repeatability`.
    pub source: String,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Sum of squares, mm².
    pub sum_of_squares_mm2: f64,
    /// Mean square, mm².
    pub mean_square_mm2: f64,
    /// Ratio of the mean square to the one it is tested against, where it is and that is not zero.
    pub f_ratio: Option<f64>,
    /// Probability of a larger ratio when the source has no effect.
    pub p_value: Option<f64>,
}

/// A mean square and its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MeanSquare {
    pub(super) sum: f64,
    pub(super) freedom: f64,
}

impl MeanSquare {
    pub(super) fn mean(self) -> f64 {
        if self.freedom > 0.0 { self.sum / self.freedom } else { 0.0 }
    }

    pub(super) fn pooled(self, other: Self) -> Self {
        Self { sum: self.sum + other.sum, freedom: self.freedom + other.freedom }
    }

    pub(super) fn f_ratio(self, error: Self) -> Option<f64> {
        let below = error.mean();
        (below > 0.0).then(|| self.mean() / below)
    }

    pub(super) fn p_value(self, error: Self) -> Option<f64> {
        Some(FisherSnedecor::new(self.freedom, error.freedom).ok()?.sf(self.f_ratio(error)?))
    }

    pub(super) fn row(self, source: &str, error: Option<Self>) -> AnovaRow {
        AnovaRow {
            source: source.to_owned(),
            degrees_of_freedom: self.freedom,
            sum_of_squares_mm2: self.sum,
            mean_square_mm2: self.mean(),
            f_ratio: error.and_then(|error| self.f_ratio(error)),
            p_value: error.and_then(|error| self.p_value(error)),
        }
    }
}

/// The sums of a balanced crossed design.
#[derive(Debug, Clone)]
pub(super) struct Crossed {
    pub(super) parts: usize,
    pub(super) operators: usize,
    pub(super) trials: usize,
    pub(super) mean: f64,
    pub(super) part: MeanSquare,
    pub(super) operator: MeanSquare,
    pub(super) interaction: MeanSquare,
    pub(super) error: MeanSquare,
}

impl Crossed {
    pub(super) fn new(readings: &[GaugeReading]) -> Result<Self, GaugeError> {
        let mut cells: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
        let (mut parts, mut operators) = (BTreeMap::new(), BTreeMap::new());
        for reading in readings {
            if !reading.value_mm.is_finite() {
                return Err(GaugeError::NotFinite {
                    part: reading.part.clone(),
                    operator: reading.operator.clone(),
                    value: reading.value_mm,
                });
            }
            cells.entry((&reading.part, &reading.operator)).or_default().push(reading.value_mm);
            parts.insert(reading.part.as_str(), 0.0);
            operators.insert(reading.operator.as_str(), 0.0);
        }
        for (what, got) in [("lines", parts.len()), ("operators", operators.len())] {
            if got < 2 {
                return Err(GaugeError::TooFew { what, got, needed: 2 });
            }
        }
        let trials = cells.values().next().map_or(0, Vec::len);
        for part in parts.keys() {
            for operator in operators.keys() {
                let got = cells.get(&(*part, *operator)).map_or(0, Vec::len);
                if got != trials {
                    return Err(GaugeError::Unbalanced {
                        part: (*part).to_owned(),
                        operator: (*operator).to_owned(),
                        got,
                        expected: trials,
                    });
                }
            }
        }
        let (p, o, r) = (parts.len() as f64, operators.len() as f64, trials as f64);
        // about the grand mean, and that about the first reading, so that large common lengths cost no digits
        let first = readings.first().map_or(0.0, |reading| reading.value_mm);
        let mean = first + readings.iter().map(|reading| reading.value_mm - first).sum::<f64>() / (p * o * r);
        let mut error = 0.0;
        let mut between = 0.0;
        for ((part, operator), values) in &cells {
            let cell = values.iter().map(|value| value - mean).sum::<f64>() / r;
            error += values.iter().map(|value| (value - mean - cell).powi(2)).sum::<f64>();
            between += r * cell * cell;
            if let Some(sum) = parts.get_mut(part) {
                *sum += cell / o;
            }
            if let Some(sum) = operators.get_mut(operator) {
                *sum += cell / p;
            }
        }
        let of_parts: f64 = o * r * parts.values().map(|effect| effect * effect).sum::<f64>();
        let of_operators: f64 = p * r * operators.values().map(|effect| effect * effect).sum::<f64>();
        Ok(Self {
            parts: parts.len(),
            operators: operators.len(),
            trials,
            mean,
            part: MeanSquare { sum: of_parts, freedom: p - 1.0 },
            operator: MeanSquare { sum: of_operators, freedom: o - 1.0 },
            interaction: MeanSquare {
                sum: (between - of_parts - of_operators).max(0.0),
                freedom: (p - 1.0) * (o - 1.0),
            },
            error: MeanSquare { sum: error, freedom: p * o * (r - 1.0) },
        })
    }
}
