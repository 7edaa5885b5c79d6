//! Row means, plain and effective, and their differences.

use super::measured::{Combination, Measured};
use super::span::{RowCurve, SpanWeights};
use super::{RowDifference, RowTrim, SideDifference};
use crate::wing::{Row, Side};

/// The sides a row is averaged over, and what they are called.
pub(super) const SIDES: [(&str, &[Side]); 3] =
    [("left", &[Side::Left]), ("right", &[Side::Right]), ("both", &Side::BOTH)];

/// Span-weighted mean of a row on one side.
pub(super) fn effective(measured: &Measured, curve: &RowCurve, weights: &SpanWeights) -> Combination {
    let mut sum = measured.nothing();
    for station in &weights.stations {
        curve.shares(station.span, |share| sum.coefficients[share.line] += station.weight * share.coefficient);
    }
    sum
}

/// Every row read, per side and both.
pub(super) fn row_trims(measured: &Measured, weights: &SpanWeights) -> Vec<RowTrim> {
    let mut found = Vec::new();
    for row in Row::ALL {
        let halves = Side::BOTH.map(|side| {
            let curve = RowCurve::through(&measured.lines, &measured.members(row, &[side]));
            curve.filter(|_| row.is_trim()).map(|curve| effective(measured, &curve, weights))
        });
        for (name, sides) in SIDES {
            let members = measured.members(row, sides);
            if members.is_empty() {
                continue;
            }
            let weighted = match (&halves, sides) {
                ([Some(left), Some(right)], [_, _]) => Some(left.half(right)),
                ([Some(one), None] | [None, Some(one)], [_, _]) => Some(one.clone()),
                ([left, _], [Side::Left]) => left.clone(),
                ([_, right], _) => right.clone(),
            };
            let mean = measured.mean(&members);
            found.push(RowTrim {
                row,
                side: name.to_owned(),
                mean_mm: mean.value(measured),
                effective_mm: weighted.as_ref().map(|weighted| weighted.value(measured)),
                effective_se_mm: weighted.as_ref().map(|weighted| weighted.uncertainty(measured).standard),
                se_mm: mean.uncertainty(measured).standard,
                lines: members.len(),
            });
        }
    }
    found
}

/// Differences of every two rows of A–D, per side and both.
pub(super) fn row_differences(measured: &Measured) -> Vec<RowDifference> {
    let mut found = Vec::new();
    for (name, sides) in SIDES {
        let rows: Vec<(Row, Combination)> = Row::ALL
            .into_iter()
            .filter(|row| row.is_trim())
            .map(|row| (row, measured.members(row, sides)))
            .filter(|(_, members)| !members.is_empty())
            .map(|(row, members)| (row, measured.mean(&members)))
            .collect();
        for (at, (front, before)) in rows.iter().enumerate() {
            for (rear, behind) in &rows[at + 1..] {
                let difference = before.plus(-1.0, behind);
                found.push(RowDifference {
                    front: *front,
                    rear: *rear,
                    side: name.to_owned(),
                    difference_mm: difference.relative(measured),
                    se_mm: difference.uncertainty(measured).standard,
                });
            }
        }
    }
    found
}

/// Left less right mean of each row read on both sides.
pub(super) fn side_differences(measured: &Measured) -> Vec<SideDifference> {
    let mut found = Vec::new();
    for row in Row::ALL {
        let [left, right] = Side::BOTH.map(|side| measured.members(row, &[side]));
        if left.is_empty() || right.is_empty() {
            continue;
        }
        let difference = measured.mean(&left).plus(-1.0, &measured.mean(&right));
        found.push(SideDifference {
            row,
            difference_mm: difference.relative(measured),
            se_mm: difference.uncertainty(measured).standard,
        });
    }
    found
}
