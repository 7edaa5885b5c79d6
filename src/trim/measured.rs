//! The lines of one check with what trim needs of each, and linear combinations of their deviations.

use super::Interval;
use crate::check::{Budget, Check, LineDeviation, RiserDeviations, Uncertainty, Weighted};
use crate::wing::{LineSet, Row, Side};

/// One line read at a check.
#[derive(Debug, Clone, Copy)]
pub(super) struct MeasuredLine {
    pub(super) side: Side,
    /// Index in the line set.
    pub(super) line: usize,
    pub(super) row: Row,
    pub(super) span: f64,
    pub(super) chord: Option<f64>,
    /// Deviation, the riser's included, mm.
    pub(super) deviation_mm: f64,
    pub(super) riser_mm: f64,
    pub(super) repeats: u32,
}

/// All lines of one check and the budget of their deviations.
#[derive(Debug, Clone)]
pub(super) struct Measured {
    pub(super) lines: Vec<MeasuredLine>,
    pub(super) budget: Budget,
    /// Median of the rows A–D, mm.
    pub(super) common_mm: Option<f64>,
}

impl Measured {
    pub(super) fn of(set: &LineSet, check: &Check, budget: Budget) -> Self {
        let risers = RiserDeviations::of(set, check);
        let mut deviations: Vec<LineDeviation> = crate::check::deviations(set, check);
        let mut lines = Vec::with_capacity(deviations.len());
        for found in &mut deviations {
            let Some(line) = set.lines().get(found.line) else { continue };
            let riser_mm = risers.of_row_mm(found.side, line.row);
            found.deviation_mm += riser_mm;
            lines.push(MeasuredLine {
                side: found.side,
                line: found.line,
                row: line.row,
                span: line.span,
                chord: set.chord(found.line),
                deviation_mm: found.deviation_mm,
                riser_mm,
                repeats: found.repeats,
            });
        }
        let common_mm = crate::check::common_offset_mm(set, &deviations);
        Self { lines, budget, common_mm }
    }

    /// Indices of the lines of a row on the given sides.
    pub(super) fn members(&self, row: Row, sides: &[Side]) -> Vec<usize> {
        let here = |line: &MeasuredLine| line.row == row && sides.contains(&line.side);
        self.lines.iter().enumerate().filter(|(_, line)| here(line)).map(|(index, _)| index).collect()
    }

    /// A combination with every coefficient zero.
    pub(super) fn nothing(&self) -> Combination {
        Combination { coefficients: vec![0.0; self.lines.len()] }
    }

    /// The plain mean of some lines.
    pub(super) fn mean(&self, members: &[usize]) -> Combination {
        let mut mean = self.nothing();
        for &line in members {
            mean.coefficients[line] = 1.0 / members.len() as f64;
        }
        mean
    }
}

/// A linear combination `Σ a_i d_i` of the deviations of one check.
#[derive(Debug, Clone)]
pub(super) struct Combination {
    pub(super) coefficients: Vec<f64>,
}

impl Combination {
    /// `self + factor · other`.
    pub(super) fn plus(&self, factor: f64, other: &Combination) -> Combination {
        let pairs = self.coefficients.iter().zip(&other.coefficients);
        Combination { coefficients: pairs.map(|(a, b)| a + factor * b).collect() }
    }

    /// Half the sum of two.
    pub(super) fn half(&self, other: &Combination) -> Combination {
        let pairs = self.coefficients.iter().zip(&other.coefficients);
        Combination { coefficients: pairs.map(|(a, b)| f64::midpoint(*a, *b)).collect() }
    }

    /// Value on the raw deviations.
    pub(super) fn value(&self, measured: &Measured) -> f64 {
        self.above(measured, 0.0)
    }

    /// Value on the deviations less the common offset (the same, up to rounding, where the coefficients sum to zero).
    pub(super) fn relative(&self, measured: &Measured) -> f64 {
        self.above(measured, measured.common_mm.unwrap_or(0.0))
    }

    fn above(&self, measured: &Measured, level: f64) -> f64 {
        let pairs = self.coefficients.iter().zip(&measured.lines);
        pairs.map(|(a, line)| a * (line.deviation_mm - level)).sum::<f64>() + 0.0
    }

    /// Uncertainty, what the whole check shares left out.
    pub(super) fn uncertainty(&self, measured: &Measured) -> Uncertainty {
        let pairs = self.coefficients.iter().zip(&measured.lines).filter(|(a, _)| **a != 0.0);
        measured.budget.relative(pairs.map(|(a, line)| Weighted {
            coefficient: *a,
            side: line.side,
            row: line.row,
            repeats: line.repeats,
        }))
    }

    /// Value on the relative deviations with its 95 % interval.
    pub(super) fn interval(&self, measured: &Measured) -> Interval {
        let value = self.relative(measured);
        let reach = self.uncertainty(measured).expanded();
        Interval { value: Some(value), lower: Some(value - reach), upper: Some(value + reach) }
    }
}
