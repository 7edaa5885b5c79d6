//! Row means, plain and effective, and their differences.

use super::measured::{Combination, Measured};
use super::span::{RowCurve, SpanWeights};
use super::{MainTrim, RowDifference, RowTrim, SideDifference};
use crate::wing::{LineSet, Row, Side};

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

/// The lines of one main, by side.
struct Main {
    name: String,
    row: Row,
    lines: [Vec<usize>; 2],
}

/// The main of a line: the segment at the riser, or what the line table says.
fn main_of(set: &LineSet, line: usize) -> Option<&str> {
    let named = set.lines().get(line)?.main.as_deref();
    let below = || set.path_indices(line).last().and_then(|at| set.segments().get(at)).map(|at| at.name.as_str());
    named.or_else(|| below().filter(|_| set.has_cascade()))
}

fn mains(set: &LineSet, measured: &Measured) -> Vec<Main> {
    let mut all: Vec<Main> = Vec::new();
    for (at, line) in measured.lines.iter().enumerate() {
        let Some(name) = main_of(set, line.line) else { continue };
        let known = all.iter().position(|main| main.name == name).unwrap_or_else(|| {
            all.push(Main { name: name.to_owned(), row: line.row, lines: [Vec::new(), Vec::new()] });
            all.len() - 1
        });
        all[known].lines[line.side.index()].push(at);
    }
    all
}

/// Every main on each side that was read.
pub(super) fn main_trims(set: &LineSet, measured: &Measured) -> Vec<MainTrim> {
    let of = |main: Main| {
        Side::BOTH.into_iter().filter_map(move |side| {
            let lines = &main.lines[side.index()];
            let mean = (!lines.is_empty()).then(|| measured.mean(lines))?;
            Some(MainTrim {
                main: main.name.clone(),
                row: main.row,
                side,
                mean_mm: mean.value(measured),
                se_mm: mean.uncertainty(measured).standard,
                lines: lines.len(),
            })
        })
    };
    mains(set, measured).into_iter().flat_map(of).collect()
}

/// Left less right mean of each row, each main and each line read on both sides.
pub(super) fn side_differences(set: &LineSet, measured: &Measured) -> Vec<SideDifference> {
    let mut found = Vec::new();
    let mut add = |row: Row, main: Option<String>, line: Option<String>, left: &[usize], right: &[usize]| {
        if left.is_empty() || right.is_empty() {
            return;
        }
        let difference = measured.mean(left).plus(-1.0, &measured.mean(right));
        let (difference_mm, uncertainty) = (difference.relative(measured), difference.uncertainty(measured));
        let reach = uncertainty.expanded();
        found.push(SideDifference {
            row,
            main,
            line,
            difference_mm,
            se_mm: uncertainty.standard,
            lower_mm: difference_mm - reach,
            upper_mm: difference_mm + reach,
        });
    };
    for row in Row::ALL {
        let [left, right] = Side::BOTH.map(|side| measured.members(row, &[side]));
        add(row, None, None, &left, &right);
    }
    for Main { name, row, lines: [left, right] } in mains(set, measured) {
        add(row, Some(name), None, &left, &right);
    }
    let mut place: Vec<Option<usize>> = vec![None; set.lines().len()];
    for (at, line) in measured.lines.iter().enumerate() {
        match (line.side, place.get_mut(line.line)) {
            (Side::Left, Some(place)) => *place = Some(at),
            (Side::Right, Some(Some(left))) => {
                let name = set.lines().get(line.line).map(|line| line.name.clone());
                add(line.row, None, name, &[*left], &[at]);
            }
            _ => {}
        }
    }
    found
}
