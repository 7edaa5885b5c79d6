//! Which lines are off together: a search over the shapes that the faults of wings have.
//!
//! Each row has a level of its own; on top come the steps of groups (a side, a row on one side, the tips, a segment,
//! neighbours, a line; on one side or on both), and the taper of a row from the centre to the tips. One group after the other is taken in, the one that explains most for its
//! prior probability, as long as the odds for it are good: `Δ/(2σ²) + ln P`, `Δ` what the squares of the residuals lose.
//! Levels and steps are then least squares together, so that each is a linear combination of the deviations.

use super::measured::{Combination, Measured};
use crate::check::doubt::{Group, Tie, line_groups};
use crate::stats::robust::{mad_about, median};
use crate::wing::{LineSet, Row, Side};

/// Spread of lines about their row, mm (practice); the check's own replaces it, this counts as ten lines.
const LINE_SD_MM: f64 = 3.0;
const LEAST_SD_MM: f64 = 1.5;
/// Log odds that a group needs: 20 to 1.
const LEAST_ODDS: f64 = 3.0;
/// Smaller steps are no fault, mm.
const LEAST_STEP_MM: f64 = 6.0;
/// A row that changes less than this from its innermost to its outermost line has no taper, mm.
const LEAST_TAPER_MM: f64 = 8.0;
/// Fewest lines read of a row, both sides together, that show a taper.
const FEWEST_FOR_TAPER: usize = 8;
/// No more groups than this are told apart.
const MOST_FAULTS: usize = 8;

/// What holds the lines of a fault together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Shape {
    /// Rows A–D of one side.
    Side,
    /// A row on one side.
    RowSide(Row),
    /// The outermost lines of every row A–D.
    Tips,
    /// A segment or main.
    Segment(String),
    /// A row that is off more and more from the centre to the tips, as lines shrink in use.
    Taper(Row),
    /// Neighbours in a row.
    Run,
    /// One line.
    Line,
}

/// Lines (places in the measured ones), and the part that each has in a step.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub(super) lines: Vec<usize>,
    pub(super) shares: Vec<f64>,
}

impl Column {
    /// Lines that all move by the whole step.
    fn whole(lines: Vec<usize>) -> Self {
        Self { shares: vec![1.0; lines.len()], lines }
    }

    pub(super) fn pairs(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        self.lines.iter().copied().zip(self.shares.iter().copied())
    }

    fn along(&self, values: &[f64]) -> f64 {
        self.pairs().map(|(at, share)| share * values[at]).sum()
    }

    fn square(&self) -> f64 {
        dot(&self.shares, &self.shares)
    }

    /// The least and the greatest part.
    pub(super) fn ends(&self) -> [f64; 2] {
        let ends = [f64::INFINITY, f64::NEG_INFINITY];
        self.shares.iter().fold(ends, |[low, high], share| [low.min(*share), high.max(*share)])
    }
}

/// Lines that are off together.
#[derive(Debug, Clone)]
pub(super) struct Fault {
    pub(super) shape: Shape,
    /// `None`: both sides.
    pub(super) side: Option<Side>,
    pub(super) column: Column,
    /// The step, as a combination of the deviations.
    pub(super) step: Combination,
}

/// The level of a row, everything that is off in it taken out.
#[derive(Debug, Clone)]
pub(super) struct RowLevel {
    pub(super) row: Row,
    pub(super) level: Combination,
}

/// What is off about a check.
#[derive(Debug, Clone)]
pub(super) struct Faults {
    pub(super) rows: Vec<RowLevel>,
    pub(super) found: Vec<Fault>,
}

struct Candidate {
    shape: Shape,
    side: Option<Side>,
    column: Column,
    prior: f64,
}

impl Candidate {
    fn whole(shape: Shape, side: Option<Side>, members: Vec<usize>, prior: f64) -> Self {
        Self { shape, side, column: Column::whole(members), prior }
    }

    /// Whether a step is worth a word, and most of the lines agree with it.
    fn is_borne_out(&self, residuals: &[f64], step: f64) -> bool {
        let size = match self.shape {
            Shape::Taper(_) => {
                let [low, high] = self.column.ends();
                step.abs() * (high - low) >= LEAST_TAPER_MM
            }
            _ => step.abs() >= LEAST_STEP_MM,
        };
        let all: f64 = self.column.shares.iter().map(|share| share.abs()).sum();
        let agree: f64 = self
            .column
            .pairs()
            .filter(|(at, share)| residuals[*at] * share * step > 0.0)
            .map(|(_, share)| share.abs())
            .sum();
        size && 4.0 * agree >= 3.0 * all
    }
}

impl Faults {
    pub(super) fn of(set: &LineSet, measured: &Measured) -> Self {
        let y: Vec<f64> = measured.lines.iter().map(|line| line.deviation_mm).collect();
        let rows: Vec<Row> =
            Row::ALL.into_iter().filter(|row| measured.lines.iter().any(|line| line.row == *row)).collect();
        let mut basis = Basis::default();
        for row in &rows {
            let members: Vec<usize> = (0..y.len()).filter(|at| measured.lines[*at].row == *row).collect();
            basis.add(&Column::whole(members), y.len());
        }
        let variance = variance(measured, &rows);
        let candidates = candidates(set, measured);
        let mut chosen: Vec<usize> = Vec::new();
        while chosen.len() < MOST_FAULTS {
            let residuals = basis.residuals(&y);
            let gain = |at: &usize| {
                let one = &candidates[*at];
                // the residuals are orthogonal to the columns so far
                let along = one.column.along(&residuals);
                let square = basis.square_left(&one.column);
                if square < 1e-6 * one.column.square() || !one.is_borne_out(&residuals, along / square) {
                    return f64::NEG_INFINITY;
                }
                along * along / square / (2.0 * variance) + one.prior.ln()
            };
            let best = (0..candidates.len())
                .filter(|at| !chosen.contains(at))
                .map(|at| (gain(&at), at))
                .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
            let Some((_, at)) = best.filter(|(gain, _)| *gain > LEAST_ODDS) else { break };
            basis.add(&candidates[at].column, y.len());
            chosen.push(at);
        }
        let mut all = basis.solutions().into_iter().map(|coefficients| Combination { coefficients });
        let rows = rows.into_iter().zip(all.by_ref()).map(|(row, level)| RowLevel { row, level }).collect();
        let found = chosen.into_iter().zip(all).filter_map(|(at, step)| {
            let one = candidates.get(at)?;
            Some(Fault { shape: one.shape.clone(), side: one.side, column: one.column.clone(), step })
        });
        Self { rows, found: found.collect() }
    }

    /// What the levels and steps leave of each measured line, mm.
    pub(super) fn left_over_mm(&self, measured: &Measured) -> Vec<f64> {
        let level =
            |row: Row| self.rows.iter().find(|known| known.row == row).map_or(0.0, |row| row.level.value(measured));
        let mut rest: Vec<f64> = measured.lines.iter().map(|line| line.deviation_mm - level(line.row)).collect();
        for fault in &self.found {
            let step = fault.step.value(measured);
            fault.column.pairs().for_each(|(at, share)| rest[at] -= share * step);
        }
        rest
    }
}

fn variance(measured: &Measured, rows: &[Row]) -> f64 {
    let mut off = Vec::with_capacity(measured.lines.len());
    for row in rows {
        let of_row = || measured.lines.iter().filter(|line| line.row == *row).map(|line| line.deviation_mm);
        let level = median(&of_row().collect::<Vec<f64>>()).unwrap_or(0.0);
        off.extend(of_row().map(|deviation| deviation - level));
    }
    let own = mad_about(&off, 0.0).unwrap_or(LINE_SD_MM);
    let count = off.len() as f64;
    ((10.0 * LINE_SD_MM.powi(2) + count * own * own) / (10.0 + count)).max(LEAST_SD_MM.powi(2))
}

/// Every group that may be off. The priors are orders of size of what comes to a workshop (our choice).
fn candidates(set: &LineSet, measured: &Measured) -> Vec<Candidate> {
    let mut all = Vec::new();
    let on =
        |keep: &dyn Fn(usize) -> bool| -> Vec<usize> { (0..measured.lines.len()).filter(|at| keep(*at)).collect() };
    let line = |at: usize| &measured.lines[at];
    let read = |side: Side| measured.lines.iter().any(|line| line.side == side && line.row.is_trim());
    if Side::BOTH.into_iter().all(read) {
        let members = on(&|at| line(at).side == Side::Left && line(at).row.is_trim());
        all.push(Candidate::whole(Shape::Side, Some(Side::Left), members, 1e-2));
    }
    for row in Row::ALL {
        let of = |side: Side| on(&|at| line(at).side == side && line(at).row == row);
        let [left, right] = Side::BOTH.map(of);
        if !left.is_empty() && !right.is_empty() {
            all.push(Candidate::whole(Shape::RowSide(row), Some(Side::Left), left, 5e-3));
        }
        let lines = on(&|at| line(at).row == row);
        if row.is_trim() && lines.len() >= FEWEST_FOR_TAPER {
            let middle = lines.iter().map(|at| line(*at).span).sum::<f64>() / lines.len() as f64;
            let shares = lines.iter().map(|at| line(*at).span - middle).collect();
            all.push(Candidate {
                shape: Shape::Taper(row),
                side: None,
                column: Column { lines, shares },
                prior: 5e-3,
            });
        }
    }
    let sides: [(Option<Side>, &[Side]); 3] =
        [(None, &Side::BOTH), (Some(Side::Left), &[Side::Left]), (Some(Side::Right), &[Side::Right])];
    let count = set.lines().len();
    let mut place: Vec<Option<usize>> = vec![None; 2 * count];
    for (at, line) in measured.lines.iter().enumerate() {
        place[line.side.index() * count + line.line] = Some(at);
    }
    for Group { tie, lines } in line_groups(set) {
        for (side, which) in sides {
            let read = which.iter().flat_map(|side| lines.iter().map(|line| place[side.index() * count + line]));
            let members: Vec<usize> = read.flatten().collect();
            let whole = which.iter().all(|side| members.iter().any(|at| line(*at).side == *side));
            if !whole || members.len() < lines.len().min(2) {
                continue;
            }
            let (shape, prior) = match (&tie, side) {
                (Tie::Line, Some(_)) => (Shape::Line, 1e-4),
                (Tie::Line, None) => (Shape::Line, 1e-3),
                (Tie::Segment(name), Some(_)) => (Shape::Segment(name.clone()), 1e-3),
                (Tie::Segment(name), None) => (Shape::Segment(name.clone()), 3e-3),
                (Tie::Run, Some(_)) => (Shape::Run, 1e-4),
                (Tie::Run, None) => (Shape::Run, 1e-3),
                (Tie::Tips, _) => (Shape::Tips, 3e-3),
                // a row on one side is among the candidates, on both it is the row's level
                (Tie::Row, _) => continue,
            };
            all.push(Candidate::whole(shape, side, members, prior));
        }
    }
    all
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Columns of ones, made orthogonal one after the other (modified Gram–Schmidt): `X = Q R`.
#[derive(Debug, Clone, Default)]
struct Basis {
    /// Orthonormal.
    q: Vec<Vec<f64>>,
    /// By column: its products with the columns of `q` up to its own.
    r: Vec<Vec<f64>>,
}

impl Basis {
    /// What of a group's column the columns so far do not span; `None` when it is nothing.
    fn rest(&self, column: &Column, n: usize) -> Option<Vec<f64>> {
        let mut rest = vec![0.0; n];
        column.pairs().for_each(|(at, share)| rest[at] = share);
        let size = column.square();
        for q in &self.q {
            let along: f64 = dot(q, &rest);
            rest.iter_mut().zip(q).for_each(|(value, q)| *value -= along * q);
        }
        (dot(&rest, &rest) > 1e-6 * size).then_some(rest)
    }

    /// The square of what of a group's column the columns so far do not span.
    fn square_left(&self, column: &Column) -> f64 {
        column.square() - self.q.iter().map(|q| column.along(q).powi(2)).sum::<f64>()
    }

    fn add(&mut self, column: &Column, n: usize) {
        let Some(rest) = self.rest(column, n) else { return };
        let norm = dot(&rest, &rest).sqrt();
        let mut r: Vec<f64> = self.q.iter().map(|q| column.along(q)).collect();
        r.push(norm);
        self.r.push(r);
        self.q.push(rest.into_iter().map(|value| value / norm).collect());
    }

    fn residuals(&self, y: &[f64]) -> Vec<f64> {
        let mut rest = y.to_vec();
        for q in &self.q {
            let along = dot(q, &rest);
            rest.iter_mut().zip(q).for_each(|(value, q)| *value -= along * q);
        }
        rest
    }

    /// The rows of `R⁻¹ Qᵀ`: each coefficient of the fit as a combination of the observations.
    fn solutions(&self) -> Vec<Vec<f64>> {
        let k = self.q.len();
        let mut found: Vec<Vec<f64>> = self.q.clone();
        for at in (0..k).rev() {
            for later in at + 1..k {
                let factor = self.r[later][at];
                let known = found[later].clone();
                found[at].iter_mut().zip(&known).for_each(|(value, known)| *value -= factor * known);
            }
            let norm = self.r[at][at];
            found[at].iter_mut().for_each(|value| *value /= norm);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The normal equations of two overlapping columns, solved by hand: y = (1, 2, 6), columns (1, 1, 1) and (0, 1, 1) give
    /// 1 and 3.
    #[test]
    fn coefficients_are_least_squares() {
        let mut basis = Basis::default();
        for lines in [vec![0, 1, 2], vec![1, 2], vec![1, 2]] {
            basis.add(&Column::whole(lines), 3);
        }
        let y = [1.0, 2.0, 6.0];
        let found: Vec<f64> = basis.solutions().iter().map(|row| dot(row, &y)).collect();
        assert_eq!(found.len(), 2, "a column that is there already adds nothing");
        approx::assert_abs_diff_eq!(found[0], 1.0, epsilon = 1e-12);
        approx::assert_abs_diff_eq!(found[1], 3.0, epsilon = 1e-12);
    }
}
