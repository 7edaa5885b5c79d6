//! How the lift is shared by the lines of a model, from statics.

use serde::{Deserialize, Serialize};

use super::finite_wing::row_load_shares;
use super::measured::MeasuredLine;
use super::span::{RowCurve, SpanWeights};
use crate::wing::{LineSet, Row, Side};

/// Centre of pressure taken for the shares, part of the chord (of the order of 0.3 for such sections; practice).
const CENTRE_OF_PRESSURE: f64 = 0.30;

/// One line's part of the lift of its half wing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineLoad {
    /// Index of the line in its line set.
    pub line: usize,
    /// Side.
    pub side: Side,
    /// Part of the lift of its half, 0 … 1; the lines A–D of a half sum to 1.
    pub share: f64,
}

/// Shares of the lines A–D of one half: at each span station its part of the lift goes to the rows by
/// [`row_load_shares`], and in each row to the lines beside the station by the lever rule. `None` without two rows of
/// known chord position.
pub(super) fn line_loads(set: &LineSet, side: Side, lift: &SpanWeights) -> Option<Vec<LineLoad>> {
    let lines: Vec<MeasuredLine> = (0..set.lines().len())
        .filter(|&line| set.has(line, side))
        .filter_map(|index| {
            let line = set.lines().get(index)?;
            let (deviation_mm, riser_mm, repeats) = (0.0, 0.0, 1);
            let chord = set.chord(index);
            let (row, span) = (line.row, line.span);
            Some(MeasuredLine { side, line: index, row, span, chord, deviation_mm, riser_mm, repeats })
        })
        .collect();
    let of_row = |row: Row| {
        let found = lines.iter().enumerate().filter(|(_, line)| line.row == row).map(|(at, _)| at);
        RowCurve::through(&lines, &found.collect::<Vec<_>>()).filter(|curve| curve.chord(0.0).is_some())
    };
    let rows: Vec<RowCurve> = Row::ALL.into_iter().filter(|row| row.is_trim()).filter_map(of_row).collect();
    let mut shares = vec![0.0; lines.len()];
    for station in &lift.stations {
        let positions: Vec<f64> = rows.iter().filter_map(|row| row.chord(station.span)).collect();
        let by_row = row_load_shares(&positions, CENTRE_OF_PRESSURE)?;
        for (row, part) in rows.iter().zip(by_row) {
            row.shares(station.span, |share| shares[share.line] += station.weight * part * share.coefficient);
        }
    }
    let load = |(line, share): (&MeasuredLine, f64)| LineLoad { line: line.line, side, share };
    Some(lines.iter().zip(shares).filter(|(line, _)| line.row.is_trim()).map(load).collect())
}
