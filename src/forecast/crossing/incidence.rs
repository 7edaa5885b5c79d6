//! What one millimetre of a line does to the incidence.

use std::f64::consts::{FRAC_PI_4, PI};

use crate::wear::LineKey;
use crate::wing::{Line, LineSet, ModelData, Row, Side};

/// Mean chord of a model, mm: area over span; without them `π/4` of the chord at the centre, which is the mean of an
/// elliptic planform (`None` when the model gives neither, or a figure is not above 0).
#[must_use]
pub fn mean_chord_mm(data: &ModelData) -> Option<f64> {
    let chord_m = match (data.area_m2, data.span_m) {
        (Some(area_m2), Some(span_m)) => area_m2 / span_m,
        _ => data.root_chord_m? * FRAC_PI_4,
    };
    (chord_m.is_finite() && chord_m > 0.0).then_some(1000.0 * chord_m)
}

/// Degrees of incidence change per millimetre of each line, for the simple incidence change: minus the least-squares
/// slope of the plain row means of A–D on the rows' mean chord positions, on one mean chord `c`.
///
/// With `x_r` the mean chord position of row r in mm (fraction times `c`), `x̄` their mean over rows and `n_r` the lines of
/// the row among `lines`, a line of row r has `−(180/π)·(x_r − x̄)/(n_r·Σ(x − x̄)²)`; lines outside A–D have 0. The weights
/// sum to zero, so that a common offset has no effect. Nose-up is positive.
///
/// `None` when a row among `lines` has no chord position, fewer than two positions differ, or the mean chord is unknown.
#[must_use]
pub fn incidence_weights(set: &LineSet, lines: &[LineKey]) -> Option<Vec<f64>> {
    let chord_mm = mean_chord_mm(set.data())?;
    let mut counts = [0.0; 4];
    let mut places = [0.0; 4];
    for key in lines {
        let row = set.lines().get(key.line)?.row;
        if row.is_trim() {
            counts[row.index()] += 1.0;
            places[row.index()] += set.chord(key.line)? * chord_mm;
        }
    }
    let present: Vec<usize> = (0..4).filter(|row| counts[*row] > 0.0).collect();
    for row in &present {
        places[*row] /= counts[*row];
    }
    let mean = present.iter().map(|row| places[*row]).sum::<f64>() / present.len() as f64;
    let square: f64 = present.iter().map(|row| (places[*row] - mean).powi(2)).sum();
    // rows nearer than a millimetre carry no incidence
    if present.len() < 2 || !(square.is_finite() && square > 1.0) {
        return None;
    }
    let weight = |row: Row| {
        let index = row.index();
        if row.is_trim() { -(180.0 / PI) * (places[index] - mean) / (counts[index] * square) } else { 0.0 }
    };
    Some(lines.iter().filter_map(|key| set.lines().get(key.line)).map(|line| weight(line.row)).collect())
}

/// Degrees that the incidence of the left side less that of the right changes per millimetre of each line: the weights of
/// [`incidence_weights`] on each side alone, those of the right with the sign turned. `None` where a side has no incidence.
#[must_use]
pub fn left_right_weights(set: &LineSet, lines: &[LineKey]) -> Option<Vec<f64>> {
    let mut weights = vec![0.0; lines.len()];
    for side in Side::BOTH {
        let columns: Vec<usize> = (0..lines.len()).filter(|&k| lines[k].side == side).collect();
        let of_side: Vec<LineKey> = columns.iter().map(|&k| lines[k]).collect();
        let sign = if side == Side::Left { 1.0 } else { -1.0 };
        for (column, weight) in columns.into_iter().zip(incidence_weights(set, &of_side)?) {
            weights[column] = sign * weight;
        }
    }
    Some(weights)
}

/// Degrees that the incidence changes from the centre to the tips, per millimetre of each line: in each row A–D the
/// least-squares slope `b_r = Σ (η − η̄) d / Σ (η − η̄)²` of the deviations on the span position, both sides together, then
/// minus the slope of the `b_r` on the rows' mean chord positions, on one mean chord, as in [`incidence_weights`]. A row whose
/// lines are all at one span position is left out.
///
/// `None` where fewer than two rows at different chord positions remain, or the mean chord is unknown.
#[must_use]
pub fn twist_weights(set: &LineSet, lines: &[LineKey]) -> Option<Vec<f64>> {
    let chord_mm = mean_chord_mm(set.data())?;
    let (mut counts, mut places, mut spans) = ([0.0; 4], [0.0; 4], [0.0; 4]);
    for key in lines {
        let line = set.lines().get(key.line)?;
        if line.row.is_trim() {
            let row = line.row.index();
            counts[row] += 1.0;
            places[row] += set.chord(key.line)? * chord_mm;
            spans[row] += line.span;
        }
    }
    for row in (0..4).filter(|&row| counts[row] > 0.0) {
        places[row] /= counts[row];
        spans[row] /= counts[row];
    }
    let mut squares = [0.0; 4];
    for line in lines.iter().filter_map(|key| set.lines().get(key.line)).filter(|line| line.row.is_trim()) {
        squares[line.row.index()] += (line.span - spans[line.row.index()]).powi(2);
    }
    let present: Vec<usize> = (0..4).filter(|&row| squares[row] > 1e-6).collect();
    let mean = present.iter().map(|&row| places[row]).sum::<f64>() / present.len() as f64;
    let square: f64 = present.iter().map(|&row| (places[row] - mean).powi(2)).sum();
    // rows nearer than a millimetre carry no incidence
    if present.len() < 2 || !(square.is_finite() && square > 1.0) {
        return None;
    }
    let weight = |line: &Line| {
        let row = line.row.index();
        if !line.row.is_trim() || !present.contains(&row) {
            return 0.0;
        }
        -(180.0 / PI) * (places[row] - mean) / square * (line.span - spans[row]) / squares[row]
    };
    Some(lines.iter().filter_map(|key| set.lines().get(key.line)).map(weight).collect())
}
