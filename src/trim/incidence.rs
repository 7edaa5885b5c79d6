//! Incidence change along the span, its effective value, and what the straight line leaves.

use super::chordwise::slope_coefficients;
use super::measured::{Combination, Measured};
use super::span::{RowCurve, SpanWeights};
use super::{ShapeResidual, TwistStation};
use crate::wing::{Planform, Row, Side};

/// Positions along the half span at which the incidence change is listed. The last stays clear of the tip, where the
/// chord of an elliptic wing vanishes.
const TWIST_STATIONS: [f64; 10] = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9];

/// The rows A–D of one side that have chord positions.
#[derive(Debug, Clone)]
pub(super) struct HalfWing {
    side: Side,
    rows: Vec<RowOnSide>,
}

#[derive(Debug, Clone)]
struct RowOnSide {
    row: Row,
    curve: RowCurve,
}

impl HalfWing {
    pub(super) fn of(measured: &Measured, side: Side) -> Self {
        let rows = Row::ALL.into_iter().filter(|row| row.is_trim()).filter_map(|row| {
            let curve = RowCurve::through(&measured.lines, &measured.members(row, &[side]))?;
            curve.chord(0.0)?;
            Some(RowOnSide { row, curve })
        });
        Self { side, rows: rows.collect() }
    }

    /// Rows with chord positions.
    pub(super) fn rows(&self) -> usize {
        self.rows.len()
    }

    /// Slope coefficients of the rows at a span position.
    fn slope(&self, span: f64) -> Option<Vec<f64>> {
        let mut positions: Vec<f64> = self.rows.iter().filter_map(|row| row.curve.chord(span)).collect();
        slope_coefficients(&mut positions).map(|()| positions)
    }

    /// Adds `factor` times the incidence change at a span position, degrees nose-up; `None` where rows coincide.
    fn add_incidence(&self, sum: &mut Combination, span: f64, planform: &Planform, factor: f64) -> Option<()> {
        let per_mm = factor * (1.0 / (planform.chord_m(span) * 1000.0)).to_degrees();
        if !per_mm.is_finite() {
            return None;
        }
        for (row, slope) in self.rows.iter().zip(self.slope(span)?) {
            row.curve.shares(span, |share| sum.coefficients[share.line] -= per_mm * slope * share.coefficient);
        }
        Some(())
    }

    /// Effective incidence change of this half: the local incidence changes weighted by their part in the lift.
    pub(super) fn effective(
        &self,
        measured: &Measured,
        planform: &Planform,
        weights: &SpanWeights,
    ) -> Option<Combination> {
        let mut sum = measured.nothing();
        for station in &weights.stations {
            self.add_incidence(&mut sum, station.span, planform, station.weight)?;
        }
        Some(sum)
    }

    /// Incidence change at one span position.
    pub(super) fn at(&self, measured: &Measured, planform: &Planform, span: f64) -> Option<Combination> {
        let mut sum = measured.nothing();
        self.add_incidence(&mut sum, span, planform, 1.0)?;
        Some(sum)
    }

    /// The incidence change along the span.
    pub(super) fn twist(&self, measured: &Measured, planform: &Planform) -> Vec<TwistStation> {
        let station = |span: f64| {
            let here = self.at(measured, planform, span)?;
            Some(TwistStation {
                span,
                side: self.side,
                incidence_deg: here.relative(measured),
                se_deg: here.uncertainty(measured).standard,
            })
        };
        TWIST_STATIONS.into_iter().filter_map(station).collect()
    }

    /// Residual of each row averaged over the span.
    fn residuals(&self, measured: &Measured, weights: &SpanWeights) -> Vec<ShapeResidual> {
        let level = measured.common_mm.unwrap_or(0.0);
        let mut found: Vec<ShapeResidual> =
            self.rows.iter().map(|row| ShapeResidual { row: row.row, mm: 0.0 }).collect();
        for station in &weights.stations {
            let Some(slope) = self.slope(station.span) else { continue };
            let points: Vec<(f64, f64)> = self
                .rows
                .iter()
                .filter_map(|row| {
                    let mut value = 0.0;
                    row.curve.shares(station.span, |share| {
                        value += share.coefficient * (measured.lines[share.line].deviation_mm - level);
                    });
                    Some((row.curve.chord(station.span)?, value))
                })
                .collect();
            let n = points.len() as f64;
            let centre = points.iter().map(|(x, _)| x).sum::<f64>() / n;
            let mean = points.iter().map(|(_, d)| d).sum::<f64>() / n;
            let along: f64 = slope.iter().zip(&points).map(|(c, (_, d))| c * (d - mean)).sum();
            for (residual, (x, d)) in found.iter_mut().zip(&points) {
                residual.mm += station.weight * (d - mean - along * (x - centre));
            }
        }
        found
    }
}

/// Shape residual of each row over the halves that have at least two rows: with two rows zero by construction.
pub(super) fn shape_residuals(
    halves: &[&HalfWing],
    measured: &Measured,
    weights: &SpanWeights,
) -> Vec<ShapeResidual> {
    let found: Vec<ShapeResidual> = halves.iter().flat_map(|half| half.residuals(measured, weights)).collect();
    let of_row = |row: Row| {
        let mm: Vec<f64> = found.iter().filter(|residual| residual.row == row).map(|residual| residual.mm).collect();
        (!mm.is_empty()).then(|| ShapeResidual { row, mm: mm.iter().sum::<f64>() / mm.len() as f64 })
    };
    Row::ALL.into_iter().filter_map(of_row).collect()
}
