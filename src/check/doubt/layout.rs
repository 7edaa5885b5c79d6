//! What of a line set every check needs: neighbours, rows, the order of each row, groups of lines.

use std::cell::OnceCell;

use super::groups::{Group, line_groups, row_orders};
use crate::wing::{LineSet, Row, Side};

/// Reach of a line's neighbours along its row, in lines.
const REACH_LINES: f64 = 1.5;
/// Neighbours with less weight than this are left out.
const LEAST_WEIGHT: f64 = 0.02;
/// Weight of a neighbour on another main: an adjustment of the main moved it or did not.
const OTHER_MAIN: f64 = 0.3;
/// Weight of the other side.
const OTHER_SIDE: f64 = 0.5;

#[derive(Clone, Copy)]
pub(super) struct Neighbour {
    pub(super) line: usize,
    /// Weight of its reading on the same side, and on the other.
    pub(super) same: f64,
    pub(super) other: f64,
}

/// What of the line set every check needs.
pub(super) struct Layout {
    pub(super) lines: usize,
    pub(super) neighbours: Vec<Vec<Neighbour>>,
    pub(super) rows: Vec<Row>,
    /// Lines of each row on each side from the centre outwards: by side, then row.
    pub(super) order: Vec<Vec<usize>>,
    /// Every group of lines that a fault of a wing may move together.
    groups: OnceCell<Vec<Group>>,
}

impl Layout {
    pub(super) fn new(set: &LineSet) -> Self {
        let all = set.lines();
        let neighbours = all
            .iter()
            .enumerate()
            .map(|(at, line)| {
                let mut near = Vec::new();
                for (other, next) in all.iter().enumerate().filter(|(_, next)| next.row == line.row) {
                    let apart = (f64::from(line.rank) - f64::from(next.rank)) / REACH_LINES;
                    let mut weight = (-0.5 * apart * apart).exp();
                    if line.main != next.main {
                        weight *= OTHER_MAIN;
                    }
                    if weight >= LEAST_WEIGHT {
                        let same = if at == other { 0.0 } else { weight };
                        near.push(Neighbour { line: other, same, other: OTHER_SIDE * weight });
                    }
                }
                near
            })
            .collect();
        let rows = all.iter().map(|line| line.row).collect();
        let order = row_orders(set);
        Self { lines: all.len(), neighbours, rows, order, groups: OnceCell::new() }
    }

    /// Every group of lines that a fault may move together; most checks need none.
    pub(super) fn groups(&self, set: &LineSet) -> &[Group] {
        self.groups.get_or_init(|| line_groups(set))
    }

    pub(super) fn keys(&self) -> usize {
        2 * self.lines
    }

    pub(super) fn row(&self, key: usize) -> Row {
        self.rows[key % self.lines]
    }

    pub(super) fn is_trim(&self, key: usize) -> bool {
        self.row(key).is_trim()
    }

    pub(super) fn side(&self, key: usize) -> Side {
        if key < self.lines { Side::Left } else { Side::Right }
    }

    pub(super) fn mirror(&self, key: usize) -> usize {
        (key + self.lines) % self.keys()
    }
}
